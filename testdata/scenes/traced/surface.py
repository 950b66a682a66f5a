"""Heights of the roof: sheets that lie on the sheets below.

The height of a place is the sum of the plies that lie there. Where a ply ends,
the sheet above bridges the step over `bridge` mm and sags by `sag`. Each piece
has its own thickness, lift and gap; the deck has waves. Mesh and truth both
read their heights here.
"""
import math

import numpy as np

FELT = .8                        # thickness of the underlay, mm
X_STEP = 4.0


def deck(s, x, y):
    R = s["roof"]
    z = sum(a * np.sin(2 * math.pi * (x * math.cos(t) + y * math.sin(t)) / wave + phase) for wave, t, phase, a in R["waves"])
    return R["deck_amplitude"] * .45 * z


def local(p, exposure, x, y):
    """Roof x, y to u along the piece's butt and v above it."""
    c, t = math.cos(p["rot"]), math.sin(p["rot"])
    dx, dy = x - p["x0"], y - (p["course"] * exposure + p["dy"])
    return dx * c + dy * t, dy * c - dx * t


def ramp(t, sag):
    return np.power(1 - np.clip(t, 0, 1), 1 + sag)


def ripple(seed, x, y, size):
    """Smooth noise of about unit deviation and `size` mm wavelength."""
    r = np.random.default_rng(seed)
    z = 0.
    for _ in range(6):
        t, k, phase = r.uniform(0, math.pi), 2 * math.pi / (size * r.uniform(.6, 1.7)), r.uniform(0, 2 * math.pi)
        z = z + np.sin(k * (x * math.cos(t) + y * math.sin(t)) + phase)
    return z * .58


class Roof:
    def __init__(self, s):
        self.s, self.P = s, s["product"]
        self.E, self.H = self.P["exposure"], self.P["height"]
        self.pieces = s["pieces"]
        self.lam = self.P["family"] == "laminated"
        self.xs = np.arange(-5200., 5600., X_STEP)
        self.by_course = {}
        for i, p in enumerate(self.pieces): self.by_course.setdefault(p["course"], []).append(i)
        self.lines = {c: self._course(ids) for c, ids in self.by_course.items()}
        lowest = min(self.by_course)
        for k in range(1, 5):            # courses farther down than any that is described
            self.lines[lowest - k] = {n: v - (k * self.E if n in ("top", "lap") else 0) for n, v in self.lines[lowest].items()}
        self.dents = {}
        for f in s["fasteners"]: self.dents.setdefault(f["piece"], []).append(f)

    def _course(self, ids):
        """Thickness and upper ends of a course along x; steps at joints are rounded off, as the sheet above bridges them."""
        at = np.array([self.pieces[i]["x0"] for i in ids])
        n = np.clip(np.searchsorted(at, self.xs, "right") - 1, 0, len(ids) - 1)
        get = lambda f: np.array([f(self.pieces[i]) for i in ids], float)[n]
        u = self.xs - get(lambda p: p["x0"])
        y0 = get(lambda p: p["course"] * self.E + p["dy"]) + get(lambda p: p["rot"]) * u
        kernel = np.exp(-.5 * (np.arange(-12, 13) * X_STEP / 14) ** 2)
        smooth = lambda v: np.convolve(np.pad(v, 12, "edge"), kernel / kernel.sum(), "valid")
        return dict(ply=smooth(get(lambda p: p["ply"])), backer=smooth(get(lambda p: p["backer"])), top=y0 + self.H, lap=y0 + get(lambda p: p["lap"]))

    def bottom(self, i, x, y):
        """Underside of piece i."""
        p, R = self.pieces[i], self.s["roof"]
        u, v = local(p, self.E, x, y)
        z = deck(self.s, x, y) + FELT
        for k in range(1, 4):
            L = self.lines.get(p["course"] - k)
            if L is None: continue
            g = lambda n: np.interp(x, self.xs, L[n])
            z = z + g("ply") * ramp((y - g("top")) / R["bridge"], R["sag"])
            if self.lam: z = z + g("backer") * ramp((y - g("lap")) / R["bridge"], R["sag"])
        low = np.maximum(v, 0)
        z = z + p["gap_under"] * np.exp(-low / 80)
        z = z + p["lift"][0] * np.exp(-np.maximum(u, 0) / 75 - low / 65) + p["lift"][1] * np.exp(-np.maximum(p["width"] - u, 0) / 75 - low / 65)
        return z + .14 * ripple(p["seed"], x, y, 110)

    def backer_top(self, i, x, y): return self.bottom(i, x, y) + self.pieces[i]["backer"]

    def bare(self, i, x, y):
        """Upper face of piece i where no slot is, before any nail."""
        p = self.pieces[i]
        z = self.bottom(i, x, y) + p["ply"]
        if self.lam:
            _, v = local(p, self.E, x, y)
            z = z + p["backer"] * ramp((v - p["lap"]) / (.5 * self.s["roof"]["bridge"]), self.s["roof"]["sag"])
        return z

    def dent(self, i, x, y):
        """What the nails of piece i press in."""
        z = np.zeros(np.broadcast(x, y).shape)
        for f in self.dents.get(i, []):
            d, R = np.hypot(x - f["x"], y - f["y"]), f["dia"] / 2
            if f["drive"] == "overdriven":
                wide = 1.2 + 1.1 * -f["rise"]
                t = np.clip((d - 1.02 * R) / wide, 0, 1)
                z = z - (f["thick"] - f["rise"]) * (1 - t * t * (3 - 2 * t)) + .22 * np.exp(-((d - R - wide - .8) / 1.2) ** 2)
            elif f["drive"] == "cocked":
                a = math.radians(f["tilt_az"])
                d = np.hypot(x - f["x"] + .8 * R * math.cos(a), y - f["y"] + .8 * R * math.sin(a))
                z = z - .8 * np.exp(-(d / (.8 * R)) ** 2)
            elif f["drive"] == "flush":
                z = z - .3 * np.exp(-(d / (1.25 * R)) ** 4)
        return z

    def face(self, i, x, y): return self.bare(i, x, y) + self.dent(i, x, y)

    def slot_edges(self, i, k, v):
        """u of both sides of slot k of piece i at height v."""
        p = self.pieces[i]
        a, b, slant = p["slots"][k]
        t = slant * (v / p["slot_height"] - .5)
        left = a + (t if a > 0 else 0) + np.zeros_like(v)
        right = b - (.7 * t if b < p["width"] else 0) + np.zeros_like(v)
        return left, right

    def in_slot(self, i, u, v):
        p, hit = self.pieces[i], np.zeros(np.shape(u), bool)
        for k in range(len(p["slots"])):
            l, r = self.slot_edges(i, k, v)
            hit |= (v < p["slot_height"]) & (u > l) & (u < r)
        return hit

    def height(self, x, y):
        """z of the uppermost thing at each place, and the piece that it belongs to (-1: underlay)."""
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        if x.ndim == 0: return tuple(v[0] for v in self.height(x[None], y[None]))
        z, who = deck(self.s, x, y) + FELT, np.full(x.shape, -1)
        for c in sorted(self.by_course):
            for i in self.by_course[c]:
                p = self.pieces[i]
                if p["x0"] > x.max() or p["x0"] + p["width"] < x.min() - 5 or c * self.E > y.max() + 20 or c * self.E + self.H < y.min() - 20: continue
                u, v = local(p, self.E, x, y)
                on = (u >= 0) & (u <= p["width"]) & (v >= 0) & (v <= self.H)
                if not on.any(): continue
                hole = np.zeros(x.shape, bool)
                hole[on] = self.in_slot(i, u[on], v[on])
                solid = on & ~hole
                z[solid], who[solid] = self.bare(i, x[solid], y[solid]), i
                if self.lam:
                    hole &= on
                    z[hole], who[hole] = self.backer_top(i, x[hole], y[hole]), i
        return z, who


def card_plane(roof, card):
    """How a card rests on what is below: z = k0 u + k1 v + k2 of its printed face in its own axes, before its bend."""
    from describe import SQUARE
    a, b = SQUARE * 5 + card["rim"][0], SQUARE * 3.5 + card["rim"][1]
    u, v = (g.ravel() for g in np.meshgrid(np.linspace(-a, a, 41), np.linspace(-b, b, 33)))
    c, t = math.cos(card["a"]), math.sin(card["a"])
    z, _ = roof.height(card["x"] + u * c - v * t, card["y"] + u * t + v * c)
    A = np.stack([u, v, np.ones_like(u)], 1)
    k, *_ = np.linalg.lstsq(A, z, rcond=None)
    k[0] += math.tan(math.radians(card["tip"]))
    k[2] += np.percentile(z - A @ k, 99.7) + card["thick"]
    return k


def card_face(card, k, u, v):
    """Roof points of the card's printed face at u, v of its own axes (true mm)."""
    from describe import SQUARE
    c, t = math.cos(card["a"]), math.sin(card["a"])
    z = k[0] * u + k[1] * v + k[2] + card["bend"] * ((u / (SQUARE * 5)) ** 2 - (0 if card["bend"] > 0 else 1))
    return np.stack([card["x"] + u * c - v * t, card["y"] + u * t + v * c, z], -1)
