"""Draws scenes for the ray marcher and shoots them.

The layout of a scene (product, pieces, fasteners, card, camera) comes from the height-map maker's
scene.py, since both obey the same trade; the geometry, the materials, the light and the phone are
this maker's own and vary more widely.
"""
import math
import os
import sys

import cv2
import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import march
from march import BLOB, CAP, CHIP, DROP, FASTENER, LEAF, ROD

SIZES = [(4032, 3024), (4000, 3000), (3264, 2448), (3000, 2250)]
WORDS = ["FASTEN HERE", "THIS SIDE UP", "LAP LINE", "NAIL BAND", "ALIGN", "KEEP DRY", "LOT 0417"]
METALS = {"bright": ((.45, .46, .47), .75, 60), "dull": ((.30, .30, .31), .35, 12), "rusty": ((.14, .07, .04), .04, 6), "copper": ((.34, .17, .09), .5, 40), "dark": ((.05, .05, .055), .25, 25)}


def layout(lab, seed, r, want, ranges):
    """The height-map maker's scene with this maker's own habits of laying."""
    want = dict(want)
    W = 1000.0
    want.setdefault("stagger", float(r.choice([r.uniform(100, 260), 152.4, 139.7, 165.0, 127.0, W / 3, W / 2, W / 6])))
    want.setdefault("rake", ["none", "left", "right"][r.choice(3, p=[.5, .25, .25])])
    s = lab.draw(seed, want, ranges)
    gap, dy = r.uniform(0, 2), r.uniform(.5, 2)
    for p in s["pieces"]:
        p[3] *= dy; p[4] *= dy
        if r.random() < .04: p[3] += r.normal(0, 3)
        if not p[5]: p[1] += r.uniform(0, gap)
    P = s["product"]
    if P["family"] == "laminated":
        lo, hi = r.uniform(18, 60), r.uniform(60, 150)
        a, b = r.uniform(30, 90), r.uniform(100, 240)
        s["slots"] = [teeth(p, r, lo, hi, a, b) for p in s["pieces"]]
        s["cutout_height"] = P["exposure"] + r.uniform(4, 24)
    else:
        wide = r.uniform(6, 13)
        for q in s["slots"]:
            for v in q: v[0], v[1] = (v[0] + v[1] - wide) / 2, (v[0] + v[1] + wide) / 2
        s["cutout_height"] = P["exposure"] + r.uniform(-2, 4)
    size = SIZES[r.integers(len(SIZES))]
    k = size[0] / s["camera"]["width"]
    for n in ("f", "cx", "cy"): s["camera"][n] *= k
    s["camera"]["width"], s["camera"]["height"] = size
    s["sun_elev"], s["sun_az"] = r.uniform(8, 76), r.uniform(0, 360)
    return s


def teeth(p, r, lo, hi, a, b):
    out, x = [], p[1] + r.uniform(-40, 60)
    while x < p[2] - 12 and len(out) < 14:
        w = r.uniform(lo, hi)
        out.append([x, min(x + w, p[2] + 20), r.uniform(-8, 8)]); x += w + r.uniform(a, b)
    return out


def value_noise(r, h, w, cells):
    n = r.standard_normal((max(2, int(h / cells) + 2), max(2, int(w / cells) + 2))).astype(np.float32)
    return cv2.resize(n, (w, h), interpolation=cv2.INTER_CUBIC)


def colour(r, lo, hi, tint=.15): return np.clip(math.exp(r.uniform(math.log(lo), math.log(hi))) * np.clip(1 + r.normal(0, tint, 3), .4, 1.8), .004, .75)


def geometry(q, s, box, r):
    """Pieces, slots and the draped stack."""
    P = s["product"]; E, H = P["exposure"], P["height"]
    x0, x1, y0, y1 = box
    lam = P["family"] == "laminated"
    lowest = max(0, min(23, int((s["lift"] - y0) / E) + 1)) + int(H / E) + 2
    courses = min(lowest, 24)
    scale, second = r.uniform(.75, 1.35), r.uniform(.8, 1.2)
    first, pieces, sfirst, slots = [0], [], [0], []
    tones = r.choice(6, 6)
    s["order"] = {}
    for k in range(courses):
        row = sorted(((p, i) for i, p in enumerate(s["pieces"]) if p[0] == -k and p[2] > x0 - 50 and p[1] < x1 + 50), key=lambda v: v[0][1])
        for p, i in row:
            s["order"][i] = k
            t = P["ply"] * scale * math.exp(r.normal(0, .06))
            curl = [abs(r.normal(0, 1.2)) if r.random() < .06 else 0 for _ in range(2)]
            pieces.append([p[1], p[2], p[3], p[4], t, t * second, *curl, tones[r.integers(6)], H])
            for v in s["slots"][i][:14]: slots.append([v[0], v[1], v[2], tones[r.integers(6)], 6 + r.integers(2)])
            sfirst.append(len(slots))
        first.append(len(pieces))
    pitch = 2.5
    gx0, gy0 = x0 - 60, y0 - H - 60
    gw, gh = int((x1 - x0 + 120) / pitch) + 2, int((y1 - gy0 + 60) / pitch) + 2
    base = value_noise(r, gh, gw, 250 / pitch) * r.uniform(.1, .55)
    if r.random() < .5: base += value_noise(r, gh, gw, 60 / pitch) * r.uniform(0, .15)
    q.put("course_first", np.array(first, np.int32)); q.put("piece", np.array(pieces or [[0] * 10], np.float32))
    q.put("slot_first", np.array(sfirst, np.int32)); q.put("slot", np.array(slots or [[0] * 5], np.float32)); q.put("base", base.astype(np.float32))
    q.set(E=E, H=H, lift=s["lift"], lap=E + r.uniform(28, 48), cut=s["cutout_height"], rounding=r.uniform(.3, 1.6), rough=r.uniform(.1, .7), laminated=lam, courses=courses,
          bh=int((H + 2 * march.MARGIN) / pitch) + 2, gw=gw, gh=gh, gx0=gx0, gy0=gy0, gp=pitch)
    side = {"none": 0, "left": -1, "right": 1}[s["rake"]]
    if side:
        over = r.choice([r.uniform(3, 22), r.uniform(-6, 3), r.uniform(-25, -6)], p=[.6, .25, .15])       # the shingles over the deck's edge
        s["deck_x"] = s["rake_x"] - side * over
        q.set(rake=side, rake_x=s["rake_x"], deck_x=s["deck_x"], metal=r.uniform(20, 70) if r.random() < .8 else 0, metal_top=r.uniform(.4, 1.4), ground=r.choice([r.uniform(2400, 6500), r.uniform(60, 900)], p=[.8, .2]))
    else: q.set(rake=0, ground=3000)
    q.drape(r.uniform(16, 65))


def materials(q, s, lab, r):
    P = s["product"]; E = P["exposure"]; lo, hi = P["band"]
    pal = np.array(lab.PALETTES[s["palette"]], float)
    pal = pal[np.argsort(-pal[:, 3])][:4]
    while len(pal) < 4: pal = np.vstack([pal, pal[-1]])
    pal[:, 3] /= pal[:, 3].sum()
    flat = r.uniform(.3, 1.1)                                   # how far granules differ from their mean
    mean = (pal[:, :3] * pal[:, 3:]).sum(0)
    pal[:, :3] = np.clip(mean * (pal[:, :3] / mean) ** flat, .006, .7)
    pal[:, 3] = np.cumsum(pal[:, 3])
    spread = r.uniform(.03, .45)
    tone = np.exp(r.normal(0, spread, (8, 1))) * np.exp(r.normal(0, spread * r.uniform(0, .5), (8, 3)))
    tone[6:] *= r.uniform(.5, .95)                              # what teeth leave open
    q.set(pal=pal.ravel(), tone=np.clip(tone, .35, 2.6).ravel(), grain=r.uniform(.8, 1.5), grain_bump=r.uniform(.2, 1.1), grain_var=r.uniform(.2, 1.2),
          wall=colour(r, .006, .05, .1), wall_wear=r.uniform(0, 1) if r.random() < .5 else r.uniform(0, .2), lap_tone=np.clip(mean * math.exp(r.normal(-.1, .3)) * (1 + r.normal(0, .08, 3)), .012, .5), lap_rough=r.uniform(0, .9))
    kind = int(r.choice(4, p=[.4, .4, .1, .1]))
    under, under2 = [(colour(r, .008, .06, .1), colour(r, .2, .6, .05)), (colour(r, .04, .5, .25), colour(r, .1, .5)), (colour(r, .15, .4) * [1.1, .85, .55], colour(r, .1, .3) * [1.1, .8, .5]), (colour(r, .2, .45) * [1.1, .85, .55], colour(r, .15, .4) * [1.1, .8, .5])][kind]
    ground = [((.03, .09, .015), (.09, .20, .03)), ((.10, .07, .045), (.20, .15, .10)), ((.22, .22, .21), (.30, .30, .29)), ((.05, .05, .05), (.10, .10, .10)), ((.3, .26, .2), (.4, .36, .3))][r.integers(5)]
    q.set(underlay=kind, under=under, under2=under2, metal_col=[colour(r, .4, .7, .03), colour(r, .02, .08, .1), colour(r, .1, .3, .25)][r.choice(3, p=[.5, .2, .3])],
          ground_col=np.array(ground[0]) * r.uniform(.6, 1.4), ground2=np.array(ground[1]) * r.uniform(.6, 1.4), ground_scale=r.uniform(90, 700))
    col = [(.62, .61, .57), (.6, .5, .08), (.05, .05, .05), (.08, .14, .4), (.35, .35, .34), (.5, .12, .06)][r.choice(6, p=[.5, .1, .12, .08, .15, .05])]
    q.set(printing=r.choice(5, p=[.2, .25, .2, .2, .15]), band_lo=lo, band_hi=hi, print_w=r.uniform(1.2, 4), print_col=col, print_wear=r.uniform(.1, .5), print_period=r.uniform(20, 75), print_duty=r.uniform(.45, .8))
    if r.random() < .2 and P["family"] == "laminated":
        q.set(strip_lo=lo - r.uniform(0, 4), strip_hi=hi + r.uniform(0, 4), strip_col=colour(r, .03, .45, .1), strip_alpha=r.uniform(.5, .95))
    if r.random() < .6:
        q.set(seal_y=[hi + r.uniform(6, 40), E + r.uniform(-6, 2), E + r.uniform(36, 60)][r.integers(3)], seal_w=r.uniform(2.5, 8), seal_period=r.uniform(40, 130), seal_duty=r.uniform(.4, .85))
    if r.random() < .15: q.set(film_lo=hi + 12, film_hi=hi + 12 + r.uniform(8, 30), film_alpha=r.uniform(.15, .7))
    q.set(shadow_y=E + r.uniform(-10, 25), shadow_w=r.uniform(8, 60), shadow_depth=r.uniform(0, .6) * (r.random() < .7),
          dirt=r.uniform(.02, .35), wet=r.uniform(.2, .55) if r.random() < .12 else 0, wet_scale=r.uniform(60, 300), dust=r.uniform(.05, .45) if r.random() < .25 else 0, dust_col=colour(r, .2, .4, .08) * [1.1, 1, .8])


def decals(q, s, r):
    """Words on the lap, and numbers of a lot."""
    atlas = np.zeros((48, 2400), np.uint8)
    spans, x = [], 8
    for w in WORDS:
        n = cv2.getTextSize(w, cv2.FONT_HERSHEY_DUPLEX, 1.1, 2)[0][0]
        cv2.putText(atlas, w, (x, 36), cv2.FONT_HERSHEY_DUPLEX, 1.1, 255, 2, cv2.LINE_AA); spans.append((x - 4, n + 8)); x += n + 30
    rows = []
    P = s["product"]; lo, hi = P["band"]
    if r.random() < .55:
        h = r.uniform(6, 22); y = r.choice([(lo + hi) / 2, hi + h / 2 + r.uniform(3, 40), lo - h / 2 - 2])
        col = (.6, .6, .57) if r.random() < .75 else tuple(colour(r, .02, .5))
        if y - h / 2 > P["exposure"] + 2:
            for px in np.arange(-1400 + r.uniform(0, 300), 1400, r.uniform(200, 500)):
                k = r.integers(len(WORDS)); u, n = spans[k]
                rows.append([px, y + r.normal(0, 2), h * n / 48, h, 1, r.normal(0, .004), *col, u, n, r.uniform(.15, .5)])
    q.put("atlas", atlas); q.put("decal", np.array(rows or [[0] * 12], np.float32)); q.set(decals=len(rows), atlas_w=atlas.shape[1], atlas_h=atlas.shape[0])


def page(board, number, rim_w, rim_h, px):
    """One printed page: the board in the middle of the card, a number and a bar in its rim."""
    w, h = int(rim_w * px), int(rim_h * px)
    pic = np.full((h, w), 255, np.uint8)
    b = board(number, int(round(25.4 * px)))
    j, i = (h - b.shape[0]) // 2, (w - b.shape[1]) // 2
    pic[j:j + b.shape[0], i:i + b.shape[1]] = b
    cv2.putText(pic, f"card {number}", (20, h - 8), cv2.FONT_HERSHEY_SIMPLEX, .6, 20, 1, cv2.LINE_AA)
    cv2.line(pic, (w // 2, h - 12), (w // 2 + int(50 * px), h - 12), 20, 1)
    return pic


def cards(q, s, board, r):
    """Lays the cards on the roof; (rows for march.cpp, what the truth needs)."""
    rows, pages, told = [], [], []
    px = 48 / 25.4
    for c in s["cards"]:
        k = c["print_scale"]
        hw, hh = 139.7 * k, 107.95 * k
        cs, sn = math.cos(c["a"]), math.sin(c["a"])
        u, v = np.meshgrid(np.linspace(-hw, hw, 29), np.linspace(-hh, hh, 23))
        z = q.heights(c["x"] + u * cs - v * sn, c["y"] + u * sn + v * cs)
        ok = z > -20
        if ok.mean() < .4: continue
        A = np.stack([u[ok], v[ok], np.ones(ok.sum())], 1)
        p, *_ = np.linalg.lstsq(A, z[ok], rcond=None)
        p[2] += np.percentile(z[ok] - A @ p, 99) + c["thick"]; p[0] += math.tan(math.radians(c["tip"]))
        paper = np.array([.80, .79, .76]) * r.uniform(.8, 1.1) * (1 + r.normal(0, .02, 3))
        rows.append([c["x"], c["y"], cs, sn, hw, hh, p[2], p[0], p[1], c["bend"], px / k, *paper, r.uniform(0, .08), 0])
        pages.append(page(board, c["number"], 279.4, 215.9, px))
        at = lambda a, b: [c["x"] + a * cs - b * sn, c["y"] + a * sn + b * cs, float(p[0] * a + p[1] * b + p[2] + c["bend"] * ((a / hw) ** 2 - 1 / 3))]
        told.append(dict(number=c["number"], corners=[at((i - 5) * 25.4 * k, (3.5 - j) * 25.4 * k) for j in range(1, 7) for i in range(1, 10)],
                         outline=[at(a, b)[:2] for a, b in ((-hw, -hh), (hw, -hh), (hw, hh), (-hw, hh))], plane=[float(t) for t in p]))
    q.put("card", np.array(rows or [[0] * 16], np.float32)); q.put("page", np.stack(pages) if pages else np.zeros(8, np.uint8))
    q.set(cards=len(rows), page_w=pages[0].shape[1] if pages else 1, page_h=pages[0].shape[0] if pages else 1)
    return told


def objects(q, s, r):
    """Fasteners and what lies about; (fastener, height of the surface under it) of those on the roof."""
    rows, reach, heads = [], [], []
    fan = 2 * np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1]), -1).reshape(-1, 2)
    waffle = .06 if s["waffle"] else 0
    dome, thick = r.uniform(.1, .5), r.uniform(.9, 1.6)
    dim = math.exp(r.uniform(math.log(.22), 0))                 # bare metal scatters little and mirrors much
    metals = {**{k: (np.array(v[0]) * dim * np.exp(r.normal(0, .2)), v[1] * r.uniform(.6, 1.1), v[2] * r.uniform(.6, 1.5)) for k, v in METALS.items()}, "drawn": (colour(r, .04, .45), r.uniform(.05, .75), r.uniform(6, 60))}
    for f in s["fasteners"]:
        surf = float(np.median(q.heights(f["x"] + fan[:, 0], f["y"] + fan[:, 1])))
        if surf < -20: continue
        tilt, az = math.radians(f["tilt"]), math.radians(f["tilt_az"])
        ax = [-math.sin(tilt) * math.cos(az), -math.sin(tilt) * math.sin(az), math.cos(tilt)]
        alb, spec, shine = metals[f["finish"]]
        over = f["drive"] == "overdriven"
        R = f["dia"] / 2
        rows.append([FASTENER, f["x"], f["y"], waffle, 0, R, R, dome, *(np.array(alb) * f["lum"]), spec, shine, surf + f["rise"], *ax, thick, -f["rise"] * 1.05 if over else 0, f["grime"]])
        reach.append(R * (2.4 if over else 1.1) + 1); heads.append((f, surf))
    n = lambda m: int(r.poisson(m))

    def put(kind, x, y, rx, ry, h, col, gloss=0., shine=20., a=None):
        a = r.uniform(0, 6.28) if a is None else a
        rows.append([kind, x, y, math.cos(a), math.sin(a), rx, ry, h, *col, gloss, shine] + [0] * 7); reach.append(max(rx, ry) * 1.3 + (20 if kind == ROD else 0))
    H = s["product"]["height"]
    for d in s["distractors"]:
        if s["lift"] and d["kind"] == "cap_nail": continue
        k, x, y = d["kind"], d["x"], d["y"]
        if k == "blob": put(BLOB, x, y, d["rad"], d["rad"] * r.uniform(.7, 1.2), r.uniform(.6, 2.5), (.012, .011, .011), r.uniform(.02, .12), r.uniform(8, 60))
        elif k == "drop": put(DROP, x, y, d["rad"], d["rad"] * r.uniform(.8, 1.1), r.uniform(.4, 1.2), (.05, .05, .05), .06, 80)
        elif k == "chip": put(CHIP, x, y, d["rad"] * 1.6, d["rad"] * .8, r.uniform(.5, 1.5), colour(r, .05, .5))
        elif k == "leaf": put(LEAF, x, y, d["rad"] * 1.3, d["rad"] * .5, r.uniform(1, 4), colour(r, .04, .3) * [1, 1.1, .4])
        elif k == "cap_nail": put(CAP, x, y, 12.7, 12.7, 1.2, [(.55, .16, .03), (.04, .3, .12), (.05, .12, .45), (.5, .5, .5)][d["hue"]], .12, 30)
        elif k == "loose_nail":
            a = d["a"]; put(ROD, x, y, 16, 1.6, 3, metals[d["finish"]][0], .4, 30, a); put(ROD, x - 16 * math.cos(a), y - 16 * math.sin(a), .7, 5, 5, metals[d["finish"]][0], .4, 30, a)
    clear = lambda y: all(abs(y - c["y"]) > 190 for c in s["cards"])
    for y in [y for y in (H + r.uniform(40, 350) if r.random() < .7 else -r.uniform(200, 600) for _ in range(n(.3))) if clear(y)]: put(ROD, r.uniform(-300, 300), y, 900, r.uniform(2.5, 6), r.uniform(4, 9), colour(r, .02, .5, .5), .05, 20, r.normal(0, .3))
    for _ in range(n(2)): put(CHIP, r.uniform(-700, 700), r.uniform(-250, 330), r.uniform(1.5, 4), r.uniform(1.5, 4), r.uniform(.5, 2), colour(r, .02, .5))
    x0, y0, pitch = q.s.gx0, q.s.gy0, 8.0
    w, h = int(q.s.gw * q.s.gp / pitch) + 1, int(q.s.gh * q.s.gp / pitch) + 1
    cell, fill = np.full((h, w, march.CELL_N), -1, np.int32), np.zeros((h, w), int)
    for k, (row, e) in enumerate(zip(rows, reach)):
        kind = int(row[0])
        i = np.arange(max(int((row[1] - e - x0) / pitch), 0), min(int((row[1] + e - x0) / pitch) + 1, w))
        j = np.arange(max(int((row[2] - e - y0) / pitch), 0), min(int((row[2] + e - y0) / pitch) + 1, h))
        for b in j:
            for a in i:
                if kind == ROD and row[5] > 60:                  # a long one only where it runs
                    dx, dy = x0 + (a + .5) * pitch - row[1], y0 + (b + .5) * pitch - row[2]
                    u, v = dx * row[3] + dy * row[4], -dx * row[4] + dy * row[3]
                    if abs(v - 18 * math.sin(u * .013 + row[1])) > row[6] + 12: continue
                if fill[b, a] < march.CELL_N: cell[b, a, fill[b, a]] = k; fill[b, a] += 1
    q.put("object", np.array(rows or [[0] * 20], np.float32)); q.put("cell", cell)
    q.set(ow=w, oh=h, ox0=x0, oy0=y0, op=pitch)
    return heads


def light(q, s, r, pose):
    el, az = math.radians(s["sun_elev"]), math.radians(s["sun_az"])
    q.set(sdir=[math.cos(el) * math.cos(az), math.cos(el) * math.sin(az), math.sin(el)])
    mode = ["sun", "overcast", "flash", "shade"][r.choice(4, p=[.6, .29, .05, .06])]
    s["light"] = mode
    blue = np.array([.75, .92, 1.2]) ** r.uniform(.2, 1.2)
    q.set(bounce=r.uniform(.08, .35), zenith=r.uniform(0, 1))
    if mode == "sun":
        warm = np.array([1.1, 1, .85 - .35 * (1 - math.sin(el)) ** 3])
        q.set(sun=warm * 10, sun_radius=r.choice([.0047, r.uniform(.005, .05)], p=[.75, .25]), sky=blue * r.uniform(.25, 1.3))
        if r.random() < .5:
            kind = int(r.choice([1, 2, 3], p=[.4, .45, .15])); a = r.uniform(0, 6.28)
            d = r.uniform(-300, 300)
            q.set(gobo=kind, gobo_a=[math.cos(a), math.sin(a), d, r.uniform(280, 420)], gobo_b=[-math.sin(a), math.cos(a), r.uniform(-300, 300), r.uniform(250, 330)],
                  gobo_scale=r.uniform(15, 200) if kind == 2 else r.uniform(10, 35), gobo_cut=r.uniform(.3, .6), gobo_soft=r.uniform(.01, .25) if kind == 2 else r.uniform(2, 45))
    elif mode == "overcast": q.set(sky=np.array([.95, 1, 1.05]) * r.uniform(1.5, 2.5) * (1 + r.normal(0, .03, 3)))
    elif mode == "shade": q.set(sky=blue * 1.2)
    else:
        R, c = pose
        at = c + R[0] * r.uniform(-25, 25) + R[1] * r.uniform(-25, 10)
        k = (np.linalg.norm(c) / 1000) ** 2
        q.set(flash=1, flash_at=at, sun=np.array([1, 1, .98]) * 8 * k, sky=blue * r.uniform(.1, .8))


def phone(q, s, r):
    """Metering, local tone and the rest of what a phone does."""
    p, cam = s["post"], s["camera"]
    k = cam["width"] / 168
    full = {n: getattr(q.s, n) for n in ("w", "h", "f", "cx", "cy", "spp")}
    q.set(w=168, h=cam["height"] / k, f=cam["f"] / k, cx=cam["cx"] / k, cy=cam["cy"] / k, spp=2)
    small = q.render(linear=True)
    for n, v in full.items(): setattr(q.s, n, v)
    y = small.mean(2)
    med, hot = np.percentile(y, r.uniform(50, 75)) + 1e-4, np.percentile(y, 99.5) + 1e-4
    gain = min(r.uniform(.16, .34) / med, 1.6 / hot) * 2 ** p["exposure"]
    local = np.log(cv2.GaussianBlur(y * gain + .01, (0, 0), r.uniform(2, 12)))
    strength = r.uniform(0, .45) if r.random() < .6 else 0
    q.put("tone_map", np.clip(np.exp(-strength * (local - math.log(.2))), .5, 2.5).astype(np.float32))
    m, a = p["motion"]
    grey = small.reshape(-1, 3).mean(0) + 1e-4                  # white balance, part of the way to a grey world
    wb = (grey.mean() / grey) ** r.uniform(.2, .8)
    q.set(tone_w=y.shape[1], tone_h=y.shape[0], gain=gain * wb * np.array(p["wb"]) * np.exp(r.normal(0, .03, 3)), blur=max(.35, p["blur"] * r.uniform(.7, 1.3)), motion_x=m * math.cos(math.radians(a)), motion_y=m * math.sin(math.radians(a)),
          vignette=p["vignette"], noise=p["noise"], shoulder=r.uniform(0, .7), contrast=r.uniform(-.05, .3), saturation=r.uniform(.7, 1.45), sharpen=p["sharpen"] * r.uniform(.3, 2), sharpen_radius=r.uniform(.8, 2.2), black=r.uniform(0, .004))


def shoot(lib, lab, board, pose, s, box, r, spp=3):
    """(sensor picture BGR, heads with their surface, cards); gives s the function surface(piece, x, y)."""
    q = march.Packed(lib)
    cam = s["camera"]
    q.set(seed=int(r.integers(1 << 20)))
    geometry(q, s, box, r); materials(q, s, lab, r); decals(q, s, r)
    told = cards(q, s, board, r)
    heads = objects(q, s, r)
    top = max([8.0] + [float(np.nanmax(c)) for c in [q.arrays["bottom"]]]) + 3 * s["product"]["ply"] * 1.4
    for c in told: top = max(top, max(k[2] for k in c["corners"]) + 1)
    for f, surf in heads: top = max(top, surf + f["rise"] + 3)
    R, c = pose
    q.set(zmax=top + 2, zmin=-4, R=R.ravel(), c=c, f=cam["f"], cx=cam["cx"], cy=cam["cy"], k1=cam["k1"], k2=cam["k2"], p1=cam["p1"], p2=cam["p2"], w=cam["width"], h=cam["height"], spp=spp)
    light(q, s, r, pose); phone(q, s, r)

    def surface(i, x, y):
        z = q.course(s["order"][i], x, y) if i in s["order"] else np.full(np.broadcast(x, y).shape, np.nan)   # out of sight
        ok = np.isfinite(z)
        return np.where(ok, z, np.median(z[ok]) if ok.any() else 8.0)
    s["surface"], s["packed"] = surface, q
    return q.render(), heads, told
