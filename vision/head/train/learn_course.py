"""How the course network learns: crops of the views, which lie on the device, its loss, its figures on views held back."""
import numpy as np
import torch
import torch.nn.functional as F

from fit import DEV, laplace, q

CROP = (384, 512)
HALVES = .2                 # share of the crops at 0.4 px/mm
NONE = 1e3                  # no line, no head near


def read(z, half=""):
    """One view of a scene's file, or None where too little is in sight."""
    pic = z[half + "pic"]; ok = pic.any(2)
    if ok.sum() < 13000 / (4 if half else 1): return None
    v = pic[ok].astype(np.float32)
    lab = np.concatenate([z[half + "lines"], z[half + "seg"][None].astype(np.float16), z[half + "seen"][None].astype(np.float16)])
    heads = np.concatenate([z[half + "heads"], z["visible"][:, None]], 1).astype(np.float32)
    return dict(pic=pic, lab=lab, heads=heads, light=(float(v.mean()), float(v.std()) + 1e-3), half=bool(half))


class Views:
    """Many views on the device, pixel after pixel and cell after cell, so that crops are gathered there."""

    def __init__(self, views):
        on = lambda v: torch.tensor(np.array(v)).to(DEV)
        shape = np.array([s["pic"].shape[:2] for s in views])
        size = shape.prod(1); end = size.cumsum()
        self.pic = torch.empty(end[-1], 3, dtype=torch.uint8, device=DEV)
        self.lab = torch.empty(end[-1] // 16, 7, dtype=torch.float16, device=DEV)
        for s, e, n in zip(views, end, size):
            self.pic[e - n:e] = torch.from_numpy(s["pic"].reshape(-1, 3)).to(DEV)
            self.lab[(e - n) // 16:e // 16] = torch.from_numpy(s["lab"].reshape(7, -1)).to(DEV).T
        self.shape, self.start, self.light = on(shape), on(end - size), on([s["light"] for s in views]).float()
        heads = np.full((len(views), max(1, *(len(s["heads"]) for s in views)), 3), -NONE, np.float32)
        for h, s in zip(heads, views): h[:len(s["heads"])] = s["heads"]
        self.heads = on(heads)
        half = np.array([s["half"] for s in views])
        self.full, self.half = on(np.where(~half)[0]), on(np.where(half)[0])

    def crops(self, v, corner):
        """A crop at a corner (row, column) of each view v: pictures, labels, and what concerns heads
        (heat, offset x, offset y, ignore)."""
        def gather(store, cell):
            h, w = self.shape[v, 0, None, None] // cell, self.shape[v, 1, None, None] // cell
            r = corner[:, 0, None, None] // cell + torch.arange(CROP[0] // cell, device=DEV)[:, None]
            c = corner[:, 1, None, None] // cell + torch.arange(CROP[1] // cell, device=DEV)
            ok = (r < h) & (c < w)
            return store[torch.where(ok, self.start[v, None, None] // cell ** 2 + r * w + c, 0)], ok[..., None]
        p, ok = gather(self.pic, 1)
        m, sd = self.light[v, :, None, None, None].unbind(1)
        x = ((p.float() - m) / sd * (ok & (p.sum(3, keepdim=True) > 0))).permute(0, 3, 1, 2)
        l, ok = gather(self.lab, 4)
        nothing = torch.tensor([NONE] * 5 + [0, 0], device=DEV)
        l = torch.where(ok, l.float(), nothing).permute(0, 3, 1, 2)
        return x, l, head_maps(self.heads[v] - F.pad(corner.flip(1), (0, 1))[:, None])

    def batch(self, n):
        """A batch of random crops, made more various."""
        R = lambda *s: torch.rand(n, *s, device=DEV)
        among = lambda g: g[(R() * len(g)).long()]
        v = torch.where(R() < HALVES, among(self.half), among(self.full))
        room = ((self.shape[v] - torch.tensor(CROP, device=DEV)) // 4 + 1).clamp(min=1)
        return vary(*self.crops(v, (R(2) * room).long() * 4))


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


def vary(x, l, g):
    """Mirror, light, noise, blur, a wrong turn."""
    n = len(x)
    R = lambda *s: torch.rand(n, *s, device=DEV)
    N = lambda *s: torch.randn(n, *s, device=DEV)
    f = R(1, 1, 1) < .5
    neg = lambda v: torch.where(v.abs() < 100, -v, v)
    lf, gf = l.flip(3), g.flip(3)
    lf = torch.cat([lf[:, :2], neg(lf[:, 3:4]), neg(lf[:, 2:3]), neg(lf[:, 4:5]), lf[:, 5:]], 1)
    gf = torch.cat([gf[:, :1], neg(gf[:, 1:2]), gf[:, 2:]], 1)
    x, l, g = torch.where(f, x.flip(3), x), torch.where(f, lf, l), torch.where(f, gf, g)
    x = x * (1 + .2 * N(1, 1, 1)) + .18 * N(1, 1, 1) + .1 * N(3, 1, 1)
    x = x + torch.randn_like(x) * (.2 * R(1, 1, 1) * (R(1, 1, 1) < .4))
    x = torch.where(R(1, 1, 1) < .12, F.avg_pool2d(x, 3, 1, 1), x)
    turn = (R(1, 1, 1) * 15).floor()                                # 1, 2, 3: the wrong turn, nothing to find
    side = min(CROP)
    for k in (1, 2, 3): x = torch.where(turn == k, F.pad(torch.rot90(x[..., :side, :side], k, (2, 3)), (0, CROP[1] - side)), x)
    wrong = (turn > 0) & (turn < 4)
    nothing = torch.full_like(l[:1], NONE); nothing[:, 5] = 9; nothing[:, 6] = 0; nothing[:, 6, :side // 4, :side // 4] = 1
    l = torch.where(wrong, nothing, l)
    return x, l, torch.cat([g[:, :3], torch.where(wrong, 1.0, g[:, 3:])], 1)


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
        p = torch.from_numpy(s["pic"][:h, :w]).to(DEV).float(); x = torch.where(p.sum(2, keepdim=True) > 0, (p - s["light"][0]) / s["light"][1], torch.zeros_like(p)).permute(2, 0, 1)[None]
        o = net(x)[0].float(); l = torch.from_numpy(s["lab"][:, :h // 4, :w // 4]).to(DEV).float(); seen = l[6] > .5
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
