"""Renders photos of an open course with exact truth beside each.

    python3 render.py SET.json --out DIR [--jobs 2] [--only ID,ID]

SET.json: {"name": ..., "ranges": {...}, "photos": [{"id": "p001", "seed": 1, "job": "a", "want": {...}}, ...]}
Writes DIR/JOB/ID.jpg and DIR/JOB/ID.truth.json, and DIR/JOB/schedule.yaml once a job.
Needs numpy, numba, OpenCV with aruco, Pillow and piexif (Debian: python3-numba
python3-opencv python3-pil python3-piexif). About 25 s and 3 GB a photo on one core.
The same seed gives the same scene; pixels may differ in the last bit between versions.
"""
import argparse
import io
import json
import math
import os
import sys
import time

os.environ.setdefault("NUMBA_THREADING_LAYER", "workqueue")      # safe to fork after
os.environ.setdefault("NUMBA_CACHE_DIR", os.path.join(os.environ.get("TMPDIR", "/tmp"), "heightmap-numba"))
import cv2
import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import camera as cam_mod
import scene as scene_mod
import surface

TEXTURES = os.path.join(os.path.dirname(os.path.abspath(__file__)), "textures")
PRINTS = {"none": 0, "lines2": 1, "line1": 2, "strip": 3, "dashes": 4}


def stack_base(P):
    """Rise of a course's butt above the deck from the courses under it, mm: plies counted, each edge bridged over 50 mm."""
    E, H, t = P["exposure"], P["height"], P["ply"]
    over = lambda end: sum(t * min(max(1 - (k * E - end) / 50, 0), 1) for k in range(1, 6))
    return over(H) + (over(E + 38) if P["family"] == "laminated" else 0)


def render(s, size=None):
    """(upright-or-not sensor picture BGR uint8, truth dict) of a scene."""
    r = np.random.default_rng([77, s["seed"]])
    cam, P = s["camera"], s["product"]
    if size:
        k = size / cam["width"]
        for n in ("f", "cx", "cy"): cam[n] *= k
        cam["height"] = int(round(cam["height"] * k)); cam["width"] = size
    x0, x1, y0, y1 = cam_mod.footprint(cam)
    gsd = cam["distance"] / cam["f"]
    step = float(np.clip(gsd * .62, .19, 1.3))
    nx, ny = int((x1 - x0) / step), int((y1 - y0) / step)
    while nx * ny > 60e6:
        step *= 1.1; nx, ny = int((x1 - x0) / step), int((y1 - y0) / step)
    pal = np.array(scene_mod.PALETTES[s["palette"]], np.float64); pal[:, 3] /= pal[:, 3].sum()
    pcs = np.array([[p[0], p[1], p[2], p[3], p[4], 0, 0] for p in s["pieces"]], np.float64)
    n = max(len(q) for q in s["slots"])
    sl = np.zeros((len(pcs), max(n, 1), 3)); ns = np.zeros(len(pcs), np.int64)
    for i, q in enumerate(s["slots"]):
        ns[i] = len(q)
        for k, v in enumerate(q): sl[i, k] = v
    b0 = stack_base(P)
    keep = (pcs[:, 2] > x0 - 40) & (pcs[:, 1] < x1 + 40)
    lam = P["family"] == "laminated"
    ht, col, gloss = surface.roof(x0, y0, step, nx, ny, s["lift"], P["exposure"], P["height"], P["ply"], lam, pcs[keep], sl[keep], ns[keep], s["cutout_height"], b0,
                                  pal, P["band"][0], P["band"][1], PRINTS[s["print"]], {"none": 0, "above": 1, "below_line": 2}[s["sealant"]],
                                  {"felt": 0, "woven": 1, "deck": 2}[s["underlay"]], s["dirt"], s["tone"], s["seed"] % 100003, {"none": 0, "left": -1, "right": 1}[s["rake"]], s["rake_x"] or 0.0, s["grain"] is not None)
    if s["grain"]:
        g = s["grain"]
        surface.lay_grain(col, (x0, y0, step), os.path.join(TEXTURES, g["file"]), g["mm_per_px"], g["contrast"], g["shift"])
    metal = np.zeros_like(gloss)
    maps, grid = (ht, col, gloss, metal), (x0, y0, step)
    if s["lettering"] and s["lift"] == 0: surface.add_lettering(maps, grid, s, r)
    off = lambda x: s["rake_x"] is not None and ((s["rake"] == "left" and x < s["rake_x"] + 30) or (s["rake"] == "right" and x > s["rake_x"] - 30))
    for d in s["distractors"]:
        if d["kind"] != "chalk" and off(d["x"]): continue
        if s["lift"] == 0 or d["kind"] != "cap_nail": surface.add_distractor(maps, grid, d, r, s["seed"])

    def at(x, y, m=ht):
        i, j = int((x - x0) / step), int((y - y0) / step)
        return float(np.median(m[max(j - 6, 0):j + 7, max(i - 6, 0):i + 7])) if 0 <= i < nx and 0 <= j < ny else 0.0

    heads = []
    for f in s["fasteners"]:
        if not (x0 + 30 < f["x"] < x1 - 30 and y0 + 30 < f["y"] < y1 - 30): continue
        alb, spec, sh = scene_mod.FINISHES[f["finish"]]
        surf = at(f["x"], f["y"])
        rust = .3 * f["wear"] if f["finish"] == "dull" and f["wear"] > .8 else 0.
        surface.stamp_head(ht, col, gloss, metal, x0, y0, step, f["x"], f["y"], f["dia"], f["rise"], math.radians(f["tilt"]), math.radians(f["tilt_az"]),
                           f["drive"] == "overdriven", np.array(alb), np.array([spec, sh]), f["lum"], f["grime"], s["waffle"], rust, surf, s["seed"] % 9973 + len(heads))
        heads.append((f, surf))
    cards = [c for c in (surface.add_card(maps, grid, c, r) for c in s["cards"]) if c]

    el, az = math.radians(s["sun_elev"]), math.radians(s["sun_az"])
    sdir = np.array([math.cos(el) * math.cos(az), math.cos(el) * math.sin(az), math.sin(el)])
    if s["light"] == "sun":
        sun, sky = np.array([3.0, 2.85, 2.5]), np.array([.42, .52, .72]) * r.uniform(.7, 1.3)
    else:
        sun, sky = np.zeros(3), np.array([.92, .97, 1.05])
    k1 = cv2.GaussianBlur(ht, (0, 0), 2.2 / step); k2 = cv2.GaussianBlur(ht, (0, 0), 7 / step)
    ao = (1 - np.clip(.16 * (k1 - ht), -.10, .55) - np.clip(.05 * (k2 - ht), -.06, .3)).astype(np.float32)
    shades = np.array(s["shades"], np.float64).reshape(-1, 4)
    R, c = cam_mod.pose(cam)
    lit = surface.shade(ht, col, gloss, metal, step, x0, y0, sun, sky, sdir, ao, shades, c, s["seed"] % 9973)
    S = 1.5
    lin = cam_mod.expose(lit, ht, float(ht.max()) + .1, x0, y0, step, R, c, cam["f"], cam["cx"], cam["cy"], cam["k1"], cam["k2"], cam["p1"], cam["p2"], cam["width"], cam["height"], S)
    lin = cv2.resize(lin, (cam["width"], cam["height"]), interpolation=cv2.INTER_AREA)
    img = cam_mod.develop(lin, s["post"], r)[..., ::-1]
    return np.ascontiguousarray(img), truth(s, heads, cards, at)


def truth(s, heads, cards, at):
    cam, P = s["camera"], s["product"]
    w, h = cam["width"], cam["height"]
    o = cam["orientation"]

    def up(p):                                   # sensor pixels to upright pixels
        x, y = p
        return {1: (x, y), 3: (w - 1 - x, h - 1 - y), 6: (h - 1 - y, x), 8: (y, w - 1 - x)}[o]

    def px(pts): return [[round(float(v), 2) for v in up(q)] for q in cam_mod.project(cam, pts)]

    inside = lambda q, m=0: m <= q[0] < (w if o in (1, 3) else h) - m and m <= q[1] < (h if o in (1, 3) else w) - m

    def on_card(x, y):
        for c in cards:
            q = np.array(c["outline"], np.float32)
            if cv2.pointPolygonTest(q, (float(x), float(y)), True) > -6: return True
        return False

    E, H = P["exposure"], P["height"]
    open_p = [p for p in s["pieces"] if p[0] == 0]
    below = sorted((p for p in s["pieces"] if p[0] == -1), key=lambda p: p[1])
    joints = [(a[2] + b[1]) / 2 for a, b in zip(below, below[1:]) if abs(a[2] - b[1]) < 12]
    seen_joint = {}
    for x in joints:
        pts = [(x, -20.), (x, -E / 2), (x, -E + 20)]
        seen_joint[x] = bool(sum(inside(q, 4) and not on_card(*xy) for xy, q in zip(pts, px([[a, b, 9.] for a, b in pts]))) >= 2)
    out = []
    for n, (f, surf) in enumerate(heads):
        q = px([[f["x"], f["y"], surf + f["rise"] + (.1 if f["drive"] != "overdriven" else 0)]])[0]
        rim = px([[f["x"] + f["dia"] / 2 * math.cos(a), f["y"] + f["dia"] / 2 * math.sin(a), surf + f["rise"]] for a in np.linspace(0, 2 * math.pi, 13)[:-1]])
        rpx = float(np.mean(np.hypot(*(np.array(rim) - q).T)))
        d = dict(id=f"t{n + 1}", px=q, radius_px=round(rpx, 2), x_mm=round(f["x"], 2), y_mm=round(f["y"], 2), diameter_mm=round(f["dia"], 2), drive=f["drive"],
                 finish=f["finish"], rise_mm=round(f["rise"], 2), tilt_deg=round(f["tilt"], 1), exposed=f["exposed"],
                 visible=bool(inside(q, rpx + 2) and not on_card(f["x"], f["y"])))
        if not f["exposed"]:
            p = s["pieces"][f["piece"]]
            xl, xr = f["x"] - p[1], p[2] - f["x"]
            d["above_butt_mm"] = round((f["y"] - (p[0] * E + p[3] + p[4] * (f["x"] - p[1]))) * math.cos(p[4]), 2)
            d["left_end_mm"], d["right_end_mm"] = round(xl, 2), round(xr, 2)
            d["end_mm"] = round(min(xl, xr), 2)
            xe = p[1] if xl < xr else p[2]
            at_end = [(xe, 30.), (xe, f["y"]), (xe, H - 30.)]
            d["end_seen"] = bool(sum(inside(q, 6) and not on_card(*xy) for xy, q in zip(at_end, px([[x, y, 6.] for x, y in at_end]))) >= 2)
            near = min(joints, key=lambda x: abs(x - f["x"])) if joints else None
            if near is not None:
                d["lower_joint_mm"] = round(abs(near - f["x"]), 2); d["lower_joint_seen"] = bool(seen_joint[near])
            d["piece"] = f["piece"]
        out.append(d)
    pieces = []
    for i, p in enumerate(s["pieces"]):
        if p[0] not in (0, -1): continue
        yb = p[0] * E + p[3]
        rim = stack_base(P) + (2 * P["ply"] if P["family"] == "laminated" else P["ply"])
        q = px([[p[1], yb, rim], [p[2], yb + p[4] * (p[2] - p[1]), rim]])
        if not (-200 < p[2] - (-3000) and (inside(q[0]) or inside(q[1]) or (p[1] < 0 < p[2]))): continue
        pieces.append(dict(piece=i, course=p[0], x0_mm=round(p[1], 2), x1_mm=round(p[2], 2), width_mm=round(p[2] - p[1], 2), cut_left=bool(p[5]), cut_right=bool(p[6]),
                           left_px=q[0], right_px=q[1]))
    R, c = cam_mod.pose(cam)
    return dict(format=1, seed=s["seed"], measurable=s["flaw"] is None, reason=s["flaw"], product=s["product_name"], schedule=P,
                conditions=dict(palette=s["palette"], print=s["print"], finish=s["finish"], light=s["light"], shaded=bool(s["shades"]), family=P["family"], tilt=round(cam["tilt"], 1),
                                distance=round(cam["distance"]), sun_elev=round(s["sun_elev"]), rake=s["rake"], exif=s["exif"], underlay=s["underlay"]),
                stagger_mm=s["stagger"], rake_x_mm=s["rake_x"],
                card=[dict(number=k["number"], plane=k["plane"], corners_px=px(k["corners"])) for k in cards],
                lower_joints_mm=[round(x, 2) for x in joints if seen_joint[x]], fasteners=out, pieces=pieces,
                camera=dict(K=[cam["f"], cam["cx"], cam["cy"]], dist=[cam["k1"], cam["k2"], cam["p1"], cam["p2"]], width=w, height=h, orientation=o, R=R.tolist(), centre=c.tolist()))


def write(img, s, path, when):
    """JPEG with EXIF: the sensor picture, its orientation tag, an invented phone."""
    import piexif
    from PIL import Image
    cam = s["camera"]
    buf = io.BytesIO()
    kw = {}
    if s["exif"]:
        f35 = cam["f"] / cam["width"] * 36.0
        z = {piexif.ImageIFD.Make: b"Acme", piexif.ImageIFD.Model: f"Roofphone {s['device']}".encode(), piexif.ImageIFD.Orientation: cam["orientation"]}
        e = {piexif.ExifIFD.DateTimeOriginal: when.encode(), piexif.ExifIFD.OffsetTimeOriginal: b"-07:00", piexif.ExifIFD.FocalLength: (int(f35 * 1000 / 6.2), 1000),
             piexif.ExifIFD.FocalLengthIn35mmFilm: int(round(f35)), piexif.ExifIFD.PixelXDimension: cam["width"], piexif.ExifIFD.PixelYDimension: cam["height"]}
        g = {}
        if s["gps"]:
            g = {piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: ((35, 1), (s["seed"] % 60, 1), (0, 1)), piexif.GPSIFD.GPSLongitudeRef: b"W", piexif.GPSIFD.GPSLongitude: ((106, 1), (30, 1), (0, 1))}
        kw["exif"] = piexif.dump({"0th": z, "Exif": e, "GPS": g})
    else:                                            # stripped by a messenger: pixels stored upright
        img = {1: img, 3: img[::-1, ::-1], 6: np.rot90(img, -1), 8: np.rot90(img, 1)}[cam["orientation"]]
    Image.fromarray(np.ascontiguousarray(img[..., ::-1])).save(buf, "JPEG", quality=s["post"]["quality"], subsampling=2, **kw)
    tmp = path + ".part"
    with open(tmp, "wb") as fh: fh.write(buf.getvalue())
    os.replace(tmp, path)


def schedule_text(P):
    """The job's schedule.yaml."""
    i = lambda v: f"{v / 25.4:.4f} in"
    return f"""# Rendered scenes: product and limits that go with the photos beside this file
title: rendered roof
product:
  name: {P['family']} strip
  family: {P['family']}
  width: {i(P['width'])}
  height: {i(P['height'])}
  exposure: {i(P['exposure'])}
  ply: {i(P['ply'])}
band:
  low: {i(P['band'][0])}
  high: {i(P['band'][1])}
fasteners:
  per_piece: 4
  head_diameter: 0.375 in
"""


def job(a):
    row, ranges, out = a
    s = scene_mod.draw(row["seed"], row.get("want"), {**ranges, **row.get("ranges", {})})
    d = os.path.join(out, row.get("job", ""))
    os.makedirs(d, exist_ok=True)
    p = os.path.join(d, row["id"] + ".jpg")
    if os.path.exists(p) and os.path.exists(p[:-4] + ".truth.json"): return row["id"], 0.0
    t0 = time.time()
    img, tr = render(s)
    when = "2026:05:%02d %02d:%02d:00" % (4 + row["seed"] % 20, 8 + row["seed"] % 9, row["seed"] % 60)
    write(img, s, p, when)
    with open(p[:-4] + ".truth.json", "w") as fh: json.dump(tr, fh, indent=1)
    sc = os.path.join(d, "schedule.yaml")
    if not os.path.exists(sc):
        with open(sc, "w") as fh: fh.write(schedule_text(s["product"]))
    return row["id"], time.time() - t0


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("set"); ap.add_argument("--out", required=True); ap.add_argument("--jobs", type=int, default=2); ap.add_argument("--only", default="")
    a = ap.parse_args()
    spec = json.load(open(a.set))
    rows = [q for q in spec["photos"] if not a.only or q["id"] in a.only.split(",")]
    import multiprocessing as mp
    import numba
    work = [(q, spec.get("ranges", {}), a.out) for q in rows]
    t0 = time.time()
    if a.jobs > 1 and len(work) > 1:
        with mp.get_context("fork").Pool(a.jobs, initializer=lambda: numba.set_num_threads(1)) as pool:
            for k, (i, t) in enumerate(pool.imap_unordered(job, work)): print(f"{k + 1}/{len(work)} {i} {t:.0f}s", flush=True)
    else:
        for k, q in enumerate(work): i, t = job(q); print(f"{k + 1}/{len(work)} {i} {t:.0f}s", flush=True)
    print(f"{len(work)} photos in {time.time() - t0:.0f} s")


if __name__ == "__main__": main()
