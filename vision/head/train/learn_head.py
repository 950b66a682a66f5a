"""How the head network learns: batches of patches, its loss, its figures on patches held back."""
import math
import sys

import numpy as np
import torch
import torch.nn.functional as F

from fit import laplace, q


def batch(X, T, idx, train):
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


def loss(o, t):
    o = o.float(); y = t[:, 3]; m = y > .5
    loss = F.binary_cross_entropy_with_logits(o[:, 0], y)
    if m.any():
        o, t = o[m], t[m]
        loss = loss + .15 * (laplace(o[:, 1] - t[:, 4], o[:, 3]) + laplace(o[:, 2] - t[:, 5], o[:, 3])).mean() + .05 * laplace(o[:, 4] + 10.3 - t[:, 6], o[:, 5]).mean()
        loss = loss + .05 * laplace(o[:, 6] - t[:, 7], o[:, 7]).mean() + .4 * F.cross_entropy(o[:, 8:12], t[:, 8].long())
    return loss


@torch.no_grad()
def judge(net, X, T):
    net.eval(); o = []
    for k in range(0, len(X), 512):
        x, t = batch(X, T, torch.arange(k, min(len(X), k + 512), device=X.device), False); o.append(net(x).float())
    o, t = torch.cat(o).cpu().numpy(), T.cpu().numpy()
    y = t[:, 3] > .5; s = o[:, 0]
    for th in (-2, 0, 2): print(f"  at logit {th}: recall {(s[y] > th).mean():.4f}, false {int((s[~y] > th).sum())} of {int((~y).sum())} others, {int(y.sum())} heads")
    p, v = o[y], t[y]; e = np.hypot(p[:, 1] - v[:, 4], p[:, 2] - v[:, 5]); d = np.abs(p[:, 4] + 10.3 - v[:, 6]); r = np.abs(p[:, 6] - v[:, 7])
    print(f"  centre p50 {q(e, .5):.3f} p95 {q(e, .95):.3f}; across p50 {q(np.abs(p[:, 2] - v[:, 5]), .5):.3f} p95 {q(np.abs(p[:, 2] - v[:, 5]), .95):.3f}; diameter p50 {q(d, .5):.3f} p95 {q(d, .95):.3f}; rise p50 {q(r, .5):.2f} p95 {q(r, .95):.2f} mm")
    c = p[:, 8:12].argmax(1)
    for k, n in enumerate(("flush", "overdriven", "underdriven", "cocked")): print(f"  {n:12}", [int(((c == j) & (v[:, 8] == k)).sum()) for j in range(4)])
    sys.stdout.flush(); net.train()
