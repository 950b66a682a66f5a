"""Describes one scene from a seed: roof, fasteners, litter, card, light, camera, phone.

    python3 describe.py SEED [FLAW]        prints the description as JSON

Lengths are millimetres in the roof frame: x along the courses (right as seen
from the eave), y up the slope, z out of the deck. A description is plain data;
the same seed and wishes give the same JSON. Only NumPy is needed.
"""
import json
import math
import sys
import zlib

import numpy as np

SQUARE = 25.4                     # of the card, mm
BOARD = (10, 7)                   # squares along its sides
FLAWS = ("blurred", "exposure", "far", "oblique", "no_card", "card_cropped", "card_bent", "two_cards", "no_open_course")

PRODUCTS = {                      # band: low and high above the butt
    "lam-metric": dict(family="laminated", width=1000.0, height=337.0, exposure=143.0, ply=2.6, band=[150.0, 178.0]),
    "lam-inch": dict(family="laminated", width=914.4, height=304.8, exposure=127.0, ply=2.8, band=[133.0, 165.0]),
    "tab-inch": dict(family="three-tab", width=914.4, height=304.8, exposure=127.0, ply=2.5, band=[136.0, 156.0]),
    "tab-metric": dict(family="three-tab", width=1000.0, height=337.0, exposure=143.0, ply=2.5, band=[152.0, 172.0]),
}
# Colours of granules, linear light: what most are, what the lighter tabs add, what the accents are.
PALETTES = {
    "graphite": [(.045, .046, .05), (.09, .09, .095), (.20, .20, .20)],
    "ink": [(.020, .021, .024), (.035, .036, .04), (.10, .10, .11)],
    "fog": [(.21, .215, .225), (.33, .335, .34), (.08, .085, .09)],
    "bark": [(.075, .05, .034), (.13, .09, .06), (.03, .025, .022)],
    "oat": [(.26, .21, .15), (.38, .32, .24), (.10, .07, .045)],
    "brick": [(.15, .05, .033), (.22, .09, .06), (.05, .035, .03)],
    "fern": [(.06, .082, .055), (.11, .135, .09), (.03, .035, .03)],
    "bone": [(.48, .47, .45), (.60, .59, .57), (.24, .24, .235)],
    "heather": [(.10, .075, .085), (.17, .14, .15), (.045, .04, .045)],
    "lake": [(.055, .075, .105), (.10, .13, .165), (.20, .22, .24)],
    "driftwood": [(.15, .135, .115), (.24, .22, .19), (.06, .055, .05)],
    "copperbeech": [(.10, .045, .04), (.16, .10, .07), (.06, .06, .06)],
}
FINISHES = {                      # base colour, metallic, roughness
    "bright": ((.62, .63, .65), .95, .28), "dull": ((.25, .255, .262), .4, .7), "rusty": ((.17, .075, .035), .1, .85),
    "copper": ((.66, .33, .20), .9, .35), "dark": ((.055, .055, .06), .4, .5),
}
# Invented phones: sensor, field of view of the long side (deg), k1, and how they develop.
PHONES = {
    "A": dict(size=[4032, 3024], fov=[66.5, 68.5], k1=[.004, .018], sharpen=.55, radius=1.1, hdr=.25, saturation=1.12, denoise=.35, contrast=1.10, quality=93),
    "B": dict(size=[4000, 3000], fov=[71.0, 74.0], k1=[-.012, .006], sharpen=.95, radius=1.6, hdr=.55, saturation=1.22, denoise=.60, contrast=1.05, quality=90),
    "C": dict(size=[4032, 3024], fov=[61.5, 64.0], k1=[.010, .030], sharpen=.30, radius=.9, hdr=.10, saturation=1.00, denoise=.15, contrast=1.15, quality=95),
    "D": dict(size=[3264, 2448], fov=[64.0, 67.0], k1=[-.030, -.008], sharpen=.80, radius=1.3, hdr=.40, saturation=1.30, denoise=.75, contrast=1.20, quality=86),
    "E": dict(size=[3648, 2736], fov=[74.0, 77.0], k1=[-.020, .010], sharpen=.65, radius=1.2, hdr=.70, saturation=1.08, denoise=.45, contrast=.98, quality=91),
}


class Wish:
    """Random choices, each from a stream of its own, so that a new choice moves no other; a wish wins over chance."""

    def __init__(self, seed, want):
        self.seed, self.want, self.used = int(seed), dict(want or {}), set()

    def stream(self, name):
        return np.random.default_rng([2311, self.seed, zlib.crc32(name.encode())])

    def value(self, name, chance):
        self.used.add(name)
        v = chance(self.stream(name))
        return self.want.get(name, v)

    def uniform(self, name, lo, hi): return float(self.value(name, lambda r: r.uniform(lo, hi)))

    def pick(self, name, options, p=None):
        p = None if p is None else np.array(p, float) / np.sum(p)
        return self.value(name, lambda r: options[int(r.choice(len(options), p=p))])

    def chance(self, name, p): return bool(self.value(name, lambda r: r.random() < p))


def describe(seed, want=None):
    w = Wish(seed, want)
    flaw = w.want.get("flaw")
    w.used.add("flaw")
    if flaw is not None and flaw not in FLAWS: raise ValueError(f"unknown flaw {flaw!r}; legal: {', '.join(FLAWS)}")
    s = dict(seed=int(seed), flaw=flaw)
    s["product_name"] = w.pick("product", list(PRODUCTS))
    s["product"] = json.loads(json.dumps(PRODUCTS[s["product_name"]]))
    s["palette"] = w.pick("palette", list(PALETTES))
    s["roof"] = roof(w, s)
    s["pieces"], s["stagger"], s["rake"] = courses(w, s)
    s["look"] = look(w, s)
    s["fasteners"] = fasteners(w, s)
    s["cards"] = cards(w, s)
    s["litter"] = litter(w, s)
    s["underlay"] = underlay(w, s)
    s["light"] = light(w, s)
    s["camera"] = camera(w, s)
    s["phone"] = phone(w, s)
    stray = set(w.want) - w.used
    if stray: raise ValueError(f"unknown wish: {', '.join(sorted(stray))}; legal: {', '.join(sorted(w.used))}")
    return plain(s)


def plain(v):
    """NumPy's numbers as Python's, rounded to 1e-9: what JSON holds."""
    if isinstance(v, dict): return {k: plain(x) for k, x in v.items()}
    if isinstance(v, (list, tuple, np.ndarray)): return [plain(x) for x in v]
    if isinstance(v, (bool, np.bool_)): return bool(v)
    if isinstance(v, (int, np.integer)): return int(v)
    if isinstance(v, (float, np.floating)): return round(float(v), 9)
    return v


def roof(w, s):
    """How sheets lie on each other in this scene, and the deck's waves."""
    r = w.stream("deck")
    waves = [[r.uniform(200, 400), r.uniform(0, math.pi), r.uniform(0, 2 * math.pi), r.uniform(.4, 1.)] for _ in range(5)]
    return dict(bridge=w.uniform("bridge", 20, 70), sag=w.uniform("sag", 0, .9), thickness=w.uniform("thickness", .7, 1.5),
                lap=w.uniform("lap", 30, 46), deck_amplitude=w.uniform("deck_amplitude", .3, 1.0), waves=waves,
                edge_round=w.uniform("edge_round", .25, .8), gap_under=w.uniform("gap_under", 0, .7), lift=w.uniform("lift", 0, 1.6))


def courses(w, s):
    """Pieces of the courses in sight, the offset of neighbouring courses, and the rake."""
    P, r = s["product"], w.stream("courses")
    W, E, H = P["width"], P["exposure"], P["height"]
    lam = P["family"] == "laminated"
    offset = w.value("stagger", lambda q: [W / 6, W / 3, W / 2, 150., q.uniform(100, 200), q.uniform(200, .45 * W)][int(q.integers(6))])
    step = offset * w.pick("stagger_way", [1, -1])
    side = w.pick("rake", ["none", "left", "right"], [.55, .225, .225])
    x_rake = {"none": None, "left": w.uniform("rake_left", -560, -140), "right": w.uniform("rake_right", 140, 560)}[side]
    top = 9 if s["flaw"] == "no_open_course" else 0        # a finished roof: its uppermost course is out of sight
    phase = w.uniform("phase", 0, W)
    filler = w.chance("filler", .25) and side == "none" and not top
    pieces = []
    for c in range(top, -math.ceil(4300 / E), -1):
        x = phase - 5 * W + (step * -c) % W + r.normal(0, 2.5)
        skew = r.normal(0, 2.2) if r.random() < .12 else 0.
        while x < 4400:
            wide = W + r.normal(0, .8)
            if filler and c == 0 and -200 < x < W - 200:
                wide, filler = r.uniform(120, .5 * W), False
            gap = [r.uniform(.2, 2.2), r.uniform(2.2, 4.), r.uniform(0, .3)][int(r.choice(3, p=[.78, .14, .08]))]
            thick = float(np.clip(s["roof"]["thickness"] * r.normal(1, .06), .7, 1.5)) * P["ply"]
            p = dict(course=c, x0=x, width=wide - gap, dy=r.normal(0, .9) + skew, rot=r.normal(0, .0009), ply=thick,
                     backer=thick * r.uniform(.85, 1.1) if lam else 0., lap=E + s["roof"]["lap"] + r.normal(0, 1.2), cut_left=False, cut_right=wide < .95 * W,
                     lift=[abs(r.normal(0, s["roof"]["lift"])) if r.random() < .5 else 0. for _ in range(2)], gap_under=s["roof"]["gap_under"] * r.uniform(0, 1.6),
                     tone=r.normal(0, 1), seed=int(r.integers(1 << 30)), anchor=0.)
            x += wide
            xr = p["x0"] + p["width"]
            if side == "left":
                if xr < x_rake + 15: continue
                if p["x0"] < x_rake:
                    e = x_rake + r.normal(0, .8)
                    p["width"], p["x0"], p["cut_left"], p["anchor"] = xr - e, e, True, xr - e - W
            if side == "right":
                if p["x0"] > x_rake - 15: continue
                if xr > x_rake: p["width"], p["cut_right"] = x_rake + r.normal(0, .8) - p["x0"], True
            p["slots"] = slots(r, p, P)
            pieces.append(p)
    metal = w.pick("rake_metal", [True, False], [.75, .25])
    over = w.value("rake_overhang", lambda q: [q.uniform(3, 20), q.uniform(-.6, .6), q.uniform(-14, -3)][int(q.choice(3, p=[.6, .2, .2]))])
    rake = dict(side=side, x=x_rake, metal=metal, overhang=over, face=w.uniform("rake_face", 20, 60), flange=w.uniform("rake_flange", 35, 60), bead=w.uniform("rake_bead", 1.5, 3.5),
                colour=w.pick("rake_colour", [[.62, .62, .60], [.10, .065, .045], [.03, .03, .032], [.42, .43, .45], [.30, .20, .12]]),
                ground=w.pick("ground", ["lawn", "soil", "driveway"]), depth=w.uniform("ground_depth", 3000, 6000), ground_blur=w.uniform("ground_blur", 4, 60))
    return pieces, step % W, rake                          # the next course's joints lie that far to the left


def slots(r, p, P):
    """Openings in a piece's lower part, [from, to, slant] along its butt: between teeth, or cutouts."""
    W, E = P["width"], P["exposure"]
    out = []
    if P["family"] == "laminated":
        u = r.uniform(-60, 80)
        while u < p["width"] - 12:
            wide = float(r.choice([r.uniform(20, 45), r.uniform(40, 85)]))
            out.append([u, u + wide, r.uniform(-7, 7)])
            u += wide + float(r.choice([r.uniform(45, 100), r.uniform(90, 200)]))
        p["slot_height"] = E + r.uniform(5, 13)
    else:
        for k in range(4):
            u = p["anchor"] + k * W / 3
            out.append([u - 4.5, u + 4.5, 0.])
        p["slot_height"] = E + 1.5
    return [[max(a, 0.), min(b, p["width"]), t] for a, b, t in out if b > 3 and a < p["width"] - 3]


def look(w, s):
    """Colours, printing and wear of the shingles."""
    lam = s["product"]["family"] == "laminated"
    printing = w.pick("print", ["line", "two_lines", "dashes", "strip", "none"], [.25, .25, .15, .15 if lam else 0, .2])
    r = w.stream("granules")
    base, light_, accent = (np.array(c) for c in PALETTES[s["palette"]])
    ramp = lambda main: [(main * math.exp(r.normal(0, .38)) * np.exp(r.normal(0, .05, 3))).tolist() for _ in range(6)] + [(accent * math.exp(r.normal(0, .3))).tolist() for _ in range(2)]
    return dict(printing=printing, print_wear=w.uniform("print_wear", .1, .75), print_width=w.uniform("print_width", 1.8, 5.),
                ramps=[ramp(base), ramp(.45 * base + .55 * light_)], dark=(base * .22).tolist(), blend=w.uniform("blend", .05, 1.), tone=w.uniform("tone", .02, .16),
                shadow_band=w.uniform("shadow_band", 0, .85) if w.chance("has_shadow_band", .7) else 0., shadow_height=w.uniform("shadow_height", 18, 45),
                slot_dark=w.uniform("slot_dark", .05, .6), lap_plain=w.chance("lap_plain", .6), grain=w.uniform("grain", .75, 1.25), relief=w.uniform("relief", .25, .7),
                face=w.pick("face", ["bitumen", "stained", "pale"], [.5, .3, .2]), face_wear=w.uniform("face_wear", 0, 1),
                dirt=w.uniform("dirt", 0, .22), dust=w.uniform("dust", 0, .35) if w.chance("has_dust", .3) else 0.,
                wet=w.uniform("wet", .4, 1.) if w.chance("has_wet", .15) else 0., lettering=w.chance("lettering", .35),
                sealant=w.pick("sealant", ["above", "butt", "none"], [.5, .2, .3]), sealant_dash=w.uniform("sealant_dash", 35, 90),
                film=w.chance("film", .2), film_height=w.uniform("film_height", 22, 40), film_clear=w.uniform("film_clear", .1, .6))


def fasteners(w, s):
    """Heads of the open course, in the frame of their piece: u along the butt from the left end, v above the butt."""
    if s["flaw"] == "no_open_course": return []
    P, r = s["product"], w.stream("fasteners")
    W, H, E = P["width"], P["height"], P["exposure"]
    lo, hi = P["band"]
    finish = w.pick("finish", list(FINISHES), [.34, .30, .14, .08, .14])
    dia = w.uniform("head_diameter", 9.2, 11.6)
    habit = w.stream("habit").normal(0, (hi - lo) * .12)
    full = w.pick("nails", [[26, .335 * W, .665 * W, W - 26], [26, .36 * W, .64 * W, W - 26], [26, .2 * W, .4 * W, .6 * W, .8 * W, W - 26]], [.5, .25, .25])
    joints = [p["x0"] for p in s["pieces"] if p["course"] == -1]
    out = []

    def add(i, u, v, exposed=False):
        p = s["pieces"][i]
        u, v = float(np.clip(u, 5.5, p["width"] - 5.5)), float(np.clip(v, 18, H - 12))
        out.append(dict(piece=i, u=u, v=v, exposed=exposed, **head(r, dia, finish, exposed)))

    for i, p in enumerate(s["pieces"]):
        if p["course"] != 0: continue
        n = p["width"]
        us = [u if u < .5 * W else n - (W - u) for u in full] if n > .93 * W else [26, n / 2, n - 26] if n > 260 else [26, n - 26] if n > 120 else [n / 2]
        for u in us:
            if r.random() < .025: continue                                # forgotten
            u, v = u + r.normal(0, 8), (lo + hi) / 2 + habit + r.normal(0, (hi - lo) * .18)
            kind = r.random()
            if kind < .055: v = hi + r.uniform(1.5, 26)
            elif kind < .10: v = lo - r.uniform(1.5, 18)
            elif kind < .16: u = r.uniform(6, 18) if u < n / 2 else n - r.uniform(6, 18)
            elif kind < .21:
                near = [j - p["x0"] for j in joints if 25 < j - p["x0"] < n - 25]
                if near: u = near[int(r.integers(len(near)))] + r.normal(0, 20)
            add(i, u, v)
        if r.random() < .07 and n > 120: add(i, r.uniform(40, n - 40), (lo + hi) / 2 + r.normal(0, 9))     # a second try
    if w.chance("exposed_head", .10):
        below = [i for i, p in enumerate(s["pieces"]) if p["course"] == -1 and p["x0"] < 150 < p["x0"] + p["width"] + 300]
        if below: add(below[0], r.uniform(40, s["pieces"][below[0]]["width"] - 40), r.uniform(30, E - 25), exposed=True)
    kept = []
    for f in out:
        f["x"], f["y"] = place(s["pieces"][f["piece"]], E, f["u"], f["v"])
        if all(math.hypot(f["x"] - g["x"], f["y"] - g["y"]) > 18 for g in kept): kept.append(f)
    return kept


def head(r, dia, finish, exposed):
    """How a nail was driven: `rise` is the top of the head's middle above the surface."""
    drive = "flush" if exposed else str(r.choice(["flush", "overdriven", "underdriven", "cocked"], p=[.78, .08, .07, .07]))
    dia = dia + r.normal(0, .15)
    tilt, sunk = abs(r.normal(0, 1.3)), 0.
    if drive == "flush": rise = r.uniform(.1, .65)
    if drive == "overdriven": rise = -r.uniform(.9, 2.6)
    if drive == "underdriven": rise, tilt = r.uniform(2.5, 7.), abs(r.normal(0, 2.2))
    if drive == "cocked":
        tilt = r.uniform(10, 26)
        sunk = r.uniform(.1, .9)
        rise = dia / 2 * math.tan(math.radians(tilt)) - sunk
    return dict(dia=dia, drive=drive, rise=rise, tilt=tilt, tilt_az=r.uniform(0, 360), finish=finish, wear=r.uniform(), shade=float(np.clip(r.normal(1, .18), .5, 1.5)),
                grime=float(np.clip(r.normal(.06, .18), 0, .6)), dome=r.uniform(.1, .5), thick=r.uniform(.9, 1.4), shank=r.uniform(1.3, 1.7), seed=int(r.integers(1 << 30)))


def place(p, exposure, u, v):
    """Roof x, y of a point of a piece."""
    c, t = math.cos(p["rot"]), math.sin(p["rot"])
    return p["x0"] + u * c - v * t, p["course"] * exposure + p["dy"] + u * t + v * c


def cards(w, s):
    P, r = s["product"], w.stream("card")
    E, hi = P["exposure"], P["band"][1]
    if s["flaw"] == "no_card": return []
    number = int(w.value("card", lambda q: q.integers(0, 28)))
    where = w.pick("card_place", ["above", "below"], [.65, .35])
    a = math.radians(r.normal(0, 7) + ([0, 180, 0, 180, 90, 270][int(r.integers(6))] if where == "above" else [0, 180][int(r.integers(2))]))
    rim = [r.uniform(12.5, 22), r.uniform(12.5, 22)]
    half = abs(math.cos(a)) * (SQUARE * 3.5 + rim[1]) + abs(math.sin(a)) * (SQUARE * 5 + rim[0])
    y = max(hi + 14, E + 40) + half + r.uniform(4, 60) if where == "above" else -half - r.uniform(12, 55)
    x = r.uniform(-230, 230)
    if s["rake"]["side"] == "left": x = max(x, s["rake"]["x"] + 190)
    if s["rake"]["side"] == "right": x = min(x, s["rake"]["x"] - 190)
    bend = r.choice([-1, 1]) * r.uniform(14, 24) if s["flaw"] == "card_bent" else r.normal(0, .5)
    one = dict(number=number, x=x, y=y, a=a, thick=w.uniform("card_thick", 1, 5), rim=rim, bend=bend, tip=r.normal(0, .15), scale=1 + float(np.clip(r.normal(0, .0006), -.001, .001)),
               white=r.uniform(.66, .86), gloss=r.uniform(.0, .10))
    out = [one]
    if s["flaw"] == "two_cards":
        out.append(dict(one, number=(number + 7) % 28, x=x + (340 if x < 0 else -340), y=y + r.uniform(-20, 20), a=r.normal(0, .15), bend=0., tip=0.))
    return out


def litter(w, s):
    """Things that are not heads. None within 24 mm of a head, nor on the card."""
    r, P = w.stream("litter"), s["product"]
    H, E = P["height"], P["exposure"]
    much = w.uniform("clutter", .3, 1.8)
    out = []
    span = lambda: (r.uniform(-750, 750), r.uniform(-350, H + 250))
    lap = lambda: (r.uniform(-700, 700), r.uniform(E * .2, H - 10))

    def add(kind, n, where, **more):
        for _ in range(int(r.poisson(n * much))):
            x, y = where()
            d = dict(kind=kind, x=x, y=y, a=r.uniform(0, 2 * math.pi), seed=int(r.integers(1 << 30)), **{k: f() for k, f in more.items()})
            if any(math.hypot(x - f["x"], y - f["y"]) < 24 + d.get("rad", 10) for f in s["fasteners"]): continue
            if s["rake"]["side"] == "left" and x < s["rake"]["x"] + 35 or s["rake"]["side"] == "right" and x > s["rake"]["x"] - 35: continue
            out.append(d)

    add("tar", 1.6, lap, rad=lambda: r.uniform(2.5, 9), tall=lambda: r.uniform(.4, 1.6))
    add("drop", 1.2, span, rad=lambda: r.uniform(2, 8))
    add("leaf", 1.4, span, rad=lambda: r.uniform(9, 28), hue=lambda: int(r.integers(4)), curl=lambda: r.uniform(.5, 7))
    add("chip", 2.0, span, rad=lambda: r.uniform(2.5, 8), hue=lambda: int(r.integers(4)))
    add("loose_nail", .6, span, finish=lambda: list(FINISHES)[int(r.integers(5))], length=lambda: r.uniform(22, 38))
    add("scuff", 1.2, span, rad=lambda: r.uniform(18, 70))
    add("cap_nail", 1.0, lambda: (r.uniform(-700, 700), H + r.uniform(35, 420)), hue=lambda: int(r.integers(5)), rad=lambda: r.uniform(11.5, 13.5))
    if w.chance("chalk", .3):
        at = [E + r.uniform(4, H - E - 20), H + r.uniform(-4, 4), 2 * E + r.normal(0, 2)][int(r.integers(3))]
        out.append(dict(kind="chalk", x=0., y=at, a=r.normal(0, .004), hue=int(r.integers(3)), strength=r.uniform(.3, .9), seed=int(r.integers(1 << 30))))
    if w.chance("hose", .12):
        out.append(dict(kind="hose", x=r.uniform(-400, 400), y=H + r.uniform(90, 350), a=r.normal(0, .25), rad=r.uniform(5, 9), hue=int(r.integers(3)), seed=int(r.integers(1 << 30))))
    return out


def underlay(w, s):
    kind = w.pick("underlay", ["felt", "woven", "planks", "sheathing"], [.4, .36, .1, .14])
    tint = w.pick("woven_tint", [[.30, .31, .32], [.62, .62, .61], [.14, .15, .16], [.10, .16, .28], [.13, .20, .155], [.25, .12, .095]])
    return dict(kind=kind, tint=tint, wrinkle=w.uniform("wrinkle", 0, 2.6) if kind in ("felt", "woven") else 0., line_pitch=w.uniform("line_pitch", 90, 260),
                line_phase=w.uniform("line_phase", 0, 260), lines=w.chance("lines", .65), joint_y=w.uniform("joint_y", 60, 420), joint_x=w.uniform("joint_x", -500, 500),
                nails=w.chance("deck_nails", .6), seed=int(w.stream("underlay_seed").integers(1 << 30)))


def light(w, s):
    kind = w.pick("light", ["sun", "overcast", "dusk"], [.66, .26, .08])
    elev = w.value("sun_elev", lambda q: q.uniform(8, 28) if q.random() < .35 else q.uniform(28, 75))
    shade = w.pick("shade", [None, "tree", "person", "ladder"], [.5, .22, .18, .10]) if kind == "sun" else None
    w.used.add("shade")
    return dict(kind=kind, elev=float(elev), azimuth=w.uniform("sun_az", 0, 360), shade=shade, shade_far=w.uniform("shade_far", .6, 7.), shade_at=[w.uniform("shade_x", -450, 450), w.uniform("shade_y", -150, 350)],
                shade_seed=int(w.stream("shade_seed").integers(1 << 30)), leaf_density=w.uniform("leaf_density", .25, .6), sky=w.uniform("sky", .22, .5), blue=w.uniform("sky_blue", .0, .8), warm=w.uniform("sun_warm", 0, 1),
                haze=w.uniform("haze", .26, 1.6), flash=[w.uniform("flash_x", -16, 16), w.uniform("flash_y", 8, 20)])


def axes(centre, look_at, roll):
    """Rows: the camera's x (right), y (down) and z (forward) in the roof frame."""
    z = np.array(look_at, float) - centre
    z /= np.linalg.norm(z)
    x = np.cross(z, [0., 1., 0.])
    x /= np.linalg.norm(x)
    y = np.cross(z, x)
    a = math.radians(roll)
    return np.stack([x * math.cos(a) + y * math.sin(a), y * math.cos(a) - x * math.sin(a), z])


def project(cam, pts):
    """Roof points to pixels of the sensor; (0, 0) is the centre of the first pixel."""
    q = (np.asarray(pts, float).reshape(-1, 3) - cam["centre"]) @ np.array(cam["R"]).T
    x, y = q[:, 0] / q[:, 2], q[:, 1] / q[:, 2]
    r2 = x * x + y * y
    k = np.minimum(r2, 1.3 * (cam["width"] ** 2 + cam["height"] ** 2) / (2 * cam["f"]) ** 2)       # far outside the picture the polynomial would fold back into it
    d = 1 + cam["k1"] * k + cam["k2"] * k * k
    xd = x * d + 2 * cam["p1"] * x * y + cam["p2"] * (r2 + 2 * x * x)
    yd = y * d + cam["p1"] * (r2 + 2 * y * y) + 2 * cam["p2"] * x * y
    return np.stack([cam["f"] * xd + cam["cx"], cam["f"] * yd + cam["cy"]], 1)


def board(card, z=8.):
    """Outline of a card's printed board in the roof frame."""
    c, t = math.cos(card["a"]), math.sin(card["a"])
    return [[card["x"] + u * c - v * t, card["y"] + u * t + v * c, z] for u, v in ((-127, -88.9), (127, -88.9), (127, 88.9), (-127, 88.9))]


def camera(w, s):
    r, P, flaw = w.stream("camera"), s["product"], s["flaw"]
    name = w.pick("phone", list(PHONES))
    kind = PHONES[name]
    width, height = w.value("size", lambda q: kind["size"])
    fov = w.uniform("fov", *kind["fov"])
    f = width / 2 / math.tan(math.radians(fov) / 2)
    base = dict(phone=name, width=int(width), height=int(height), f=f, cx=width / 2 - .5 + r.normal(0, .003 * width), cy=height / 2 - .5 + r.normal(0, .003 * width),
                k1=w.uniform("k1", *kind["k1"]), k2=r.normal(0, .006), p1=r.normal(0, .0002), p2=r.normal(0, .0002))
    base["orientation"] = int(w.pick("orientation", [1, 6, 8, 3], [.55, .25, .12, .08]))
    want_d = w.uniform("distance", 800, min(2200., .72 * f))         # beyond .72 mm a pixel heads are too small
    want_t = w.value("tilt", lambda q: q.uniform(2, 26) if q.random() < .8 else q.uniform(26, 38))
    lo, hi = P["band"]
    card = s["cards"][0] if s["cards"] else dict(x=0., y=P["exposure"] * 1.7, a=0.)
    for k in range(200):
        d, t = min(want_d * (1 + .01 * k), max(want_d, .72 * f)), want_t * max(1 - .01 * k, .1)
        if flaw == "far": d, t = f * r.uniform(1.45, 1.85), min(t, 14)
        if flaw == "oblique": d, t = max(d, .5 * f), r.uniform(60, 66)
        if flaw == "card_cropped": d, t = min(d, .45 * f), min(t, 14)
        az = [0, 180, 0, 90, 270][int(r.integers(5))] + r.normal(0, 28)
        aim = np.array([card["x"] * .45 + r.normal(0, 45), card["y"] * .35 + (lo + hi) / 2 * .65 + r.normal(0, 35), 4.])
        tt, a = math.radians(t), math.radians(az)
        centre = aim + d * np.array([math.sin(tt) * math.sin(a), -math.sin(tt) * math.cos(a), math.cos(tt)])
        roll = r.normal(0, 7) + [0, 0, 90, -90, 180][int(r.integers(5))]
        cam = dict(base, centre=centre.tolist(), look=aim.tolist(), roll=roll, tilt=t, distance=d, R=axes(centre, aim, roll).tolist())
        if flaw == "card_cropped": cam = cropped(cam, card, r.choice([-1, 1]))
        if flaw in ("far", "oblique", "card_cropped", "no_card") or framed(cam, s): return cam
    return cam


def cropped(cam, card, side):
    """The camera moved along the courses until about a sixth of the board's corners are in the picture."""
    u, v = np.meshgrid((np.arange(1, 10) - 5) * SQUARE, (np.arange(1, 7) - 3.5) * SQUARE)
    c, t = math.cos(card["a"]), math.sin(card["a"])
    pts = np.stack([card["x"] + u * c - v * t, card["y"] + u * t + v * c, 8. + 0 * u], -1).reshape(-1, 3)
    for _ in range(1500):
        q = project(cam, pts)
        if np.all((q > 5) & (q < [cam["width"] - 6, cam["height"] - 6]), axis=1).sum() <= 10: break
        for k in ("centre", "look"): cam[k] = [cam[k][0] + 2. * side, *cam[k][1:]]
    return cam


def framed(cam, s):
    """Whether the board and a good part of the open course are in the picture."""
    inside = lambda q, m: bool(np.all((q[:, 0] > m) & (q[:, 0] < cam["width"] - m) & (q[:, 1] > m) & (q[:, 1] < cam["height"] - m)))
    if not all(inside(project(cam, board(c)), 40) for c in s["cards"]): return False
    P, x = s["product"], cam["look"][0]
    x = float(np.clip(x, s["rake"]["x"] + 120 if s["rake"]["side"] == "left" else -1e9, s["rake"]["x"] - 120 if s["rake"]["side"] == "right" else 1e9))
    return inside(project(cam, [[x, -P["exposure"] * .8, 8.], [x, P["height"] + 12, 4.]]), 15)


def phone(w, s):
    """How the picture is developed."""
    r, flaw, k = w.stream("develop"), s["flaw"], PHONES[s["camera"]["phone"]]
    scale = s["camera"]["width"] / 4032
    dusk = s["light"]["kind"] == "dusk"
    p = dict(blur=r.uniform(.5, .85) * (.55 + .45 * scale), noise=r.uniform(.6, 1.5) * (2.2 if dusk else 1), exposure=r.normal(0, .22), wb=[1 + r.normal(0, .03), 1., 1 + r.normal(0, .04)],
             sharpen=k["sharpen"] * r.uniform(.7, 1.25), radius=k["radius"], hdr=k["hdr"] * r.uniform(.5, 1.2), saturation=k["saturation"], denoise=k["denoise"], contrast=k["contrast"],
             quality=int(k["quality"] + r.integers(-2, 3)), vignette=r.uniform(.08, .35), colour_shift=r.uniform(0, 6e-5), motion=[0., 0.], seed=int(r.integers(1 << 30)))
    if flaw == "blurred":
        if r.random() < .5: p["motion"] = [r.uniform(30, 62) * scale, r.uniform(0, 180)]
        else: p["blur"] = r.uniform(9, 15) * scale
    if flaw == "exposure": p["exposure"] = float(r.choice([-6.2, 4.2]))
    p["exif"], p["gps"], p["device"] = w.chance("exif", .85), w.chance("gps", .5), 1 + list(PHONES).index(s["camera"]["phone"])
    return p


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3) or not sys.argv[1].isdigit(): sys.exit("usage: describe.py SEED [FLAW]")
    print(json.dumps(describe(int(sys.argv[1]), {"flaw": sys.argv[2]} if len(sys.argv) == 3 else None), indent=1))
