"""Pictures that lie on the meshes: granules, printing, underlay, ground, the card's page. Linear light."""
import math

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

import surface
from describe import BOARD, SQUARE

TILE_MM, TILE_PX = 512.0, 1536
PAINT_MM = .5                     # a pixel of the paint over the open course
SHEET_MM = 1.0                    # a pixel of the underlay


def granules(s):
    """A seamless tile: red, which colour; green, height; blue, which blend. Crushed rock of .5 to 2 mm."""
    r = np.random.default_rng([s["seed"], 51])
    size = 1.12 * s["look"]["grain"]
    n = int((TILE_MM / size) ** 2)
    side = math.ceil(math.sqrt(n))
    pitch = TILE_MM / side
    g = (np.stack(np.meshgrid(np.arange(side), np.arange(side)), -1).reshape(-1, 2) + r.uniform(0, 1, (side * side, 2))) * pitch
    tree = cKDTree(np.mod(g, TILE_MM), boxsize=TILE_MM)
    px = (np.arange(TILE_PX) + .5) * TILE_MM / TILE_PX
    q = np.stack(np.meshgrid(px, px), -1)
    warp = np.stack([gaussian_filter(r.normal(0, 1, (TILE_PX, TILE_PX)), 1.6, mode="wrap") for _ in range(2)], -1)
    d, k = tree.query(np.mod(q + warp * 1.3, TILE_MM).reshape(-1, 2), k=2)
    edge = (d[:, 1] - d[:, 0]).reshape(TILE_PX, TILE_PX)
    kind, tall, blend = (r.uniform(0, 1, len(g))[k[:, 0]].reshape(TILE_PX, TILE_PX) for _ in range(3))
    height = np.clip(edge / .5, 0, 1) ** .6 * (.45 + .55 * tall)
    return np.stack([kind, height, blend, np.ones_like(kind)], -1).astype(np.float32)


def noise(shape, size, r):
    """Smooth noise of unit deviation, `size` pixels long."""
    k = max(1, int(size / 4))
    small = gaussian_filter(r.normal(0, 1, (shape[0] // k + 4, shape[1] // k + 4)), size / k / 2.5)
    big = cv2.resize(small.astype(np.float32), (small.shape[1] * k, small.shape[0] * k), interpolation=cv2.INTER_CUBIC)[:shape[0], :shape[1]]
    return big / (big.std() + 1e-9)


def over(rgb, a, colour, how):
    """Lays `colour` over the paint where `how` is above 0."""
    how = np.clip(how, 0, 1)[..., None]
    rgb[:] = rgb * (1 - how) + np.asarray(colour, np.float32) * how
    a[:] = a + (1 - a) * how[..., 0]


def paint(s, roof, box):
    """RGBA over the open course: printing, lettering, scuffs, chalk. With its box."""
    r, L, P = np.random.default_rng([s["seed"], 52]), s["look"], s["product"]
    x0, x1, y0, y1 = box[0], box[1], -40., P["height"] + 40
    w, h = int((x1 - x0) / PAINT_MM), int((y1 - y0) / PAINT_MM)
    x, y = np.meshgrid((x0 + (np.arange(w) + .5) * PAINT_MM).astype(np.float32), (y0 + (np.arange(h) + .5) * PAINT_MM).astype(np.float32))
    rgb, a = np.zeros((h, w, 3), np.float32), np.zeros((h, w), np.float32)
    wear = .6 * noise((h, w), 26, r) + .8 * noise((h, w), 3, r)
    kept = np.clip((wear - (-1.6 + 2.6 * L["print_wear"])) * 2.2, 0, 1)
    lo, hi = P["band"]
    for i, p in enumerate(roof.pieces):
        if p["course"] != 0: continue
        u, v = surface.local(p, roof.E, x, y)
        on = (u > 0) & (u < p["width"]) & (v > -2) & (v < roof.H + 2)
        line = lambda at, wide: np.clip((wide / 2 - np.abs(v - at)) / PAINT_MM + .5, 0, 1) * on
        white = (.58, .57, .54)
        t = L["print_width"]
        if L["printing"] == "line": over(rgb, a, white, .85 * kept * line((lo + hi) / 2, t))
        if L["printing"] == "two_lines": over(rgb, a, white, .85 * kept * np.maximum(line(lo, t), line(hi, t)))
        if L["printing"] == "dashes": over(rgb, a, white, .85 * kept * np.maximum(line(lo, t), line(hi, t)) * ((u % 41) < 26))
        if L["printing"] == "strip":
            mesh_ = .78 + .22 * np.sign(np.sin(u * 1.9)) * np.sign(np.sin(v * 1.9))
            over(rgb, a, (.24, .24, .235), np.clip(np.minimum(v - lo, hi - v) / 1. + .5, 0, 1) * on * .82 * mesh_)
        if L["lettering"]:
            q = np.random.default_rng(p["seed"] + 20)
            word = ["NAIL LINE", "ALIGN", "FASTEN ABOVE TAB", "TOP"][int(q.integers(4))]
            tall = q.uniform(7, 13)
            pic = np.zeros((64, 40 * len(word)), np.uint8)
            cv2.putText(pic, word, (6, 48), cv2.FONT_HERSHEY_DUPLEX, 1.5, 255, 3, cv2.LINE_AA)
            wide, u0 = tall * pic.shape[1] / 64 * .8, q.uniform(60, 300)
            v0 = (lo + hi) / 2 - tall / 2 if L["printing"] != "line" else hi + 6
            mx = (((u - u0) % 520) / wide * pic.shape[1]).astype(np.float32)
            over(rgb, a, white, cv2.remap(pic, mx, ((1 - (v - v0) / tall) * 64).astype(np.float32), cv2.INTER_LINEAR, borderValue=0) / 255. * on * kept * .8)
    for d in s["litter"]:
        c, t = math.cos(d["a"]), math.sin(d["a"])
        u, v = (x - d["x"]) * c + (y - d["y"]) * t, (y - d["y"]) * c - (x - d["x"]) * t
        if d["kind"] == "scuff":
            k = np.exp(-((u / (1.7 * d["rad"])) ** 2 + (v / (.5 * d["rad"])) ** 2) ** 2)
            over(rgb, a, (.025, .024, .023), k * np.clip(.55 + .5 * noise((h, w), 9, r), 0, .85))
        if d["kind"] == "chalk": over(rgb, a, CHALK[d["hue"]], chalk(d, v, r))
    if L["dust"]: over(rgb, a, (.34, .31, .26), L["dust"] * np.clip(.5 + .5 * noise((h, w), 90, r) + .15 * noise((h, w), 3, r), 0, 1))
    return np.dstack([rgb, a]).astype(np.float32), [x0, x1, y0, y1]


CHALK = ((.05, .12, .45), (.50, .06, .05), (.55, .55, .52))


def chalk(d, v, r):
    k = np.clip(1.3 - np.abs(v + .4 * noise(v.shape, 60, r)) / 1.1, 0, 1)
    return k * d["strength"] * np.clip(.6 + .7 * noise(v.shape, 3, r), 0, 1)


def underlay(s, box):
    """The sheet or deck above the open course, RGB over the box."""
    U, r = s["underlay"], np.random.default_rng([s["seed"], 53])
    x0, x1, y0, y1 = box
    w, h = int((x1 - x0) / SHEET_MM), int((y1 - y0) / SHEET_MM)
    x, y = np.meshgrid(x0 + (np.arange(w) + .5) * SHEET_MM, y0 + (np.arange(h) + .5) * SHEET_MM)
    slow = .10 * noise((h, w), 220, r) + .05 * noise((h, w), 40, r)
    yy = y - s["product"]["height"]
    if U["kind"] == "felt":
        base = .024 * (1 + slow + .22 * noise((h, w), 2.5, r) + .12 * noise((h, w), 9, r))
        c = np.stack([base * 1.04, base, base * .97], -1)
        if U["lines"]:
            at = (yy + U["line_phase"]) % U["line_pitch"]
            k = np.clip(1.8 - np.abs(at - U["line_pitch"] / 2), 0, 1) * np.clip(.75 + .35 * noise((h, w), 18, r), 0, 1)
            c = c * (1 - k[..., None]) + k[..., None] * np.array([.42, .41, .38])
    elif U["kind"] == "woven":
        weave = 1 + .10 * np.sign(np.sin(x * 1.35)) * np.sign(np.sin(y * 1.35)) + .06 * noise((h, w), 2, r)
        c = np.array(U["tint"]) * (weave * (1 + .6 * slow))[..., None]
        if U["lines"]:
            at = (yy + U["line_phase"]) % U["line_pitch"]
            k = np.clip(2.2 - np.abs(at - U["line_pitch"] / 2), 0, 1) * ((x % 60) < 40)
            c = c * (1 - .6 * k[..., None]) + .6 * k[..., None] * (np.array([.05, .05, .06]) if np.mean(U["tint"]) > .2 else np.array([.5, .5, .5]))
            cross = (np.abs((x + 1e4) % 150 - 75) < 2) & (np.abs(at) < 12) | (np.abs((x + 1e4) % 150 - 75) < 12) & (np.abs(at) < 2)
            c[cross] *= .55
    elif U["kind"] == "planks":
        wide = 138.
        board = np.floor((yy - U["joint_y"]) / wide).astype(int)
        q = np.random.default_rng(U["seed"])
        tones, shifts, cuts = q.normal(1, .13, 400), q.uniform(0, 900, 400), q.uniform(-1400, 1400, 400)
        grain = np.sin((yy * .28 + 2.5 * noise((h, w), 260, r) + shifts[board % 400]) + 2.2 * noise((h, w), 700, r))
        base = tones[board % 400] * (1 + .08 * grain + .06 * noise((h, w), 2, r) + slow)
        c = np.array([.33, .245, .16]) * base[..., None]
        gap = (np.abs((yy - U["joint_y"]) % wide) < 2.5) | (np.abs(x - cuts[board % 400]) < 1.5)
        c[gap] = .012
    else:
        c = np.ones((h, w, 3)) * np.array([.34, .245, .15])
        q = np.random.default_rng(U["seed"])
        for _ in range(int(w * h / 420)):            # strands
            cx, cy, a, l, t = q.uniform(0, w), q.uniform(0, h), q.normal(0, .6), q.uniform(30, 95), q.uniform(6, 20)
            box_ = cv2.boxPoints(((cx, cy), (l, t), math.degrees(a))).astype(np.int32)
            cv2.fillConvexPoly(c, box_, tuple(np.array([.34, .245, .15]) * q.lognormal(0, .22) * q.normal(1, .04, 3)), cv2.LINE_8)
        c *= (1 + slow + .08 * noise((h, w), 2, r))[..., None]
        seam = (np.abs((yy - U["joint_y"]) % 1219) < 1.8) | (np.abs((x - U["joint_x"]) % 2438) < 1.8)
        c[seam] = .012
    if U["kind"] in ("planks", "sheathing") and U["nails"]:
        for nx in np.arange(x0 + 100, x1, 406.):
            for ny in np.arange(y0, y1, 152. if U["kind"] == "sheathing" else 69.):
                px = int((nx + r.normal(0, 8) - x0) / SHEET_MM), int((ny + r.normal(0, 5) - y0) / SHEET_MM)
                cv2.circle(c, px, 3, (.16, .15, .14), -1, cv2.LINE_AA)
    for d in s["litter"]:
        if d["kind"] == "chalk":
            v = (y - d["y"]) * math.cos(d["a"]) - (x - d["x"]) * math.sin(d["a"])
            k = chalk(d, v, r)[..., None]
            c = c * (1 - k) + k * np.array(CHALK[d["hue"]])
    if s["look"]["dust"]:
        k = (s["look"]["dust"] * .6 * np.clip(.5 + .5 * noise((h, w), 120, r), 0, 1))[..., None]
        c = c * (1 - k) + k * np.array([.34, .31, .26])
    c = np.clip(c, .002, .9)
    return np.dstack([c, np.ones((h, w))]).astype(np.float32), list(box)


def ground(s):
    """What lies below the roof, 8 m square and seamless, out of focus."""
    k, r, n = s["rake"], np.random.default_rng([s["seed"], 54]), 1024
    wrapped = lambda size: (lambda v: v / v.std())(gaussian_filter(r.normal(0, 1, (n, n)), size, mode="wrap"))
    a, b, c = wrapped(1.5), wrapped(10), wrapped(60)
    if k["ground"] == "lawn": g = np.array([.060, .088, .034]) * np.exp(.35 * a + .25 * b + .2 * c)[..., None] + np.array([.05, .03, .005]) * np.clip(c - .6, 0, 1)[..., None]
    elif k["ground"] == "soil": g = np.array([.17, .115, .075]) * np.exp(.25 * a + .2 * b + .3 * c)[..., None]
    else:
        g = np.array([.33, .325, .31]) * np.exp(.05 * a + .06 * b + .10 * c)[..., None]
        g[:, ::256] *= .5; g[::512] *= .5
    g = np.dstack([gaussian_filter(g[..., q], max(k["ground_blur"] / 7.8, .4), mode="wrap") for q in range(3)])
    return np.dstack([np.clip(g, .003, .9), np.ones((n, n))]).astype(np.float32)


def page(card):
    """The printed page of a card, its board true to `scale`; row 0 is its lower edge."""
    per = 112                                       # pixels of a square: markers and margins come out whole
    pic = draw_board(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000), card["number"], per)
    square = SQUARE * card["scale"]
    wide, tall = square * 10 + 2 * card["rim"][0], square * 7 + 2 * card["rim"][1]
    mm = per / SQUARE
    w, h = round(wide * mm), round(tall * mm)
    out = np.ones((h, w), np.float32)
    cv2.putText(out, f"card {card['number']}", (int(8 * mm), h - int(4 * mm)), cv2.FONT_HERSHEY_SIMPLEX, .45 * mm, 0., 4, cv2.LINE_AA)
    cv2.rectangle(out, (int(90 * mm), h - int(6 * mm)), (int(190 * mm), h - int(5.4 * mm)), 0., -1)
    kx, ky = square * w / wide / per, square * h / tall / per
    m = np.array([[kx, 0, w / 2 - .5 + (.5 - 5 * per) * kx], [0, ky, h / 2 - .5 + (.5 - 3.5 * per) * ky]])
    out = np.minimum(out, cv2.warpAffine(pic, m, (w, h), flags=cv2.INTER_LINEAR, borderValue=1.))[::-1]
    tint = card["white"] * np.array([1., .99, .965])
    rgb = .032 + (tint - .032) * out[..., None] * (1 + .012 * noise(out.shape, 150, np.random.default_rng(card["number"])))[..., None]
    return np.dstack([rgb, np.ones_like(out)]).astype(np.float32)


def draw_board(dictionary, number, per):
    """1 is white. Markers stand on the white squares, row by row, ids 35 N to 35 N + 34."""
    marker = getattr(cv2.aruco, "drawMarker", None) or cv2.aruco.generateImageMarker          # its name before and after OpenCV 4.7
    pic, n, side = np.ones((7 * per, 10 * per), np.float32), 0, int(per * .75)
    for row in range(7):
        for col in range(10):
            y, x = row * per, col * per
            if (row + col) % 2 == 0: pic[y:y + per, x:x + per] = 0
            else:
                o = (per - side) // 2
                pic[y + o:y + o + side, x + o:x + o + side] = marker(dictionary, 35 * number + n, side) / 255.
                n += 1
    return pic
