"""Views of a rendered scene and what a network should say about them.

A view is a rectified picture: rows run down the slope, columns along the
courses, at a fixed number of pixels per millimetre. The measuring tool makes
the same views from the card alone, so the plane, the lens and the turn used
here are deliberately a little wrong; labels are brought into the view through
the true camera and the true heights, exactly.

Lengths are millimetres in the roof frame (x along, y up the slope, z out of
the deck); pictures are arrays (rows, columns, BGR).
"""
import math

import cv2
import numpy as np

CELL = 4                 # view pixels a label cell, each way
FAR = 1e3                # "no line here"


def stack_height(product, y):
    """Nominal height over the deck of a course's surface, y above its own butt: the plies that lie there are
    counted, each edge bridged over 45 mm. What the tool assumes before it has measured; the scenes vary about it."""
    y = np.maximum(np.asarray(y, float), 0)
    E, H, t = product["exposure"], product["height"], product["ply"]
    two = product["family"] == "laminated"
    over = lambda u, end: np.clip(1 - (u - end) / 45, 0, 1)
    z = t + (t * (y < E + 38) if two else 0)
    for k in range(1, 6): z = z + t * (over(y + k * E, H) + (over(y + k * E, E + 38) if two else 0))
    return z


class Photo:
    """The sensor picture (BGR) and smaller copies of it, each made when first asked for."""

    def __init__(self, img): self.by = {1: img}

    def at(self, n):
        if n not in self.by:
            img = self.at(n // 2)
            self.by[n] = cv2.resize(img, (img.shape[1] // 2, img.shape[0] // 2), interpolation=cv2.INTER_AREA)
        return self.by[n]


class View:
    """Maps between view pixels and the sensor picture."""

    def __init__(self, cam, pose, ppm, x0, y1, turn=0.0, plane=(6.0, 0.0, 0.0), k1=None, scale=1.0):
        self.cam, self.ppm, self.x0, self.y1 = dict(cam), ppm, x0, y1
        self.R, self.c = pose
        self.turn, self.plane, self.scale = turn, plane, scale
        if k1 is not None: self.cam["k1"] = k1

    def roof(self, cols, rows):
        u, v = self.x0 + cols / self.ppm, self.y1 - rows / self.ppm
        c, s = math.cos(self.turn) * self.scale, math.sin(self.turn) * self.scale
        x, y = c * u - s * v, s * u + c * v
        return x, y, self.plane[0] + self.plane[1] * x + self.plane[2] * y

    def sensor(self, cols, rows):
        x, y, z = self.roof(np.asarray(cols, float), np.asarray(rows, float))
        return project(self.cam, self.R, self.c, np.stack([x, y, z], -1))

    def from_sensor(self, px):
        d = rays(self.cam, self.R, px)
        # (c + t d) on the plane z = p0 + p1 x + p2 y
        p0, p1, p2 = self.plane
        t = (p0 + p1 * self.c[0] + p2 * self.c[1] - self.c[2]) / (d[..., 2] - p1 * d[..., 0] - p2 * d[..., 1])
        x, y = self.c[0] + t * d[..., 0], self.c[1] + t * d[..., 1]
        c, s = math.cos(self.turn) / self.scale, math.sin(self.turn) / self.scale
        u, v = c * x + s * y, -s * x + c * y
        return np.stack([(u - self.x0) * self.ppm, (self.y1 - v) * self.ppm], -1)

    def picture(self, photo, w, h):
        """The view, w x h pixels, and which of its pixels the sensor saw."""
        g = 16
        cc, rr = np.meshgrid(np.arange(0, w + g, g, dtype=float), np.arange(0, h + g, g, dtype=float))
        m = self.sensor(cc, rr).astype(np.float32)
        yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
        m = cv2.remap(m, xx / g, yy / g, cv2.INTER_LINEAR)
        local = np.hypot(*(self.sensor(w / 2 + 1, h / 2) - self.sensor(w / 2, h / 2)))
        n = 1
        while local / (2 * n) >= .8: n *= 2     # the halvings that the measuring tool keeps
        img = photo.at(n)
        if n > 1: m = (m + .5) / n - .5
        out = cv2.remap(img, m[..., 0], m[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(0, 0, 0))
        seen = (m[..., 0] > 1) & (m[..., 0] < img.shape[1] - 2) & (m[..., 1] > 1) & (m[..., 1] < img.shape[0] - 2)
        out[~seen] = 0
        return out, seen


def project(cam, R, c, p):
    """Roof points (..., 3) to sensor pixels (..., 2) by the Brown model."""
    q = (p - c) @ R.T
    x, y = q[..., 0] / q[..., 2], q[..., 1] / q[..., 2]
    r2 = x * x + y * y
    d = 1 + cam["k1"] * r2 + cam["k2"] * r2 * r2
    xd = x * d + 2 * cam["p1"] * x * y + cam["p2"] * (r2 + 2 * x * x)
    yd = y * d + cam["p1"] * (r2 + 2 * y * y) + 2 * cam["p2"] * x * y
    return np.stack([cam["f"] * xd + cam["cx"], cam["f"] * yd + cam["cy"]], -1)


def rays(cam, R, px):
    """Directions in the roof frame of sensor pixels."""
    ud, vd = (px[..., 0] - cam["cx"]) / cam["f"], (px[..., 1] - cam["cy"]) / cam["f"]
    x, y = ud.copy(), vd.copy()
    for _ in range(8):
        r2 = x * x + y * y
        d = 1 + cam["k1"] * r2 + cam["k2"] * r2 * r2
        dx = 2 * cam["p1"] * x * y + cam["p2"] * (r2 + 2 * x * x)
        dy = cam["p1"] * (r2 + 2 * y * y) + 2 * cam["p2"] * x * y
        x, y = (ud - dx) / d, (vd - dy) / d
    return np.stack([x, y, np.ones_like(x)], -1) @ R


def footprint(cam, R, c, z=6.0):
    """Bounding box on the roof of what the camera sees."""
    w, h = cam["width"], cam["height"]
    e = np.array([(u, v) for u in np.linspace(0, w, 9) for v in (0, h)] + [(u, v) for u in (0, w) for v in np.linspace(0, h, 9)])
    d = rays(cam, R, e)
    d = d[d[:, 2] < -.05]
    t = (z - c[2]) / d[:, 2]
    x, y = c[0] + t * d[:, 0], c[1] + t * d[:, 1]
    return x.min(), x.max(), y.min(), y.max()


class Lines:
    """Distance in view pixels from each cell's centre to the nearest line, FAR where none is near."""

    def __init__(self, h, w, reach=7.0):
        self.H, self.W, self.reach = h // CELL, w // CELL, reach
        self.d = np.full((self.H, self.W), FAR, np.float32)
        self.e = np.full((self.H, self.W), FAR, np.float32)     # a second distance (the other side of a joint)

    def add(self, pts, second=None, upright=False):
        """pts (n, 2) view pixels along one line; upright: runs up the slope."""
        a, b = (1, 0) if upright else (0, 1)                    # along, across
        o = np.argsort(pts[:, a]); p = pts[o]
        q = p if second is None else second[np.argsort(second[:, a])]
        n, m = (self.H, self.W) if upright else (self.W, self.H)
        at = np.arange(n) * CELL + 1.5
        k = np.where((at >= p[0, a] - .5) & (at <= p[-1, a] + .5))[0]
        r, r2 = np.interp(at[k], p[:, a], p[:, b]), np.interp(at[k], q[:, a], q[:, b])
        mid = .5 * (r + r2)
        first = np.floor((mid - self.reach) / CELL).astype(int)
        for e in range(int(2 * self.reach / CELL) + 3):
            i = first + e
            z = i * CELL + 1.5
            ok = np.where((i >= 0) & (i < m) & (np.abs(mid - z) <= self.reach))[0]
            jj = (k[ok], i[ok]) if upright else (i[ok], k[ok])
            better = np.abs(mid - z)[ok] < np.abs(.5 * (self.d[jj] + self.e[jj]))
            ok, jj = ok[better], (jj[0][better], jj[1][better])
            self.d[jj], self.e[jj] = (r - z)[ok], (r2 - z)[ok]


def labels(s, view, cards, heads, w, h):
    """Label maps of a view of scene s: a dict of arrays at one value a cell."""
    P, cam = s["product"], s["camera"]
    E, H, lift = P["exposure"], P["height"], s["lift"]
    true = (view.R, view.c)
    surface = s["surface"]                  # height of piece i of the scene at places on it

    def to_view(x, y, z):
        p = np.stack(np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float), np.asarray(z, float)), -1)
        return view.from_sensor(project(cam, *true, p))

    f = footprint(cam, *true)               # far out of the picture the lens model folds back into it
    left, right = f[0] - 80, f[1] + 80
    butt, top, joint, rake = (Lines(h, w) for _ in range(4))
    by_course = {}
    for i, p in enumerate(s["pieces"]): by_course.setdefault(p[0], []).append((p, s["slots"][i], i))
    for c, row in by_course.items():
        yb = c * E + lift
        if not max(view.y1 - h / view.ppm, f[2]) - 80 - H < yb < min(view.y1, f[3]) + 80: continue
        row.sort(key=lambda q: q[0][1])
        for p, slots, n in row:
            x = np.arange(max(p[1], left), min(p[2], right), 2.0 / view.ppm)
            if len(x) < 2: continue
            y = yb + p[3] + p[4] * (x - p[1])
            slotted = np.zeros(len(x), bool)
            for q in slots: slotted |= (x > q[0] - q[2] * .5) & (x < q[1] + q[2] * .3)
            v = to_view(x, y, surface(n, x, y + 1.5))
            if P["family"] == "three-tab":                      # no butt in a cutout
                for run in np.split(np.arange(len(x)), np.where(np.diff(slotted.astype(int)))[0] + 1):
                    if not slotted[run[0]] and len(run) > 2: butt.add(v[run])
            else: butt.add(v)
            if c == 0: top.add(to_view(x, y + H, surface(n, x, y + H - 1)))
        span = (lambda p: np.arange(yb + p[3], yb + (H if c == 0 else E), 6.0))
        for (a, _, m), (b, _, n) in zip(row, row[1:]):
            if b[1] - a[2] > 12 or not left < b[1] < right: continue
            y = span(a)
            joint.add(to_view(a[2], y, surface(m, a[2] - 1, y)), to_view(b[1], y, surface(n, b[1] + 1, y)), upright=True)
        for p, _, n in row:
            for flag, xe, inside in ((p[5], p[1], 1), (p[6], p[2], -1)):
                if flag and left < xe < right and s["rake_x"] is not None and abs(xe - s["rake_x"]) < 6:
                    y = span(p); rake.add(to_view(xe, y, surface(n, xe + inside, y)), upright=True)

    hh, ww = h // CELL, w // CELL
    cc, rr = np.meshgrid(np.arange(ww) * CELL + 1.5, np.arange(hh) * CELL + 1.5)
    px = view.sensor(cc, rr)
    d = rays(cam, true[0], px)
    t = (7.0 - view.c[2]) / d[..., 2]
    x, y = view.c[0] + t * d[..., 0], view.c[1] + t * d[..., 1]
    seg = np.where(y > lift + H, 0, np.where(y > lift, 1, 2)).astype(np.uint8)          # underlay, open course, finished
    if s["rake_x"] is not None: seg[(x < s["rake_x"]) if s["rake"] == "left" else (x > s["rake_x"])] = 3
    seen = (px[..., 0] > 4) & (px[..., 0] < cam["width"] - 5) & (px[..., 1] > 4) & (px[..., 1] < cam["height"] - 5) & (d[..., 2] < -.05)
    for k in cards:
        q = to_view(*np.array([(a, b, 8.0) for a, b in k["outline"]]).T)
        mask = np.zeros((hh, ww), np.uint8)
        cv2.fillPoly(mask, [np.round((q - 1.5) / CELL).astype(np.int32)], 1)
        seen &= cv2.dilate(mask, np.ones((5, 5), np.uint8)) == 0
    hd = [dict(at=to_view(f["x"], f["y"], surf + f["rise"] + (.1 if f["drive"] != "overdriven" else 0)), f=f, surf=surf) for f, surf in heads]
    return dict(butt=butt.d, top=top.d, joint=np.stack([joint.d, joint.e]), rake=rake.d, seg=seg, seen=seen,
                heads=np.array([q["at"] for q in hd], np.float32).reshape(-1, 2)), hd
