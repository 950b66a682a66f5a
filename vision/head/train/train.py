#!/usr/bin/env python3
"""Trains the course, the head and the joint network on material from make.py.

    python3 train.py DATA [DATA ...] --out DIR --nets course,head,joint [--course-steps N] [--head-steps N]
                     [--joint-steps N] [--start DIR] [--rate R] [--minutes M]

Each DATA holds the .npz files of one maker. Writes NAME.onnx and NAME.pt of each network and
NAME.json, its manifest; prints the figures on scenes held back (one in twelve, by seed), maker by
maker. --start DIR goes on from the .onnx files there. Wants PyTorch with a GPU, on which all the
material lies, and the onnx package. --minutes M ends the training of a network that is not done by
then; the manifest tells the steps that were made.
"""
import argparse
import glob
import hashlib
import json
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import torch

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)
import joints
import learn_course
import learn_head
import learn_joint
from fit import DEV, fit
from nets import CourseNet, HeadNet, JointNet, from_onnx, save_course, save_patch, settle


def each(f, files):
    with ThreadPoolExecutor(12) as ex: return list(ex.map(f, files))


def stacked(files, pictures, numbers):
    """All patches of one kind on the device, their numbers, and the scene that each comes from."""
    rows = each(lambda p: np.load(p)[numbers], files)
    scene = np.repeat(np.arange(len(files)), [len(r) for r in rows])
    end = np.cumsum([len(r) for r in rows])
    X = torch.empty(end[-1], *np.load(files[0])[pictures].shape[1:], dtype=torch.uint8, device=DEV)

    def put(k): X[end[k] - len(rows[k]):end[k]] = torch.from_numpy(np.load(files[k])[pictures]).to(DEV)
    each(put, range(len(files)))
    return X, torch.from_numpy(np.concatenate(rows)).float().to(DEV), scene


def pick(v, n): return v[torch.randint(len(v), (n,), device=v.device)]


def views(files):
    return [v for a in each(lambda p: (lambda z: [learn_course.read(z), learn_course.read(z, "half_")])(np.load(p)), files) for v in a if v]


class Course:
    name, net, lr, start_lr = "course", CourseNet, 2.5e-3, 1.2e-3

    def __init__(self, files): self.views = learn_course.Views(views(files))

    def batch(self, n=64):
        x, *labels = self.views.batch(n)
        return x.contiguous(memory_format=torch.channels_last), labels

    loss = staticmethod(lambda o, t: learn_course.loss(o, *t))
    save = staticmethod(save_course)

    @staticmethod
    def judge(net, files):
        held = views(files[:150])
        for n, half in ((.8, False), (.4, True)): print(f"{n} px/mm"); learn_course.judge(net, [s for s in held if s["half"] == half])


class Head:
    name, net, lr, start_lr = "head", HeadNet, 2e-3, 1e-3

    def __init__(self, files):
        self.X, self.T, _ = stacked(files, "patches", "truth")
        is_head = self.T[:, 3] > .5
        faulty = is_head & (self.T[:, 8] > .5)
        proud = is_head & (self.T[:, 8] > 1.5)                      # underdriven and cocked: the rarest
        self.groups = [torch.where(g)[0] for g in (is_head, faulty, proud, ~is_head)]

    def batch(self, n=384):
        return learn_head.batch(self.X, self.T, torch.cat([pick(g, n * k // 12) for g, k in zip(self.groups, (4, 2, 1, 5))]), True)

    loss = staticmethod(learn_head.loss)
    save = staticmethod(lambda n, p: save_patch(n, p, "head", (6, 96, 96)))

    @staticmethod
    def judge(net, files): learn_head.judge(net, *stacked(files, "patches", "truth")[:2])


class Joint:
    name, net, lr, start_lr = "joint", JointNet, 2e-3, 1.2e-3

    def __init__(self, files):
        self.X, self.T, _ = stacked(files, "joints", "joints_truth")
        T = self.T
        yes, tab = T[:, 5] > .5, (T[:, 3] < .5) & (T[:, 4] > .5)
        self.groups = [torch.where(g)[0] for g in (yes, yes & tab, ~yes, ~yes & tab & (T[:, 12] == joints.SLOT))]

    def batch(self, n=384):
        x, t = learn_joint.batch(self.X, self.T, torch.cat([pick(g, n * k // 24) for g, k in zip(self.groups, (7, 5, 7, 5))]), True)
        return x.contiguous(memory_format=torch.channels_last), t

    loss = staticmethod(learn_joint.loss)
    save = staticmethod(lambda n, p: save_patch(n, p, "joint", (8, joints.HIGH, joints.WIDE)))

    @staticmethod
    def judge(net, files): learn_joint.judge(net, *stacked(files, "joints", "joints_truth"))


def digest(path): return hashlib.sha256(open(path, "rb").read()).hexdigest()


def revision():
    got = subprocess.run(["git", "rev-parse", "HEAD"], cwd=HERE, capture_output=True, text=True)
    return got.stdout.strip() or None


def train(kind, makers, a, steps):
    keep = [p for files in makers.values() for i, p in enumerate(files) if i % 12]
    data = kind(keep)
    net = kind.net().to(DEV)
    if kind is not Head: net = net.to(memory_format=torch.channels_last)
    net.train()
    if a.start:
        from_onnx(net, os.path.join(a.start, kind.name + ".onnx"))
        settle(net, data.batch(256)[0].float())
    print(f"{kind.name}: {len(keep)} scenes, {steps} steps", flush=True)
    path = os.path.join(a.out, kind.name)

    def step():
        x, t = data.batch()
        with torch.autocast(DEV, torch.bfloat16): o = net(x)
        return kind.loss(o, t)

    def save(net):
        torch.save(net.state_dict(), path + ".pt"); kind.save(net, path + ".onnx"); net.train()
    torch.backends.cudnn.benchmark = DEV == "cuda"
    done = fit(net, steps, a.rate * (kind.start_lr if a.start else kind.lr), step, save, a.deadline)
    torch.backends.cudnn.benchmark = False                          # views come in many sizes
    seeds = {m: [int(os.path.basename(f)[:-4]) for f in (files[0], files[-1])] + [len(files)] for m, files in makers.items()}
    json.dump(dict(network=kind.name, sha256=digest(path + ".onnx"), revision=revision(), scripts={n: digest(os.path.join(HERE, n)) for n in sorted(os.listdir(HERE)) if n.endswith(".py")},
                   torch_seed=1, steps=done, rate=a.rate, start=digest(os.path.join(a.start, kind.name + ".onnx")) if a.start else None,
                   makers={m: dict(first_seed=v[0], last_seed=v[1], scenes=v[2]) for m, v in seeds.items()}), open(path + ".json", "w"), indent=1)
    del data
    for m, files in makers.items():
        print(f"{kind.name} on {m}, held back", flush=True)
        kind.judge(net, files[::12])


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("data", nargs="+"); ap.add_argument("--out", required=True); ap.add_argument("--nets", default="course,head,joint")
    for n, k in (("course", 30000), ("head", 20000), ("joint", 13000)): ap.add_argument(f"--{n}-steps", type=int, default=k)
    ap.add_argument("--start", help="folder with course.onnx, head.onnx and joint.onnx to go on from")
    ap.add_argument("--rate", type=float, default=1, help="times the usual learning rate")
    ap.add_argument("--minutes", type=float, default=1e6); ap.add_argument("--judge", help="only judge the networks of this folder")
    a = ap.parse_args()
    a.deadline = time.time() + 60 * a.minutes
    torch.manual_seed(1)
    makers = {os.path.basename(os.path.normpath(d)): sorted(glob.glob(os.path.join(d, "[0-9]*[0-9].npz"))) for d in a.data}
    for m, files in makers.items():
        if len(files) < 12: sys.exit(f"{len(files)} scenes of {m}: at least 12 are needed")
    os.makedirs(a.out, exist_ok=True)
    for kind in (Course, Head, Joint):
        if kind.name not in a.nets.split(","): continue
        if not a.judge: train(kind, makers, a, getattr(a, kind.name + "_steps")); continue
        net = kind.net().to(DEV)
        from_onnx(net, os.path.join(a.judge, kind.name + ".onnx")); settle(net, kind([p for f in makers.values() for p in f[:40]]).batch(256)[0].float())
        for m, files in makers.items(): print(f"{kind.name} of {a.judge} on {m}"); kind.judge(net, files[::12])


if __name__ == "__main__": main()
