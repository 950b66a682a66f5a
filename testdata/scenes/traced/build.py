"""Turns a description into meshes and pictures, and the exact lines of its edges.

A mesh is a dict: points (n, 3), faces (m, 4; a triangle repeats its last
corner), material, and per point `uv`, `blend`, `dark`, `tone`, `wet`.
"""
import math

import numpy as np

import surface
from describe import BOARD, FINISHES, SQUARE, axes, place

ATTRIBUTES = ("blend", "dark", "tone", "wet")


def footprint(cam, margin=80., limit=4000.):
    """Box x0, x1, y0, y1 on the roof that holds all that the camera sees."""
    R, c = np.array(cam["R"]), np.array(cam["centre"])
    w, h = cam["width"], cam["height"]
    e = [(u, v) for u in np.linspace(-.06, 1.06, 9) for v in np.linspace(-.06, 1.06, 9)]
    d = np.array([[(u * w - cam["cx"]) / cam["f"], (v * h - cam["cy"]) / cam["f"], 1.] for u, v in e]) @ R
    d = d[d[:, 2] < -.05]
    q = c + d * (-c[2] / d[:, 2])[:, None]
    q = np.clip(q, -limit, limit)
    return q[:, 0].min() - margin, q[:, 0].max() + margin, q[:, 1].min() - margin, q[:, 1].max() + margin


def grid_faces(rows, cols, first=0):
    a = first + (np.arange(rows - 1)[:, None] * cols + np.arange(cols - 1)).ravel()
    return np.stack([a, a + 1, a + cols + 1, a + cols], 1)


def mesh(points, faces, material, **more):
    points = np.asarray(points, float).reshape(-1, 3)
    return dict(points=points, faces=np.asarray(faces, int).reshape(-1, 4), material=material, **more)


def join(parts):
    """One mesh a material."""
    out = {}
    for m in parts:
        g = out.setdefault(m["material"], dict(points=[], faces=[], uv=[], n=0, **{a: [] for a in ATTRIBUTES}))
        n = len(m["points"])
        g["points"].append(m["points"]); g["faces"].append(m["faces"] + g["n"]); g["n"] += n
        g["uv"].append(m.get("uv", m["points"][:, :2]))
        for a in ATTRIBUTES: g[a].append(np.broadcast_to(np.asarray(m.get(a, 0.), float), (n,)))
    return {k: {a: np.concatenate(v).astype(np.int32 if a == "faces" else np.float32) for a, v in g.items() if a != "n"} for k, g in out.items()}


def ribbon(top, drop, material, inward=None, **more):
    """A wall that hangs from a line of points: `drop` mm down, its foot moved by `inward`."""
    top = np.asarray(top, float)
    foot = top.copy(); foot[:, 2] -= drop
    if inward is not None: foot[:, :2] += inward
    n = len(top)
    a = np.arange(n - 1)
    more = {k: np.concatenate([v, v]) if np.ndim(v) else v for k, v in more.items()}
    return mesh(np.concatenate([top, foot]), np.stack([a, a + 1, a + n + 1, a + n], 1), material, **more)


def edge_noise(seed, t, amplitude):
    """Unevenness of a cut edge along t, mm: of some millimetres' length and of some centimetres'."""
    r = np.random.default_rng(seed)
    knots = r.normal(0, 1, 700)
    fine = np.interp(np.asarray(t, float) / 3.2 + 50, np.arange(700), knots)
    coarse = np.interp(np.asarray(t, float) / 28 + 50, np.arange(700), knots[::-1])
    return amplitude * (.75 * fine + .65 * coarse)


def levels(marks, step):
    """Marks with steps no longer than `step` between them."""
    marks = sorted(set(round(float(m), 4) for m in marks))
    marks = [m for k, m in enumerate(marks) if k == 0 or m - marks[k - 1] > 1e-3]
    out = [marks[0]]
    for a, b in zip(marks, marks[1:]):
        n = max(1, math.ceil((b - a) / step))
        out += [a + (b - a) * (k + 1) / n for k in range(n)]
    return np.array(out)


def shingle(roof, i, box):
    """Meshes and lines of piece i."""
    s, p, E, H, L = roof.s, roof.pieces[i], roof.E, roof.H, roof.s["look"]
    top_course = max(roof.by_course)
    covered = p["course"] < top_course and p["course"] != 0
    vmax = H
    r = s["roof"]["edge_round"]
    nails = [f for f in s["fasteners"] if f["piece"] == i]
    near = np.arange(-15, 15.1, 1.25)
    away = covered and (-E * p["course"] > 1300 or min(abs(p["x0"]), abs(p["x0"] + p["width"])) > 1500)      # coarser far from the middle
    fine = E + 26 if covered else vmax
    rows = levels([0, .3 * r, r, p["slot_height"], E + 10, E + 14, fine] + ([] if covered else [vmax - r, vmax - .3 * r]) + [f["v"] + d for f in nails for d in near if 2 < f["v"] + d < fine - 2], 12. if away else 5.)
    if covered: rows = np.r_[rows, np.linspace(fine, vmax, 6)[1:]]
    open_rows = rows >= p["slot_height"] - 1e-6
    e = edge_noise(p["seed"] + 1, rows, .22), edge_noise(p["seed"] + 2, rows, .22)
    lines = [(0. + e[0], True)]
    for k in range(len(p["slots"])):
        a, b = roof.slot_edges(i, k, rows)
        if p["slots"][k][0] > 0: lines.append((a + edge_noise(p["seed"] + 10 + 2 * k, rows, .18), True))
        lines.append((b + edge_noise(p["seed"] + 11 + 2 * k, rows, .18), False)) if p["slots"][k][1] < p["width"] else None
    lines.append((p["width"] + e[1], None))
    kinds = []                                   # what lies right of each line: a tab or a slot
    starts_open = bool(p["slots"]) and p["slots"][0][0] <= 0
    solid = not starts_open
    for n in range(len(lines) - 1):
        kinds.append(solid); solid = not solid
    tabs = np.random.default_rng(p["seed"] + 5)
    parts, out = [], dict(butt=[], slots=[])
    xy = lambda u, v: place(p, E, u, v)
    shift = tabs.uniform(0, 500, 2)

    def attributes(u, v, x, y, tab):
        blend, tone, dark = tab
        lap = np.clip((v - (E + 10)) / 4, 0, 1)
        band = L["shadow_band"] * np.clip((v - (E - L["shadow_height"])) / L["shadow_height"], 0, 1) * (v < E + 12)
        wave = .06 * surface.ripple(s["seed"] + 7, x, y, 240) + .05 * surface.ripple(p["seed"] + 3, x, y, 70)
        soil = 1 + tone + wave - L["dirt"] * (.5 + .5 * np.tanh(1.5 * surface.ripple(s["seed"] + 8, x, y, 160)))
        wet = L["wet"] * np.clip((surface.ripple(s["seed"] + 9, x, y, 420) + .15 * surface.ripple(s["seed"] + 10, x, y, 45) - .3) * 2.5, 0, 1) if L["wet"] else 0 * x
        plain = .12 if L["lap_plain"] else blend
        return dict(blend=np.clip(blend * (1 - lap) + plain * lap, 0, 1), dark=np.clip(dark + band, 0, .95) * (1 - lap) + (.25 if L["lap_plain"] else 0.) * lap,
                    tone=np.maximum(soil, .2), wet=wet, uv=np.stack([u + shift[0], v + shift[1]], -1).reshape(-1, 2))

    def flat(d): return {k: (v.reshape(-1) if k != "uv" else v) for k, v in d.items()}

    for n, is_tab in enumerate(kinds):
        (left, _), (right, _) = lines[n], lines[n + 1]
        if np.max(right - left) < .6: continue
        tab = (np.clip(L["blend"] * tabs.beta(.7, .9), 0, 1), L["tone"] * tabs.normal(), 0.)
        rr = rows if is_tab else rows[open_rows]
        if len(rr) < 2: continue
        l, w = (left, right - left) if is_tab else (left[open_rows], (right - left)[open_rows])
        width = float(np.median(w))
        first, last = n == 0, n == len(kinds) - 1
        marks = [0, .3 * r, r, width - r, width - .3 * r, width] if width > 3 * r else [0, width]
        marks += [f["u"] - float(np.median(l)) + d for f in nails for d in near if 2 < f["u"] - float(np.median(l)) + d < width - 2]
        t = levels(marks, 12. if away else 4. if p["course"] >= -1 else 7.) / width
        u = l[:, None] + w[:, None] * t
        v = rr[:, None] + edge_noise(p["seed"] + 4, u, .2) * np.exp(-rr[:, None] / 5) * is_tab + 0 * u
        x, y = xy(u, v)
        z = roof.face(i, x, y)
        below = rr[:, None] < p["slot_height"] - 1e-6
        far = np.full(u.shape, 1e3)
        du = (u - l[:, None], (l + w)[:, None] - u)
        far = np.where(below | first, np.minimum(far, du[0]), far)
        far = np.where(below | last, np.minimum(far, du[1]), far)
        if is_tab: far = np.minimum(far, rr[:, None])
        if not covered: far = np.minimum(far, vmax - rr[:, None])
        q = 1 - np.clip(far, 0, r) / r
        z = z - r * (1 - np.sqrt(np.maximum(1 - q * q, 0)))
        pts = np.stack([x, y, z], -1)
        material = "open" if p["course"] == 0 else "granules"
        parts.append(mesh(pts, grid_faces(*u.shape), material, **flat(attributes(u, v, x, y, tab))))
        wall = dict(tone=tabs.uniform(0, 1), dark=0.)
        sunk = max(p["ply"] - r, .4)
        if is_tab:
            parts.append(ribbon(pts[0], sunk, "face", inward=[0, .25], **wall))
            out["butt"].append(dict(course=p["course"], piece=i, layer="face", pts=pts[0]))
        elif rr[0] < vmax: parts.append(ribbon(pts[0], sunk, "face", **wall))
        low = rr < p["slot_height"] + 1e-6
        for side, inner in ((0, 1), (-1, -1)):
            end = first if side == 0 else last
            m = np.ones(len(rr), bool) if end else low
            if m.sum() > 1 and (is_tab or end): parts.append(ribbon(pts[m, side], sunk, "face", inward=[.2 * inner, 0], **wall))
            bare = rr <= E + 1e-6 if covered else np.ones(len(rr), bool)      # what the next course leaves in sight
            if is_tab and not end and (low & bare).sum() > 1: out["slots"].append(dict(course=p["course"], piece=i, pts=pts[low & bare, side]))
            if end and bare.any(): out[("left", "right")[side]] = pts[bare, side]
            if is_tab and not end and not roof.lam and (n == 1 and side == 0 or n == len(kinds) - 2 and side == -1): out[("left", "right")[side] + "_cutout"] = pts[low & bare, side]
        if not covered:
            parts.append(ribbon(pts[-1], sunk, "face", **wall))
            out.setdefault("top", []).append(pts[-1])
    if roof.lam: parts += backer(roof, i, lines, kinds, rows, xy, attributes, flat, tabs, out)
    return parts, out


def backer(roof, i, lines, kinds, rows, xy, attributes, flat, tabs, out):
    """The second ply of a laminated piece, under the teeth."""
    s, p, L, E = roof.s, roof.pieces[i], roof.s["look"], roof.E
    r, parts = .8 * s["roof"]["edge_round"], []
    at = rows[rows < p["slot_height"] + 8]
    back = float(np.clip(tabs.normal(0, .3), -.5, .5))
    for n in range(len(lines) - 1):
        m = rows < p["slot_height"] + 8
        l, w = lines[n][0][m], (lines[n + 1][0] - lines[n][0])[m]
        tab = (np.clip(L["blend"] * tabs.beta(.7, .9), 0, 1), L["tone"] * tabs.normal(), L["slot_dark"])
        t = levels([0, float(np.median(w))], 5.) / float(np.median(w))
        u = l[:, None] + w[:, None] * t
        v = at[:, None] + back * np.exp(-at[:, None] / 5) + edge_noise(p["seed"] + 6, u, .2) * np.exp(-at[:, None] / 5)
        x, y = xy(u, v)
        z = roof.backer_top(i, x, y) - (.15 if kinds[n] else 0.)
        q = 1 - np.clip(at[:, None], 0, r) / r + 0 * u
        z = z - r * (1 - np.sqrt(np.maximum(1 - q * q, 0)))
        pts = np.stack([x, y, z], -1)
        parts.append(mesh(pts, grid_faces(*u.shape), "open" if p["course"] == 0 else "granules", **flat(attributes(u, v, x, y, tab))))
        parts.append(ribbon(pts[0], max(p["backer"] - r + .2, .4), "face", tone=tabs.uniform(0, 1)))
        if not kinds[n]: out["butt"].append(dict(course=p["course"], piece=i, layer="backer", pts=pts[0]))
        for side in (0, -1):
            if (n == 0 and side == 0) or (n == len(lines) - 2 and side == -1):
                parts.append(ribbon(pts[:, side], p["backer"], "face", tone=tabs.uniform(0, 1)))
                if not kinds[n]:                    # the end is seen between teeth, and above them on the face
                    e, seen = ("left", "right")[side], at <= (E if p["course"] not in (0, max(roof.by_course)) else p["slot_height"]) + 1e-6
                    out[e] = np.concatenate([pts[seen, side], out[e]]) if e in out else pts[seen, side]
    return parts


def revolve(profile, around=40):
    """Points and faces of a profile of (radius, z) turned about z."""
    a = np.linspace(0, 2 * math.pi, around, endpoint=False)
    pr = np.asarray(profile, float)
    pts = np.stack([pr[:, :1] * np.cos(a), pr[:, :1] * np.sin(a), pr[:, 1:] + 0 * a], -1)
    n = len(pr)
    k, j = np.meshgrid(np.arange(n - 1), np.arange(around), indexing="ij")
    nxt = (j + 1) % around
    faces = np.stack([k * around + j, k * around + nxt, (k + 1) * around + nxt, (k + 1) * around + j], -1).reshape(-1, 4)
    return pts.reshape(-1, 3), faces


def turned(pts, tilt, azimuth):
    """Tilted by `tilt` so that the side towards `azimuth` rises (both in degrees)."""
    t, a = math.radians(tilt), math.radians(azimuth)
    axis = np.array([math.sin(a), -math.cos(a), 0.])
    c, q = math.cos(t), math.sin(t)
    return pts * c + np.cross(axis, pts) * q + np.outer(pts @ axis, axis) * (1 - c)


def nail(roof, f):
    """A driven nail: disc with dome and rim, its shank, and the torn mat about a sunk one."""
    R, r = f["dia"] / 2, np.random.default_rng(f["seed"])
    surf = float(roof.bare(f["piece"], np.array(f["x"]), np.array(f["y"])))
    h, d = f["thick"], f["dome"]
    profile = [(.01, 0), (.35 * R, -.08 * d), (.7 * R, -.4 * d), (.9 * R, -.75 * d), (.97 * R, -.9 * d - .08), (R, -.9 * d - .3), (R, -h), (.93 * R, -h - .15), (f["shank"] * 1.5, -h - .5), (f["shank"], -h - 1.2), (f["shank"], -h - 16)]
    pts, faces = revolve(profile)
    a = np.arctan2(pts[:, 1], pts[:, 0])
    wob = 1 + .012 * np.sin(2 * a + r.uniform(0, 6)) + .008 * np.sin(5 * a + r.uniform(0, 6))
    pts[:, :2] *= wob[:, None]
    pts = turned(pts, f["tilt"], f["tilt_az"]) + [f["x"], f["y"], surf + f["rise"]]
    parts = [mesh(pts, faces, "nail_" + f["finish"], tone=f["shade"], dark=f["wear"], wet=f["grime"], blend=r.uniform())]
    if f["drive"] in ("overdriven", "cocked"):
        n = 60
        t = np.linspace(0, 2 * math.pi, n, endpoint=False)
        jag = np.abs(np.interp(np.arange(n), np.arange(0, n + 1, 2), np.r_[r.uniform(0, 1, n // 2), .5])) ** 1.6
        sunk = -f["rise"] if f["drive"] == "overdriven" else .8
        lower = np.ones(n) if f["drive"] == "overdriven" else np.clip(-np.cos(t - math.radians(f["tilt_az"])) * 1.6, 0, 1)
        inner, outer = R * 1.0 + 0 * t, R * 1.04 + (.5 + 1.3 * sunk) * jag * lower + .05
        ring = []
        for rad in (inner, .5 * (inner + outer), outer):
            x, y = f["x"] + rad * np.cos(t), f["y"] + rad * np.sin(t)
            ring.append(np.stack([x, y, roof.face(f["piece"], x, y) + .10 + (.35 * jag * (rad is outer))], -1))
        k, j = np.meshgrid(np.arange(2), np.arange(n), indexing="ij")
        faces = np.stack([k * n + j, k * n + (j + 1) % n, (k + 1) * n + (j + 1) % n, (k + 1) * n + j], -1).reshape(-1, 4)
        parts.append(mesh(np.concatenate(ring), faces, "torn", tone=r.uniform()))
    return parts, surf


def card_mesh(card, k, number):
    """The slab of a card; its uv runs over the printed page."""
    a, b = SQUARE * 5 * card["scale"] + card["rim"][0], SQUARE * 3.5 * card["scale"] + card["rim"][1]
    u, v = np.meshgrid(np.linspace(-a, a, 33), np.linspace(-b, b, 25))
    top = surface.card_face(card, k, u, v)
    uv = np.stack([(u + a) / (2 * a), (v + b) / (2 * b)], -1).reshape(-1, 2)
    parts = [mesh(top, grid_faces(*u.shape), f"card{number}", uv=uv)]
    for line in (top[0], top[-1], top[:, 0], top[:, -1]): parts.append(ribbon(line, card["thick"], "card_side"))
    return parts


def underlay_mesh(roof, box):
    s, U = roof.s, roof.s["underlay"]
    side, edge = s["rake"]["side"], deck_edge(s)
    x0, x1, y0, y1 = box
    if side == "left": x0 = edge
    if side == "right": x1 = edge
    x, y = np.meshgrid(levels([x0, x1], 12), levels([min(y0, roof.H - 80), max(y1, roof.H + 60)], 12))
    z = surface.deck(s, x, y) + surface.FELT
    away = np.clip((y - roof.H - 25) / 60, 0, 1) * np.clip((np.minimum(np.abs(x - x0), np.abs(x - x1)) - 60) / 40, 0, 1)
    z = z + away * U["wrinkle"] * (np.maximum(surface.ripple(U["seed"], x * .5, y * 1.3, 190), 0) + .3 * surface.ripple(U["seed"] + 1, x, y * .5, 120) + .3)
    parts = [mesh(np.stack([x, y, z], -1), grid_faces(*x.shape), "underlay")]
    if U["kind"] in ("felt", "woven") and y1 > roof.H + U["joint_y"] + 20:          # the next roll laps over
        m = y[:, 0] > roof.H + U["joint_y"]
        if m.sum() > 1:
            q = np.stack([x, y, z + 1.1], -1)[m]
            parts += [mesh(q, grid_faces(*q.shape[:2]), "underlay", tone=1.), ribbon(q[0], 1.1, "underlay_edge")]
    return parts


def deck_edge(s):
    k = s["rake"]
    if k["side"] == "none": return None
    return k["x"] + k["overhang"] if k["side"] == "left" else k["x"] - k["overhang"]


def rake_mesh(s, box):
    """Drip edge, deck edge and fascia along the rake, and the ground far below."""
    k, parts = s["rake"], []
    x, out = deck_edge(s), -1. if k["side"] == "left" else 1.
    y = levels([box[2] - 300, box[3] + 300], 30.)
    pull = lambda profile, material: mesh(np.stack([np.stack([np.full(len(y), x + out * dx), y, z + surface.deck(s, x + 0 * y, y)], -1) for dx, z in profile], 1), grid_faces(len(y), len(profile)), material)
    if k["metal"]:
        b = k["bead"]
        parts.append(pull([(-k["flange"], 1.15), (0, 1.35), (b * .5, 1.35), (b, .6), (b, -k["face"]), (b + 6, -k["face"] - 7)], "drip_edge"))
    parts.append(pull([(0, .4), (0, -12)], "wood_edge"))
    parts.append(pull([(-1, -12), (-1, -170), (-20, -170)], "fascia"))
    g = 16000.
    parts.append(mesh([[-g, -g, -k["depth"]], [g, -g, -k["depth"]], [g, g, -k["depth"]], [-g, g, -k["depth"]]], [[0, 1, 2, 3]], "ground"))
    return parts


def litter_mesh(roof, d):
    r, kind = np.random.default_rng(d["seed"]), d["kind"]
    z0 = float(roof.height(d["x"], d["y"])[0])
    spin = lambda p: np.stack([p[:, 0] * math.cos(d["a"]) - p[:, 1] * math.sin(d["a"]), p[:, 0] * math.sin(d["a"]) + p[:, 1] * math.cos(d["a"]), p[:, 2]], -1)
    at = lambda p: spin(p) + [d["x"], d["y"], z0]
    if kind in ("tar", "drop"):
        tall = d["tall"] if kind == "tar" else .25 * d["rad"]
        pts, faces = revolve([(.01, tall), (.45, .93 * tall), (.75, .7 * tall), (.93, .35 * tall), (1., -.1)], 28)
        a = np.arctan2(pts[:, 1], pts[:, 0])
        wob = 1 + (.22 if kind == "tar" else .07) * np.sin(2 * a + r.uniform(0, 6)) + (.14 if kind == "tar" else .03) * np.sin(3 * a + r.uniform(0, 6)) + .06 * np.sin(5 * a + r.uniform(0, 6)) * (kind == "tar")
        pts[:, :2] *= d["rad"] * wob[:, None]
        return [mesh(at(pts), faces, "tar" if kind == "tar" else "water")]
    if kind == "leaf":
        u, v = np.meshgrid(np.linspace(-1, 1, 15), np.linspace(-1, 1, 7))
        wide = .42 * (1 - u * u) ** .7 * (1 + .12 * np.sin(9 * u))
        p = np.stack([u * d["rad"], v * wide * d["rad"], .6 + d["curl"] * (.6 * u * u + .5 * v * v * r.uniform(.3, 1)) + .25 * np.abs(v)], -1).reshape(-1, 3)
        return [mesh(at(p), grid_faces(7, 15), "leaf", blend=d["hue"] / 3, uv=np.stack([u, v], -1).reshape(-1, 2))]
    if kind == "chip":
        n = 9
        a = np.sort(r.uniform(0, 2 * math.pi, n))
        rad = d["rad"] * r.uniform(.5, 1.2, n)
        ring = np.stack([1.5 * rad * np.cos(a), rad * np.sin(a)], -1)
        t = r.uniform(.5, 1.8)
        pts = np.concatenate([np.c_[ring, np.full(n, t)], np.c_[ring * 1.05, np.zeros(n)], [[0, 0, t * 1.05]]])
        j = np.arange(n); k = (j + 1) % n
        return [mesh(at(pts), np.concatenate([np.stack([j, k, 2 * n + 0 * j, 2 * n + 0 * j], 1), np.stack([j, k, k + n, j + n], 1)]), "chip", blend=d["hue"] / 3)]
    if kind == "loose_nail":
        shank, f1 = revolve([(.01, 0), (1.5, 3.5), (1.5, d["length"]), (5., d["length"]), (5., d["length"] + 1.1), (.01, d["length"] + 1.2)], 20)
        lie = math.atan2(3.5, d["length"])
        p = np.stack([shank[:, 2] - d["length"] / 2, shank[:, 1], shank[:, 0]], -1)
        p = np.stack([p[:, 0] * math.cos(lie) - p[:, 2] * math.sin(lie), p[:, 1], p[:, 0] * math.sin(lie) + p[:, 2] * math.cos(lie) + 3.4], -1)
        return [mesh(at(p), f1, "nail_" + d["finish"], tone=1., dark=.5)]
    if kind == "cap_nail":
        R = d["rad"]
        cap, f1 = revolve([(3.5, .9), (.5 * R, .9), (.85 * R, .7), (R, .2), (R, -.5)], 36)
        mid, f2 = revolve([(.01, 1.25), (3.4, 1.1), (3.9, .8), (3.9, .3)], 24)
        return [mesh(at(cap), f1, "cap", blend=d["hue"] / 4), mesh(at(mid), f2, "nail_dull", tone=1., dark=.4)]
    if kind == "hose":
        t = np.linspace(-2400, 2400, 160)
        x, y = d["x"] + t * math.cos(d["a"]), d["y"] + t * math.sin(d["a"]) + 60 * np.sin(t / 420 + r.uniform(0, 6)) + 25 * np.sin(t / 170 + r.uniform(0, 6))
        side, edge = roof.s["rake"]["side"], deck_edge(roof.s)
        keep = np.ones(len(t), bool) if edge is None else (x > edge + 40 if side == "left" else x < edge - 40)
        x, y = x[keep], y[keep]
        z, _ = roof.height(x, y)
        z = np.convolve(np.pad(z, 4, "edge"), np.ones(9) / 9, "valid") + d["rad"] + .4
        a = np.linspace(0, 2 * math.pi, 14)
        n = np.stack([-np.gradient(y), np.gradient(x)], 1); n /= np.linalg.norm(n, axis=1)[:, None]
        pts = np.stack([x[:, None] + d["rad"] * np.cos(a) * n[:, :1], y[:, None] + d["rad"] * np.cos(a) * n[:, 1:], z[:, None] + d["rad"] * np.sin(a)], -1)
        return [mesh(pts, grid_faces(len(x), 14), "hose", blend=d["hue"] / 2)]
    return []


def sealant_mesh(roof, box):
    """Dashes of bitumen, and wrinkled release film, on the lap of the open course or along its butts."""
    s, L, parts = roof.s, roof.s["look"], []
    E, hi, top = roof.E, roof.P["band"][1], max(roof.by_course)
    for i, p in enumerate(roof.pieces):
        if p["x0"] > box[1] or p["x0"] + p["width"] < box[0]: continue
        r = np.random.default_rng(p["seed"] + 8)
        cards_free = [f for f in s["fasteners"] if f["piece"] == i]
        if L["sealant"] == "above" and p["course"] == 0:
            v0, u, dash = max(hi + 8, E + 40), r.uniform(5, 30), L["sealant_dash"]
            while u < p["width"] - dash:
                n = np.linspace(0, 1, 22)
                a, b = np.meshgrid(n, np.linspace(-1, 1, 9))
                half = 5.5 * (1 + .25 * np.sin(a * 9 + u)) * np.sqrt(np.clip(1 - (2 * a - 1) ** 8, 0, 1))
                x, y = place(p, E, u + a * dash, v0 + b * half)
                z = roof.face(i, x, y) - .05 + (.75 * (1 - b * b) * np.clip(1 - (2 * a - 1) ** 6, 0, 1)) * (1 + .3 * np.sin(a * 17 + u))
                hit = any(abs(f["v"] - v0) < 13 and u - 8 < f["u"] < u + dash + 8 for f in cards_free)
                if not hit: parts.append(mesh(np.stack([x, y, z], -1), grid_faces(*a.shape), "sealant"))
                u += dash + r.uniform(18, 40)
        if L["film"] and p["course"] == 0:
            v0 = E + 52 + L["film_height"] / 2 + (hi - E) * .5
            if v0 + L["film_height"] / 2 > roof.H - 12: continue
            a, b = np.meshgrid(np.linspace(2, p["width"] - 2, max(int(p["width"] / 3), 8)), np.linspace(-.5, .5, 14))
            x, y = place(p, E, a, v0 + b * L["film_height"] + 1.2 * np.sin(a / 90))
            fold = np.abs(surface.ripple(p["seed"] + 9, a, b * 14, 26)) * .45 + np.abs(surface.ripple(p["seed"] + 11, a * .7, b * 30, 70)) * .5
            parts.append(mesh(np.stack([x, y, roof.face(i, x, y) + .12 + fold], -1), grid_faces(*a.shape), "film"))
    return parts


def sun_direction(L):
    e, a = math.radians(L["elev"]), math.radians(L["azimuth"])
    return np.array([math.cos(e) * math.cos(a), math.cos(e) * math.sin(a), math.sin(e)])


def shade_mesh(s):
    """What stands between the sun and the roof: leaves, a person or a ladder. The camera does not see it."""
    L = s["light"]
    if not L["shade"]: return []
    r, d = np.random.default_rng(L["shade_seed"]), sun_direction(L)
    side = np.cross(d, [0, 0, 1.]); side /= np.linalg.norm(side)
    up = np.cross(side, d)
    aim = np.array([*L["shade_at"], 0.])
    flat = lambda q, far: aim + d * far + q[:, :1] * side + q[:, 1:] * up
    far, parts = 1000 * L["shade_far"], []
    if L["shade"] == "tree":
        far = max(far, 1800.)
        n = int(21000 * L["leaf_density"])
        clumps = r.uniform(-2300, 2300, (60, 2))
        mid = clumps[r.integers(0, 60, n)] + r.normal(0, 240, (n, 2))
        gap = np.linalg.norm(mid - r.uniform(-500, 500, 2), axis=1) > r.uniform(80, 330)
        mid = mid[gap]; n = len(mid)
        a, size, slim = r.uniform(0, 2 * math.pi, n), r.uniform(20, 50, n), r.uniform(.35, .8, n)
        t = np.linspace(0, 2 * math.pi, 9)[:8]
        shape = np.stack([np.cos(t), np.sin(t) * np.abs(np.sin(t)) ** .4], -1)
        q = shape[None] * np.stack([size, size * slim], -1)[:, None]
        q = np.stack([q[..., 0] * np.cos(a)[:, None] - q[..., 1] * np.sin(a)[:, None], q[..., 0] * np.sin(a)[:, None] + q[..., 1] * np.cos(a)[:, None]], -1) + mid[:, None]
        depth = r.uniform(.75, 1.3, n)
        pts = (aim + d * (far * depth)[:, None, None] + q[..., :1] * side + q[..., 1:] * up).reshape(-1, 3)
        b = np.arange(n)[:, None] * 8
        faces = np.concatenate([b + [0, 1, 2, 3], b + [0, 3, 4, 7], b + [4, 5, 6, 7]])
        parts.append(mesh(pts, faces, "shade"))
    def disc(cx, cy, rx, ry, far_):
        t = np.linspace(0, 2 * math.pi, 33)[:32]
        p = flat(np.stack([cx + rx * np.cos(t), cy + ry * np.sin(t)], -1), far_)
        k = np.arange(0, 32)
        pts = np.concatenate([p, p.mean(0)[None]])
        return mesh(pts, np.stack([k, (k + 1) % 32, 32 + 0 * k, 32 + 0 * k], 1), "shade")
    def bar(a, b, wide, far_):
        a, b = np.array(a, float), np.array(b, float)
        n = np.array([-(b - a)[1], (b - a)[0]]); n *= wide / 2 / np.linalg.norm(n)
        return mesh(flat(np.stack([a - n, b - n, b + n, a + n]), far_), [[0, 1, 2, 3]], "shade")
    if L["shade"] == "person":
        f, turn = min(far, 2500.), r.normal(0, .3)
        x = r.uniform(-200, 200)
        top = r.uniform(50, 500)
        parts += [disc(x, top, 95, 120, f), disc(x, top - 420, 230, 330, f), bar((x - 110, top - 600), (x - 150 + 200 * turn, top - 1700), 150, f), bar((x + 110, top - 600), (x + 150 + 200 * turn, top - 1700), 150, f),
                  bar((x + 190, top - 220), (x + 420, top - 520 + 300 * turn), 95, f), bar((x - 190, top - 220), (x - 330, top - 700), 95, f)]
    if L["shade"] == "ladder":
        f, a, wide = min(far, 900.), r.normal(0, .6), r.uniform(360, 430)
        c, t = math.cos(a), math.sin(a)
        rot = lambda x, y: (x * c - y * t, x * t + y * c)
        parts += [bar(rot(k * wide / 2, -2500), rot(k * wide / 2, 2500), 65, f) for k in (-1, 1)]
        parts += [bar(rot(-wide / 2, y), rot(wide / 2, y), 32, f) for y in np.arange(-2400, 2401, 280.)]
    return parts


def build(s):
    """(meshes by material, lines, card planes, surface heights of the heads) of a description."""
    roof, box = surface.Roof(s), footprint(s["camera"])
    parts, lines, ends = [], dict(butt=[], top=[], joint=[], rake=[], slots=[]), {}
    for i, p in enumerate(roof.pieces):
        y = p["course"] * roof.E
        if y > box[3] + 40 or y + roof.E + 40 < box[2] and p["course"] != 0 or p["x0"] > box[1] or p["x0"] + p["width"] < box[0]: continue
        q, out = shingle(roof, i, box)
        parts += q
        lines["butt"] += out["butt"]; lines["slots"] += out["slots"]
        if p["course"] == max(roof.by_course): lines["top"] += [dict(course=p["course"], piece=i, pts=t) for t in out.get("top", [])]
        ends[i] = out
    for c, ids in roof.by_course.items():
        for a, b in zip(ids, ids[1:]):
            if a not in ends or b not in ends: continue
            for kind in ("", "_cutout"):            # of three-tab pieces the ends below the cutouts' tops are an opening
                if "right" + kind in ends[a] and "left" + kind in ends[b]:
                    lines["joint"].append(dict(course=c, pieces=[a, b], cutout=bool(kind), left=ends[a]["right" + kind], right=ends[b]["left" + kind]))
        for i, e in ((ids[0], "left"), (ids[-1], "right")):
            if s["rake"]["side"] == e and e in ends.get(i, {}): lines["rake"].append(dict(course=c, piece=i, pts=ends[i][e]))
    surf = {}
    for n, f in enumerate(s["fasteners"]):
        q, surf[n] = nail(roof, f)
        if box[0] - 60 < f["x"] < box[1] + 60: parts += q
    planes = [surface.card_plane(roof, c) for c in s["cards"]]
    for n, (c, k) in enumerate(zip(s["cards"], planes)): parts += card_mesh(c, k, n)
    parts += underlay_mesh(roof, box) + sealant_mesh(roof, box) + shade_mesh(s)
    if s["rake"]["side"] != "none": parts += rake_mesh(s, box)
    for d in s["litter"]:
        if box[0] < d["x"] < box[1] and box[2] < d["y"] < box[3] or d["kind"] in ("hose",): parts += litter_mesh(roof, d)
    return join(parts), lines, planes, surf, box
