#!/usr/bin/env python3
"""Trains the course network and the head network on material from make.py.

    python3 train.py DATA --out DIR [--course-minutes 4] [--head-minutes 4]

DATA holds the .npz files. Writes course.onnx and head.onnx, prints the figures on
scenes held back (one in twelve, by seed). Wants PyTorch with a GPU and the onnx package.
"""
import argparse
import glob
import hashlib
import math
import os
import random
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import torch
import torch.nn.functional as F

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from nets import CourseNet, HeadNet, save_course, save_head

DEV = "cuda" if torch.cuda.is_available() else "cpu"
CROP = (384, 512)


def read(path):
    try: d = np.load(path)
    except Exception: return None
    pic = d["pic"]; ok = pic.any(2)
    if ok.sum() < 20000: return None
    v = pic[ok].astype(np.float32)
    lab = np.concatenate([d["butt"][None], d["top"][None], d["joint"], d["rake"][None], d["seg"][None].astype(np.float16), d["seen"][None].astype(np.float16)], 0).astype(np.float16)
    return dict(pic=pic, lab=lab, heads=d["heads"], vis=d["visible"], mean=float(v.mean()), std=float(v.std()) + 1e-3,
                patches=torch.from_numpy(d["patches"]), truth=torch.from_numpy(d["truth"]))


def crop(s, rng):
    """One random crop of a scene, as small arrays: picture, labels, and what concerns heads
    (heat, offset x, offset y, ignore)."""
    H, W = CROP
    h, w = s["pic"].shape[:2]
    i = rng.randrange(0, max(1, (h - H) // 4 + 1)) * 4; j = rng.randrange(0, max(1, (w - W) // 4 + 1)) * 4
    p = np.zeros((H, W, 3), np.uint8); q = s["pic"][i:i + H, j:j + W]; p[:q.shape[0], :q.shape[1]] = q
    l = np.zeros((7, H // 4, W // 4), np.float16); l[:5] = 1e3
    q = s["lab"][:, i // 4:(i + H) // 4, j // 4:(j + W) // 4]; l[:, :q.shape[1], :q.shape[2]] = q
    g = np.zeros((4, H // 4, W // 4), np.float16); g[1:3] = 1e3
    for (a, b), v in zip(s["heads"], s["vis"]):
        ci, cj = (b - i - 1.5) / 4, (a - j - 1.5) / 4
        i0, i1, j0, j1 = max(0, int(ci) - 3), min(H // 4, int(ci) + 5), max(0, int(cj) - 3), min(W // 4, int(cj) + 5)
        if i0 >= i1 or j0 >= j1: continue
        yy, xx = np.mgrid[i0:i1, j0:j1]
        yy, xx = yy - ci, xx - cj
        r2 = yy ** 2 + xx ** 2
        z = g[:, i0:i1, j0:j1]
        if not v: z[3] = np.maximum(z[3], r2 < 9); continue
        z[0] = np.maximum(z[0], np.exp(-r2 / (2 * .8 ** 2)))
        m = r2 < 2.6
        z[1][m], z[2][m] = (-xx * 4)[m], (-yy * 4)[m]
    return p, l, g, np.float32([s["mean"], s["std"]])


class Crops(torch.utils.data.IterableDataset):
    def __init__(self, S): self.S = S

    def __iter__(self):
        info = torch.utils.data.get_worker_info()
        rng = random.Random(info.seed if info else 0)
        while True: yield crop(rng.choice(self.S), rng)


def course_batches(S, n, workers):
    return iter(torch.utils.data.DataLoader(Crops(S), n, num_workers=workers, pin_memory=True, prefetch_factor=4))


def vary(p, l, g, ms):
    """The batch on the device, normalised and made more various: mirror, light, noise, blur, a wrong turn."""
    p, l, g, ms = (t.to(DEV, non_blocking=True) for t in (p, l, g, ms))
    l, g = l.float(), g.float()
    n = len(p)
    x = (p.float() - ms[:, 0, None, None, None]) / ms[:, 1, None, None, None]
    x = torch.where((p.sum(3, keepdim=True) > 0), x, torch.zeros_like(x)).permute(0, 3, 1, 2)
    R = lambda *s: torch.rand(n, *s, device=DEV)
    N = lambda *s: torch.randn(n, *s, device=DEV)
    f = (R() < .5).nonzero()[:, 0]
    if len(f):
        x[f], lf, gf = x[f].flip(3), l[f].flip(3), g[f].flip(3)
        jl, jr, rk = lf[:, 2].clone(), lf[:, 3].clone(), lf[:, 4].clone()
        neg = lambda v: torch.where(v.abs() < 100, -v, v)
        lf[:, 2], lf[:, 3], lf[:, 4] = neg(jr), neg(jl), neg(rk)
        gf[:, 1] = neg(gf[:, 1])
        l[f], g[f] = lf, gf
    x = x * (1 + .2 * N(1, 1, 1)) + .18 * N(1, 1, 1) + .1 * N(3, 1, 1)
    x = x + torch.randn_like(x) * (.2 * R(1, 1, 1) * (R(1, 1, 1) < .4))
    b = (R() < .12).nonzero()[:, 0]
    if len(b): x[b] = F.avg_pool2d(x[b], 3, 1, 1)
    t = (R() < .2).nonzero()[:, 0]
    side = min(CROP)
    for k in (1, 2, 3):                                             # the wrong turn: nothing to find
        v = t[k - 1::3]
        if not len(v): continue
        y = torch.zeros_like(x[v]); y[..., :side, :side] = torch.rot90(x[v][..., :side, :side], k, (2, 3)); x[v] = y
        z = torch.full_like(l[v], 1e3); z[:, 5] = 9; z[:, 6] = 0; z[:, 6, :side // 4, :side // 4] = 1; l[v] = z
        g[v, 3] = 1
    return x, l, g


def laplace(err, log_b):
    log_b = log_b.clamp(-4, 4)
    return err.abs() * torch.exp(-log_b) + log_b


def line_loss(o, p, ds, ss, targets, seen, wp=1.0):
    """Presence (within half a cell), then signed distances with their scale where the line is near."""
    mid = sum(targets) / len(targets)
    a = mid.abs()
    pos, neg = (a <= 2.1) & seen, (a > 4.5) & seen
    bce = F.binary_cross_entropy_with_logits(o[:, p], pos.float(), reduction="none")
    loss = wp * (bce * (pos | neg)).sum() / (pos | neg).sum().clamp(min=1) * 12
    m = (a < 5.5) & seen
    if m.any():
        for d, t in zip(ds, targets): loss = loss + .35 * laplace(o[:, d][m] - t[m], o[:, ss][m]).mean() / len(ds)
    return loss


def course_loss(o, l, g):
    o = o.float()
    seen = l[:, 6] > .5
    loss = line_loss(o, 0, [1], 2, [l[:, 0]], seen) + line_loss(o, 3, [4], 5, [l[:, 1]], seen)
    loss = loss + 1.5 * line_loss(o, 6, [7, 8], 9, [l[:, 2], l[:, 3]], seen, 1.5) + line_loss(o, 10, [11], 12, [l[:, 4]], seen)
    seg = l[:, 5].long(); m = seen & (seg < 4)
    if m.any(): loss = loss + F.cross_entropy(o[:, 13:17].permute(0, 2, 3, 1)[m], seg[m])
    t, z = g[:, 0], o[:, 17]
    w = (seen & (g[:, 3] < .5)).float()
    p = torch.sigmoid(z)
    posm = (g[:, 1].abs() < 2.1) & (g[:, 2].abs() < 2.1)          # the head's own cell
    hp = -(1 - p) ** 2 * F.logsigmoid(z) * posm * w
    hn = -(1 - t) ** 4 * p ** 2 * F.logsigmoid(-z) * (~posm) * w
    loss = loss + (hp.sum() + hn.sum()) / posm.sum().clamp(min=8) * .6
    m = (g[:, 1].abs() < 100) & (w > 0)
    if m.any(): loss = loss + .1 * ((o[:, 18][m] - g[:, 1][m]).abs() + (o[:, 19][m] - g[:, 2][m]).abs()).mean()
    return loss


def fit(net, minutes, lr, step):
    opt = torch.optim.AdamW(net.parameters(), lr=lr, weight_decay=1e-4)
    t0, k, ema = time.time(), 0, 0
    avg = {n: p.detach().clone().float() for n, p in net.state_dict().items()}
    while True:
        f = (time.time() - t0) / (60 * minutes)
        if f >= 1: break
        for q in opt.param_groups: q["lr"] = lr * min(1, (k + 1) / 200) * (.5 + .5 * math.cos(math.pi * f)) + 1e-6
        loss = step()
        opt.zero_grad(set_to_none=True); loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0); opt.step()
        k += 1
        with torch.no_grad():
            for n, p in net.state_dict().items():
                if p.dtype.is_floating_point: avg[n].lerp_(p.float(), max(.0015, 9 / (10 + k)))
                else: avg[n] = p.clone()
        if k % 250 == 0: print(f"  step {k} {time.time() - t0:.0f} s loss {loss.item():.4f}", flush=True)
    net.load_state_dict({n: v.to(net.state_dict()[n].dtype) for n, v in avg.items()})
    print(f"  {k} steps", flush=True)


def q(v, p): return float(np.quantile(np.asarray(v), p)) if len(v) else float("nan")


@torch.no_grad()
def judge_course(net, S):
    net.eval()
    err = {k: [] for k in ("butt", "top", "joint", "rake")}; pr = {k: [0, 0, 0] for k in err}
    found = [0, 0, 0]; segok = [0, 0]
    for s in S:
        h, w = s["pic"].shape[0] // 32 * 32, s["pic"].shape[1] // 32 * 32
        p = torch.from_numpy(s["pic"][:h, :w]).to(DEV).float(); x = torch.where(p.sum(2, keepdim=True) > 0, (p - s["mean"]) / s["std"], torch.zeros_like(p)).permute(2, 0, 1)[None]
        o = net(x.to(DEV))[0].float(); l = torch.from_numpy(s["lab"][:, :h // 4, :w // 4]).to(DEV).float(); seen = l[6] > .5
        for name, pc, ds, t in (("butt", 0, [1], [l[0]]), ("top", 3, [4], [l[1]]), ("joint", 6, [7, 8], [l[2], l[3]]), ("rake", 10, [11], [l[4]])):
            a = (sum(t) / len(t)).abs(); pos = (a <= 2.1) & seen; said = (o[pc] > 0) & seen
            pr[name][0] += int((said & (a < 5.5)).sum()); pr[name][1] += int(said.sum()); pr[name][2] += int(pos.sum())
            m = said & (a < 5.5)
            for d, tt in zip(ds, t): err[name] += (o[d][m] - tt[m]).abs().cpu().tolist()
        m = seen & (l[5] < 4); segok[0] += int((o[13:17].argmax(0)[m] == l[5].long()[m]).sum()); segok[1] += int(m.sum())
        z = o[17]; pk = (z == F.max_pool2d(z[None, None], 3, 1, 1)[0, 0]) & (z > -3)
        i, j = torch.where(pk); c = torch.stack([j * 4 + 1.5 + o[18][i, j], i * 4 + 1.5 + o[19][i, j]], 1).cpu().numpy()
        for at, v in zip(s["heads"], s["vis"]):
            if not v: continue
            found[1] += 1; found[0] += len(c) > 0 and np.hypot(*(c - at).T).min() < 5
        found[2] += len(c)
    for k in err: print(f"  {k}: of said {pr[k][0] / max(1, pr[k][1]):.3f} right, said/lines {pr[k][1] / max(1, pr[k][2]):.3f}; error p50 {q(err[k], .5):.2f} p95 {q(err[k], .95):.2f} mm")
    print(f"  regions {segok[0] / max(1, segok[1]):.4f}; heads proposed {found[0]}/{found[1]}, {found[2] / max(1, len(S)):.0f} proposals a view", flush=True)
    net.train()


def head_batch(X, T, idx, train):
    x = X[idx].permute(0, 3, 1, 2).float(); t = T[idx].clone()
    n = len(idx)
    if train:
        a = torch.rand(n, device=x.device) * 2 * math.pi; sc = 1 + .03 * torch.randn(n, device=x.device)
        sh = (torch.rand(n, 2, device=x.device) - .5) * 2 * 1.5                 # mm
        fl = torch.where(torch.rand(n, device=x.device) < .5, -1.0, 1.0)
    else: a = torch.zeros(n, device=x.device); sc = torch.ones_like(a); sh = torch.zeros(n, 2, device=x.device); fl = torch.ones_like(a)
    c, s = torch.cos(a), torch.sin(a)
    # patch point q (mm, from its middle) is read at src = M (q * [fl, 1]) / sc + sh
    M = torch.stack([torch.stack([c, -s], 1), torch.stack([s, c], 1)], 1)
    A = torch.zeros(n, 2, 3, device=x.device)
    A[:, :, 0] = M[:, :, 0] * (fl / sc)[:, None] * 96 / 128; A[:, :, 1] = M[:, :, 1] / sc[:, None] * 96 / 128
    A[:, :, 2] = sh * 3 / 64
    y = F.grid_sample(x, F.affine_grid(A, (n, 3, 96, 96), align_corners=False), align_corners=False)
    inv = lambda v: (torch.einsum("nij,nj->ni", M.transpose(1, 2), v) * sc[:, None]) * torch.stack([fl, torch.ones_like(fl)], 1)
    t[:, 4:6] = inv(t[:, 4:6] - sh)
    t[:, 0:2] = inv(t[:, 0:2]) / sc[:, None]
    t[:, 2] = t[:, 2] - torch.log(sc)
    t[:, 6:8] = t[:, 6:8] * sc[:, None]
    m = y.mean((1, 2, 3), keepdim=True); sd = y.std((1, 2, 3), keepdim=True)
    y = (y - m) / (sd + 4)
    if train:
        y = y * (1 + .15 * torch.randn(n, 1, 1, 1, device=x.device)) + .15 * torch.randn(n, 3, 1, 1, device=x.device)
        y = y + torch.randn_like(y) * (.15 * torch.rand(n, 1, 1, 1, device=x.device))
    f = t[:, :3].clone()
    return torch.cat([y, f[:, :, None, None].expand(-1, -1, 96, 96)], 1), t


def head_loss(o, t):
    o = o.float(); y = t[:, 3]; m = y > .5
    loss = F.binary_cross_entropy_with_logits(o[:, 0], y)
    if m.any():
        o, t = o[m], t[m]
        loss = loss + .15 * (laplace(o[:, 1] - t[:, 4], o[:, 3]) + laplace(o[:, 2] - t[:, 5], o[:, 3])).mean() + .05 * laplace(o[:, 4] + 10.3 - t[:, 6], o[:, 5]).mean()
        loss = loss + .05 * laplace(o[:, 6] - t[:, 7], o[:, 7]).mean() + .4 * F.cross_entropy(o[:, 8:12], t[:, 8].long())
    return loss


@torch.no_grad()
def judge_head(net, X, T):
    net.eval(); o = []
    for k in range(0, len(X), 512):
        x, t = head_batch(X, T, torch.arange(k, min(len(X), k + 512), device=X.device), False); o.append(net(x).float())
    o, t = torch.cat(o).cpu().numpy(), T.cpu().numpy()
    y = t[:, 3] > .5; s = o[:, 0]
    for th in (-2, 0, 2): print(f"  at logit {th}: recall {(s[y] > th).mean():.4f}, false {int((s[~y] > th).sum())} of {int((~y).sum())} others, {int(y.sum())} heads")
    p, v = o[y], t[y]; e = np.hypot(p[:, 1] - v[:, 4], p[:, 2] - v[:, 5]); d = np.abs(p[:, 4] + 10.3 - v[:, 6]); r = np.abs(p[:, 6] - v[:, 7])
    print(f"  centre p50 {q(e, .5):.3f} p95 {q(e, .95):.3f}; across p50 {q(np.abs(p[:, 2] - v[:, 5]), .5):.3f} p95 {q(np.abs(p[:, 2] - v[:, 5]), .95):.3f}; diameter p50 {q(d, .5):.3f} p95 {q(d, .95):.3f}; rise p50 {q(r, .5):.2f} p95 {q(r, .95):.2f} mm")
    c = p[:, 8:12].argmax(1)
    for k, n in enumerate(("flush", "overdriven", "underdriven", "cocked")): print(f"  {n:12}", [int(((c == j) & (v[:, 8] == k)).sum()) for j in range(4)])
    sys.stdout.flush(); net.train()


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("data"); ap.add_argument("--out", required=True); ap.add_argument("--course-minutes", type=float, default=4); ap.add_argument("--head-minutes", type=float, default=4)
    ap.add_argument("--start", help="folder with course.pt and head.pt to go on from")
    a = ap.parse_args()
    torch.manual_seed(1); random.seed(1); torch.backends.cudnn.benchmark = True
    files = sorted(glob.glob(os.path.join(a.data, "[0-9]*.npz")))
    with ThreadPoolExecutor(12) as ex: D = [d for d in ex.map(read, files) if d is not None]
    if len(D) < 12: sys.exit(f"{len(D)} scenes in {a.data}: at least 12 are needed")
    hold, keep = D[::12], [d for i, d in enumerate(D) if i % 12]
    print(f"{len(keep)} scenes to learn from, {len(hold)} held back; {sum(int((d['truth'][:, 3] > .5).sum()) for d in D)} heads, {sum(len(d['truth']) for d in D)} patches", flush=True)
    os.makedirs(a.out, exist_ok=True)

    if a.course_minutes > 0:
        net = CourseNet().to(DEV, memory_format=torch.channels_last).train()
        if a.start: net.load_state_dict(torch.load(os.path.join(a.start, "course.pt")))

        feed = course_batches(keep, 32, 12)

        def step():
            x, l, g = vary(*next(feed))
            x = x.contiguous(memory_format=torch.channels_last)
            with torch.autocast(DEV, torch.bfloat16): o = net(x)
            return course_loss(o, l, g)
        fit(net, a.course_minutes, 1.5e-3 if a.start else 2.5e-3, step)
        torch.save(net.state_dict(), os.path.join(a.out, "course.pt")); save_course(net, os.path.join(a.out, "course.onnx")); judge_course(net, hold)
    if a.head_minutes > 0:
        cat = lambda L, k: torch.cat([d[k] for d in L]).to(DEV)
        X, T, HX, HT = cat(keep, "patches"), cat(keep, "truth").float(), cat(hold, "patches"), cat(hold, "truth").float()
        pos, neg = torch.where(T[:, 3] > .5)[0], torch.where(T[:, 3] < .5)[0]
        rare = torch.where((T[:, 3] > .5) & (T[:, 8] > .5))[0]
        net = HeadNet().to(DEV).train()
        if a.start: net.load_state_dict(torch.load(os.path.join(a.start, "head.pt")))
        pick = lambda v, n: v[torch.randint(len(v), (n,), device=v.device)]

        def step():
            x, t = head_batch(X, T, torch.cat([pick(pos, 160), pick(rare, 64), pick(neg, 160)]), True)
            with torch.autocast(DEV, torch.bfloat16): o = net(x)
            return head_loss(o, t)
        fit(net, a.head_minutes, 1e-3 if a.start else 2e-3, step)
        torch.save(net.state_dict(), os.path.join(a.out, "head.pt")); save_head(net, os.path.join(a.out, "head.onnx")); judge_head(net, HX, HT)
    for n in ("course.onnx", "head.onnx"):
        p = os.path.join(a.out, n)
        if os.path.exists(p): print(n, os.path.getsize(p), hashlib.sha256(open(p, "rb").read()).hexdigest())


if __name__ == "__main__": main()
