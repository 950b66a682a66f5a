"""How the course network learns: crops of the views, which lie on the device, its loss, its figures on views held back."""
import random

import numpy as np
import torch
import torch.nn.functional as F

from fit import DEV, laplace, q

CROP = (384, 512)
HALVES = .2                 # share of the crops at 0.5 px/mm
NONE = 1e3                  # no line, no head near


def read(z, half=""):
    """One view of a scene's file on the device, or None where too little is in sight."""
    pic = z[half + "pic"]; ok = pic.any(2)
    if ok.sum() < 20000 / (4 if half else 1): return None
    v = pic[ok].astype(np.float32)
    lab = np.concatenate([z[half + "lines"], z[half + "seg"][None].astype(np.float16), z[half + "seen"][None].astype(np.float16)])
    heads = np.concatenate([z[half + "heads"], z["visible"][:, None]], 1).astype(np.float32)
    return dict(pic=torch.from_numpy(pic).to(DEV), lab=torch.from_numpy(lab).to(DEV), heads=heads, light=(float(v.mean()), float(v.std()) + 1e-3))


def crops(views, corners):
    """Cuts a crop at a corner (row, column) of each view: pictures, labels, and what concerns heads
    (heat, offset x, offset y, ignore)."""
    n, (H, W) = len(views), CROP
    p = torch.zeros(n, H, W, 3, dtype=torch.uint8, device=DEV)
    l = torch.zeros(n, 7, H // 4, W // 4, dtype=torch.float16, device=DEV); l[:, :5] = NONE
    hd = np.full((n, max(1, *(len(s["heads"]) for s in views)), 3), -1e3, np.float32)
    for k, (s, (i, j)) in enumerate(zip(views, corners)):
        a = s["pic"][i:i + H, j:j + W]; p[k, :a.shape[0], :a.shape[1]] = a
        a = s["lab"][:, i // 4:(i + H) // 4, j // 4:(j + W) // 4]; l[k, :, :a.shape[1], :a.shape[2]] = a
        hd[k, :len(s["heads"])] = s["heads"] - np.float32([j, i, 0])
    ms = torch.tensor([s["light"] for s in views]).to(DEV)
    x = (p.float() - ms[:, 0, None, None, None]) / ms[:, 1, None, None, None]
    x = (x * (p.sum(3, keepdim=True) > 0)).permute(0, 3, 1, 2)
    return x, l.float(), head_maps(torch.from_numpy(hd).to(DEV))


def head_maps(hd):
    """hd (n, k, 3): column, row, visible."""
    rows, cols = (torch.arange(n // 4, device=DEV) * 4 + 1.5 for n in CROP)
    r2 = ((rows[None, None, :, None] - hd[:, :, 1, None, None]) ** 2 + (cols - hd[:, :, 0, None, None]) ** 2) / 16     # cells
    vis = (hd[:, :, 2] > .5)[:, :, None, None]
    near, k = torch.where(vis, r2, NONE).min(1)
    at = lambda c: hd[:, :, c].gather(1, k.flatten(1)).view_as(near)
    own = near < 2.6
    return torch.stack([torch.exp(-near / 1.28) * (near < 9), torch.where(own, at(0) - cols, NONE), torch.where(own, at(1) - rows[:, None], NONE),
                        ((r2 < 9) & ~vis).any(1).float()], 1)


def batch(full, half, n):
    """A batch of random crops on the device, made more various."""
    views = [random.choice(half if random.random() < HALVES else full) for _ in range(n)]
    corner = lambda size, side: random.randrange(0, max(1, (size - side) // 4 + 1)) * 4
    return vary(*crops(views, [(corner(s["pic"].shape[0], CROP[0]), corner(s["pic"].shape[1], CROP[1])) for s in views]))


def vary(x, l, g):
    """Mirror, light, noise, blur, a wrong turn."""
    n = len(x)
    R = lambda *s: torch.rand(n, *s, device=DEV)
    N = lambda *s: torch.randn(n, *s, device=DEV)
    f = torch.rand(n) < .5
    f = f.nonzero()[:, 0].to(DEV)
    x[f], lf, gf = x[f].flip(3), l[f].flip(3), g[f].flip(3)
    neg = lambda v: torch.where(v.abs() < 100, -v, v)
    lf[:, 2], lf[:, 3], lf[:, 4] = neg(lf[:, 3]), neg(lf[:, 2]), neg(lf[:, 4])
    gf[:, 1] = neg(gf[:, 1])
    l[f], g[f] = lf, gf
    x = x * (1 + .2 * N(1, 1, 1)) + .18 * N(1, 1, 1) + .1 * N(3, 1, 1)
    x = x + torch.randn_like(x) * (.2 * R(1, 1, 1) * (R(1, 1, 1) < .4))
    x = torch.where(R(1, 1, 1) < .12, F.avg_pool2d(x, 3, 1, 1), x)
    t = (torch.rand(n) < .2).nonzero()[:, 0]
    side = min(CROP)
    for k in (1, 2, 3):                                             # the wrong turn: nothing to find
        v = t[k - 1::3].to(DEV)
        y = torch.zeros_like(x[v]); y[..., :side, :side] = torch.rot90(x[v][..., :side, :side], k, (2, 3)); x[v] = y
        z = torch.full_like(l[v], NONE); z[:, 5] = 9; z[:, 6] = 0; z[:, 6, :side // 4, :side // 4] = 1; l[v] = z
        g[v, 3] = 1
    return x, l, g


def mean(v, m):
    """The mean of v where m holds, 0 where it holds nowhere (no waiting for the device)."""
    return (v * m).sum() / m.sum().clamp(min=1)


def line_loss(o, p, ds, ss, targets, seen, wp=1.0):
    """Presence (within half a cell), then signed distances with their scale where the line is near."""
    mid = sum(targets) / len(targets)
    a = mid.abs()
    pos, neg = (a <= 2.1) & seen, (a > 4.5) & seen
    loss = wp * mean(F.binary_cross_entropy_with_logits(o[:, p], pos.float(), reduction="none"), pos | neg) * 12
    m = (a < 5.5) & seen
    for d, t in zip(ds, targets): loss = loss + .35 * mean(laplace(o[:, d] - t, o[:, ss]), m) / len(ds)
    return loss


def loss(o, l, g):
    o = o.float()
    seen = l[:, 6] > .5
    out = line_loss(o, 0, [1], 2, [l[:, 0]], seen) + line_loss(o, 3, [4], 5, [l[:, 1]], seen)
    out = out + 1.5 * line_loss(o, 6, [7, 8], 9, [l[:, 2], l[:, 3]], seen, 1.5) + line_loss(o, 10, [11], 12, [l[:, 4]], seen)
    seg = l[:, 5].long()
    out = out + mean(F.cross_entropy(o[:, 13:17], seg.clamp(max=3), reduction="none"), seen & (seg < 4))
    t, z = g[:, 0], o[:, 17]
    w = (seen & (g[:, 3] < .5)).float()
    p = torch.sigmoid(z)
    own = (g[:, 1].abs() < 2.1) & (g[:, 2].abs() < 2.1)           # the head's own cell
    hp = -(1 - p) ** 2 * F.logsigmoid(z) * own * w
    hn = -(1 - t) ** 4 * p ** 2 * F.logsigmoid(-z) * (~own) * w
    out = out + (hp.sum() + hn.sum()) / own.sum().clamp(min=8) * .6
    return out + .1 * mean((o[:, 18] - g[:, 1]).abs() + (o[:, 19] - g[:, 2]).abs(), (g[:, 1].abs() < 100) & (w > 0))


@torch.no_grad()
def judge(net, views):
    net.eval()
    err = {k: [] for k in ("butt", "top", "joint", "rake")}; pr = {k: [0, 0, 0] for k in err}
    found = [0, 0, 0]; segok = [0, 0]
    for s in views:
        h, w = s["pic"].shape[0] // 32 * 32, s["pic"].shape[1] // 32 * 32
        p = s["pic"][:h, :w].float(); x = torch.where(p.sum(2, keepdim=True) > 0, (p - s["light"][0]) / s["light"][1], torch.zeros_like(p)).permute(2, 0, 1)[None]
        o = net(x)[0].float(); l = s["lab"][:, :h // 4, :w // 4].float(); seen = l[6] > .5
        for name, pc, ds, t in (("butt", 0, [1], [l[0]]), ("top", 3, [4], [l[1]]), ("joint", 6, [7, 8], [l[2], l[3]]), ("rake", 10, [11], [l[4]])):
            a = (sum(t) / len(t)).abs(); pos = (a <= 2.1) & seen; said = (o[pc] > 0) & seen
            pr[name][0] += int((said & (a < 5.5)).sum()); pr[name][1] += int(said.sum()); pr[name][2] += int(pos.sum())
            m = said & (a < 5.5)
            for d, tt in zip(ds, t): err[name] += (o[d][m] - tt[m]).abs().cpu().tolist()
        m = seen & (l[5] < 4); segok[0] += int((o[13:17].argmax(0)[m] == l[5].long()[m]).sum()); segok[1] += int(m.sum())
        z = o[17]; pk = (z == F.max_pool2d(z[None, None], 3, 1, 1)[0, 0]) & (z > -3)
        i, j = torch.where(pk); c = torch.stack([j * 4 + 1.5 + o[18][i, j], i * 4 + 1.5 + o[19][i, j]], 1).cpu().numpy()
        for a, b, v in s["heads"]:
            if not v: continue
            found[1] += 1; found[0] += len(c) > 0 and np.hypot(*(c - [a, b]).T).min() < 5
        found[2] += len(c)
    for k in err: print(f"  {k}: of said {pr[k][0] / max(1, pr[k][1]):.3f} right, said/lines {pr[k][1] / max(1, pr[k][2]):.3f}; error p50 {q(err[k], .5):.2f} p95 {q(err[k], .95):.2f} px")
    print(f"  regions {segok[0] / max(1, segok[1]):.4f}; heads proposed {found[0]}/{found[1]}, {found[2] / max(1, len(views)):.0f} proposals a view", flush=True)
    net.train()
