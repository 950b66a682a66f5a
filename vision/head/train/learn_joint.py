"""How the joint network learns: batches of patches, its loss, its figures on patches held back."""
import sys

import numpy as np
import torch
import torch.nn.functional as F

from fit import laplace, q
from joints import HI, HIGH, LO, MARGIN, PPM, SLOT, WIDE

NEAR, FAR = 6.5, 9.0            # mm from the middle: here, and not here


def batch(X, T, idx, train):
    """Network input and truth (joints.cut's numbers, moved with the picture) of some patches."""
    x = X[idx].permute(0, 3, 1, 2).float(); t = T[idx].clone()
    n, dev = len(idx), X.device
    sc, sh, fl = torch.ones(n, device=dev), torch.zeros(n, 2, device=dev), torch.ones(n, device=dev)
    if train:
        sc = 1 + .03 * torch.randn(n, device=dev)
        sh = (torch.rand(n, 2, device=dev) - .5) * 2 * 1.5                      # mm
        fl = torch.where(torch.rand(n, device=dev) < .5, -1.0, 1.0)
    # patch point p (mm, from its middle) is read at p * [fl, 1] / sc + sh
    w, h = WIDE + 2 * MARGIN, HIGH + 2 * MARGIN
    A = torch.zeros(n, 2, 3, device=dev)
    A[:, 0, 0], A[:, 1, 1] = fl / sc * WIDE / w, 1 / sc * HIGH / h
    A[:, :, 2] = sh * PPM * 2 / torch.tensor([w, h], device=dev)
    y = F.grid_sample(x, F.affine_grid(A, (n, 3, HIGH, WIDE), align_corners=False), align_corners=False)
    l, r = t[:, 6:8].clone(), t[:, 8:10].clone()
    mid = (HIGH - 1) / 2

    def moved(e):
        """Ends at LO and HI of the patch as it is now."""
        at = torch.tensor([LO, HI], device=dev)
        src = (at - mid) / sc[:, None] + mid + sh[:, 1:] * PPM
        k = (src - LO) / (HI - LO)
        return ((e[:, :1] * (1 - k) + e[:, 1:] * k) - sh[:, :1]) * (fl * sc)[:, None]
    l, r = moved(l), moved(r)
    f = fl[:, None] < 0
    t[:, 6:8], t[:, 8:10] = torch.where(f, r, l), torch.where(f, l, r)
    t[:, 0] = t[:, 0] * fl / sc; t[:, 1] = t[:, 1] / sc
    t[:, 2] = t[:, 2] - torch.log(sc)
    m = y.mean((1, 2, 3), keepdim=True); sd = y.std((1, 2, 3), keepdim=True)
    y = (y - m) / (sd + 4)
    if train:
        y = y * (1 + .15 * torch.randn(n, 1, 1, 1, device=dev)) + .15 * torch.randn(n, 3, 1, 1, device=dev)
        y = y + torch.randn_like(y) * (.15 * torch.rand(n, 1, 1, 1, device=dev))
        y = torch.where(torch.rand(n, 1, 1, 1, device=dev) < .1, F.avg_pool2d(y, 3, 1, 1), y)
    return torch.cat([y, t[:, :5, None, None].expand(-1, -1, HIGH, WIDE)], 1), t


def loss(o, t):
    o = o.float()
    off = t[:, 6:10].mean(1).abs()
    y = (t[:, 5] > .5) & (off < NEAR)
    told = (t[:, 5] < .5) | (off < NEAR) | (off > FAR)
    out = (F.binary_cross_entropy_with_logits(o[:, 0], y.float(), reduction="none") * told).sum() / told.sum()
    return out + .15 * (laplace(o[:, 1:5] - t[:, 6:10], o[:, 5:9]).mean(1) * y).sum() / y.sum().clamp(min=1)


@torch.no_grad()
def judge(net, X, T, scene):
    """scene: which scene each patch belongs to."""
    net.eval(); o = []
    for k in range(0, len(X), 512): o.append(net(batch(X, T, torch.arange(k, min(len(X), k + 512), device=X.device), False)[0]).float())
    o, t = torch.cat(o).cpu().numpy(), T.cpu().numpy()
    lam, lower, y, course, x, what, W = t[:, 3] > .5, t[:, 4] > .5, t[:, 5] > .5, t[:, 10], t[:, 11], t[:, 12], t[:, 13]
    near = np.abs(t[:, 6:10].mean(1)) < NEAR
    for name, g in (("open laminated", ~lower & lam), ("open three-tab", ~lower & ~lam), ("lower laminated", lower & lam), ("lower three-tab", lower & ~lam)):
        a, b, c = o[g & y & near, 0], o[g & ~y & (what == SLOT), 0], o[g & ~y & (what != SLOT), 0]
        print(f"  {name}: {len(a)} joints, {len(b)} slots, {len(c)} other places; found, let through, let through at logit " +
              "; ".join(f"{k}: {(a > k).mean():.3f} {(b > k).mean():.3f} {(c > k).mean():.3f}" for k in (-2, -1, 0, 1, 2, 3)))
    for name, g in (("open", ~lower), ("lower laminated", lower & lam), ("lower three-tab", lower & ~lam)):
        e = np.abs(o[:, 1:5] - t[:, 6:10])[g & y & near]; s = np.exp(o[:, 5:9].clip(-4, 4))[g & y & near]
        print(f"  {name}: left end p50 {q(e[:, :2], .5):.2f} p95 {q(e[:, :2], .95):.2f}, right end p50 {q(e[:, 2:], .5):.2f} p95 {q(e[:, 2:], .95):.2f} mm; mean |error| / scale {(e / s).mean():.2f}")
    # which third of a product width: the sum of logits over the joints of a course, the same over courses
    right, courses = {}, {}
    for s in np.unique(scene):
        total = np.zeros(3)
        for c in (-1, -2, -3):
            g = (scene == s) & ~lam & (course == c) & (what != 2)
            if not (g & y).any(): continue
            third = np.round((x[g] - x[g & y][0]) / (W[g] / 3)).astype(int) % 3
            per = {}
            for p, a, v in zip(third, np.round(x[g] / 10), o[g, 0]): per.setdefault((p, a), []).append(v)
            sums = np.zeros(3)
            for (p, _), v in per.items(): sums[p] += np.mean(v)
            total += sums
            right.setdefault(c, []).append(sums.argmax() == 0)
        if total.any(): courses.setdefault(0, []).append((total.argmax() == 0, total[0] - total[1:].max()))
    if courses:
        print("  three-tab, right third of three: course by course " + ", ".join(f"{c}: {np.mean(v):.3f} of {len(v)}" for c, v in sorted(right.items(), reverse=True)) +
              f"; over three courses {np.mean([v for v, _ in courses[0]]):.3f} of {len(courses[0])}; lead over the next p50 {q([v for _, v in courses[0]], .5):.1f}")
    sys.stdout.flush(); net.train()
