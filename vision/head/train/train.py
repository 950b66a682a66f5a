#!/usr/bin/env python3
"""Trains the course, the head and the joint network on material from make.py.

    python3 train.py DATA --out DIR [--course-minutes 4] [--head-minutes 4] [--joint-minutes 4] [--start DIR]

DATA holds the .npz files. Writes course.onnx, head.onnx and joint.onnx with their checkpoints
(.pt), prints the figures on scenes held back (one in twelve, by seed). Wants PyTorch with a GPU,
on which all the material lies, and the onnx package.
"""
import argparse
import glob
import hashlib
import os
import sys
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import torch

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import joints
import learn_course
import learn_head
import learn_joint
from fit import DEV, fit
from nets import CourseNet, HeadNet, JointNet, save_course, save_patch


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


def course(keep, hold, minutes, start):
    def views(files): return [v for a in each(lambda p: (lambda z: [learn_course.read(z), learn_course.read(z, "half_")])(np.load(p)), files) for v in a if v]
    S, held = learn_course.Views(views(keep)), views(hold[:150])
    net = CourseNet().to(DEV, memory_format=torch.channels_last).train()
    if start: net.load_state_dict(torch.load(os.path.join(start, "course.pt"), map_location=DEV))

    def step():
        x, l, g = S.batch(64)
        with torch.autocast(DEV, torch.bfloat16): o = net(x.contiguous(memory_format=torch.channels_last))
        return learn_course.loss(o, l, g)
    fit(net, minutes, 1.5e-3 if start else 2.5e-3, step)
    return net, save_course, lambda: [(print(f"course, {n} px/mm"), learn_course.judge(net, [s for s in held if s["half"] == h])) for n, h in ((.8, False), (.4, True))]


def head(keep, hold, minutes, start):
    X, T, _ = stacked(keep, "patches", "truth")
    is_head = T[:, 3] > .5
    pos, neg, rare = torch.where(is_head)[0], torch.where(~is_head)[0], torch.where(is_head & (T[:, 8] > .5))[0]
    net = HeadNet().to(DEV).train()
    if start: net.load_state_dict(torch.load(os.path.join(start, "head.pt"), map_location=DEV))

    def step():
        x, t = learn_head.batch(X, T, torch.cat([pick(pos, 160), pick(rare, 64), pick(neg, 160)]), True)
        with torch.autocast(DEV, torch.bfloat16): o = net(x)
        return learn_head.loss(o, t)
    fit(net, minutes, 1e-3 if start else 2e-3, step)
    return net, lambda n, p: save_patch(n, p, "head", (6, 96, 96)), lambda: (print("head"), learn_head.judge(net, *stacked(hold, "patches", "truth")[:2]))


def joint(keep, hold, minutes, start):
    X, T, _ = stacked(keep, "joints", "joints_truth")
    yes, tab = T[:, 5] > .5, (T[:, 3] < .5) & (T[:, 4] > .5)
    groups = [torch.where(g)[0] for g in (yes, yes & tab, ~yes, ~yes & tab & (T[:, 12] == joints.SLOT))]
    net = JointNet().to(DEV, memory_format=torch.channels_last).train()
    if start and os.path.exists(os.path.join(start, "joint.pt")): net.load_state_dict(torch.load(os.path.join(start, "joint.pt"), map_location=DEV))
    else: start = None

    def step():
        x, t = learn_joint.batch(X, T, torch.cat([pick(g, n) for g, n in zip(groups, (112, 80, 112, 80))]), True)
        with torch.autocast(DEV, torch.bfloat16): o = net(x.contiguous(memory_format=torch.channels_last))
        return learn_joint.loss(o, t)
    fit(net, minutes, 1.5e-3 if start else 2e-3, step)
    return net, lambda n, p: save_patch(n, p, "joint", (8, joints.HIGH, joints.WIDE)), lambda: (print("joint"), learn_joint.judge(net, *stacked(hold, "joints", "joints_truth")))


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("data"); ap.add_argument("--out", required=True)
    for n in ("course", "head", "joint"): ap.add_argument(f"--{n}-minutes", type=float, default=4)
    ap.add_argument("--start", help="folder with course.pt, head.pt and joint.pt to go on from")
    a = ap.parse_args()
    torch.manual_seed(1)
    files = sorted(glob.glob(os.path.join(a.data, "[0-9]*[0-9].npz")))
    if len(files) < 12: sys.exit(f"{len(files)} scenes in {a.data}: at least 12 are needed")
    hold, keep = files[::12], [p for i, p in enumerate(files) if i % 12]
    print(f"{len(keep)} scenes to learn from, {len(hold)} held back", flush=True)
    os.makedirs(a.out, exist_ok=True)
    for name, learn, minutes in (("course", course, a.course_minutes), ("head", head, a.head_minutes), ("joint", joint, a.joint_minutes)):
        if minutes <= 0: continue
        torch.backends.cudnn.benchmark = True
        net, save, judge = learn(keep, hold, minutes, a.start)
        path = os.path.join(a.out, name)
        torch.save(net.state_dict(), path + ".pt"); save(net, path + ".onnx")
        torch.backends.cudnn.benchmark = False          # views come in many sizes
        judge()
        print(f"{name}.onnx", os.path.getsize(path + ".onnx"), hashlib.sha256(open(path + ".onnx", "rb").read()).hexdigest(), flush=True)


if __name__ == "__main__": main()
