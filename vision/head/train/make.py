#!/usr/bin/env python3
"""Makes training material: rendered scenes, cut into views and patches with labels.

    python3 make.py --lab PHOTOLAB --out DIR --seeds 500000:500300 [--jobs 2] [--fast FILE] [--course course.onnx]

PHOTOLAB holds the scene generator and the renderer (scene.py, render.py); --fast names
a drop-in renderer (a Python file with render_scene(scene)) for machines with a GPU.
One .npz a scene: a view of the course at 1 px/mm with its label maps, and patches of
42 mm at 3 px/mm around heads and around what could be taken for one; with --course the
patches without a head come first from what that network proposes.
Seeds below 500000 belong to the photos that judge the tool and are refused.
"""
import argparse
import importlib.util
import math
import os
import sys
import time

import cv2
import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from views import View, footprint, labels, rays, stack_height

PPM, FINE, PATCH = 1.0, 3.0, 128
DRIVES = ["flush", "overdriven", "underdriven", "cocked"]
TEXTURES = [["asphalt_04_diff_1k.jpg", .42], ["asphalt_05_diff_1k.jpg", .42], ["asphalt_07_diff_1k.jpg", .40], ["asphalt_floor_diff_1k.jpg", .38],
            ["asphalt_pit_lane_diff_1k.jpg", .40], ["asphalt_track_diff_1k.jpg", .42], ["brushed_concrete_03_diff_1k.jpg", .5], ["gravel_gray_512.png", .5]]
RANGES = {"tilt": [1, 40], "distance": [780, 2400], "sun": [13, 78], "overcast": .35, "shade": .45, "clutter": 1.5, "noise": [.5, 2.5], "quality": [76, 95],
          "fov": [61, 77], "k1": [-.02, .034], "cards": list(range(28)), "bad": .35, "grains": TEXTURES, "grain_share": .4}


def vary(lab, r):
    """Ranges and wishes of one scene; half of the palettes, products and finishes are drawn anew."""
    want = {}
    if r.random() < .5:
        base = np.exp(r.uniform(math.log(.03), math.log(.45))); hue = np.clip(1 + r.normal(0, .22, 3), .45, 1.7)
        rows = [tuple(np.clip(base * hue * np.exp(r.normal(0, .55)) * np.clip(1 + r.normal(0, .08, 3), .7, 1.3), .012, .6)) + (w,) for w in (4, 3, 2, 1)]
        lab.PALETTES["drawn"] = rows; want["palette"] = "drawn"
    if r.random() < .4:
        fam = "laminated" if r.random() < .5 else "three-tab"
        E = r.uniform(120, 156); H = 2 * E + r.uniform(38, 62); lo = E + r.uniform(5, 12)
        lab.PRODUCTS["drawn"] = dict(family=fam, width=r.uniform(900, 1040), height=H, exposure=E, ply=r.uniform(2.0, 3.4), band=(lo, lo + r.uniform(18, 40)))
        want["product"] = "drawn"
    if r.random() < .35:
        a = np.exp(r.uniform(math.log(.04), math.log(.34)))
        lab.FINISHES["drawn"] = (tuple(np.clip(a * np.clip(1 + r.normal(0, .18, 3), .5, 1.6), .02, .4)), r.uniform(.05, .75), r.uniform(6, 60)); want["finish"] = "drawn"
    elif r.random() < .35: want["finish"] = ["rusty", "copper", "dark"][r.integers(3)]
    if r.random() < .05: want["flaw"] = "no_open_course"
    return want


def more_heads(s, lab, r):
    """More faults than on a real roof, and now and then heads where none belong."""
    H = s["product"]["height"]
    if s["flaw"]: return
    if r.random() < .6:
        for _ in range(int(r.integers(4, 16))):
            ps = [(i, p) for i, p in enumerate(s["pieces"]) if p[0] == 0 and p[2] > -800 and p[1] < 800]
            if not ps: break
            i, p = ps[r.integers(len(ps))]
            x, y = r.uniform(max(p[1], -800) + 6, min(p[2], 800) - 6) if min(p[2], 800) - max(p[1], -800) > 20 else p[1] + 8, r.uniform(20, H - 15)
            if all(math.hypot(x - f["x"], y - f["y"]) > 17 for f in s["fasteners"]) and p[1] < x < p[2]:
                s["fasteners"].append(lab._fastener(r, x, y, s["fasteners"][0]["dia"] if s["fasteners"] else 10.3, s["finish"], i))
    for k, f in enumerate(s["fasteners"]):
        if f["exposed"] or r.random() > .3: continue
        for _ in range(40):
            g = lab._fastener(r, f["x"], f["y"], f["dia"], f["finish"], f["piece"])
            if g["drive"] != "flush": s["fasteners"][k] = g; break


def draw(lab, seed):
    r = np.random.default_rng([4711, seed])
    s = lab.draw(seed, vary(lab, r), RANGES)
    if r.random() < .25 and s["exif"]: s["exif"] = False
    more_heads(s, lab, r)
    return s, r


def photo(img, s, r):
    """What the camera or a messenger left of the sensor picture (BGR in and out) and its scale."""
    q = s["post"]["quality"]
    flags = [cv2.IMWRITE_JPEG_QUALITY, int(q)]
    if r.random() < .15:
        k = 1600.0 / max(img.shape[:2])
        img = cv2.imdecode(cv2.imencode(".jpg", img, flags)[1], 1)
        img = cv2.resize(img, (round(img.shape[1] * k), round(img.shape[0] * k)), interpolation=cv2.INTER_AREA)
        return cv2.imdecode(cv2.imencode(".jpg", img, [cv2.IMWRITE_JPEG_QUALITY, 75])[1], 1), k
    return cv2.imdecode(cv2.imencode(".jpg", img, flags)[1], 1), 1.0


def scaled(cam, k):
    c = dict(cam)
    if k != 1: c.update(f=cam["f"] * k, cx=(cam["cx"] + .5) * k - .5, cy=(cam["cy"] + .5) * k - .5, width=round(cam["width"] * k), height=round(cam["height"] * k))
    return c


def proposals(net, pic):
    """Where the course network sees heads in a view: (n, 3) column, row, logit."""
    x = pic.astype(np.float32)
    v = x[pic.any(2)]
    x = (x - v.mean()) / (v.std() + 1e-3); x[~pic.any(2)] = 0
    h, w = pic.shape[0] // 32 * 32, pic.shape[1] // 32 * 32
    net.setInput(np.ascontiguousarray(x[:h, :w].transpose(2, 0, 1))[None])
    o = net.forward()[0]
    z = o[17]
    m = (z == cv2.dilate(z, np.ones((3, 3)))) & (z > -5)
    i, j = np.where(m)
    k = np.argsort(-z[i, j])[:70]
    i, j = i[k], j[k]
    return np.stack([j * 4 + 1.5 + o[18][i, j], i * 4 + 1.5 + o[19][i, j], z[i, j]], 1)


def cut(s, img, heads, cards, r, net=None):
    """The arrays of one scene."""
    P = s["product"]; E, H = P["exposure"], P["height"]
    img, k = photo(img, s, r)
    cam = scaled(s["camera"], k)
    s = dict(s, camera=cam)
    import camera as lab_camera
    R, c = lab_camera.pose(cam)
    fx0, fx1, fy0, fy1 = footprint(cam, R, c)
    x0, x1 = max(fx0, -1500), min(fx1, 1500)
    y0, y1 = max(fy0, -2.7 * E - 60), min(fy1, H + 140)
    if y1 - y0 < 200 or x1 - x0 < 200: return None
    w, h = int((x1 - x0) * PPM) // 32 * 32, int((y1 - y0) * PPM) // 32 * 32
    plane = (6 + r.normal(0, 2.5), r.normal(0, .008), r.normal(0, .008))
    k1 = cam["k1"] + r.normal(0, .008) if r.random() < .7 else .009
    view = View(cam, (R, c), PPM, x0, y1, math.radians(r.normal(0, .7)), plane, k1, 1 + r.normal(0, .008))
    pic, seen = view.picture(img, w, h)
    L, hd = labels(s, view, cards, heads, w, h)
    vis = np.array([visible(q["f"], q["surf"], cam, R, c, cards) for q in hd], np.uint8)
    out = dict(pic=pic, butt=L["butt"].astype(np.float16), top=L["top"].astype(np.float16), joint=L["joint"].astype(np.float16), rake=L["rake"].astype(np.float16),
               seg=L["seg"], seen=L["seen"], heads=L["heads"], visible=vis, family=P["family"] == "laminated")
    # patches: around heads, and around places that are none
    spots = [(q["f"]["x"], q["f"]["y"], q) for q, v in zip(hd, vis) if v]
    ys = s["lift"]
    bad = [(d["x"], d["y"] + (0 if d["kind"] != "chalk" else 0)) for d in s["distractors"] if d["kind"] not in ("chalk", "scuff")]
    if net is not None:
        q = proposals(net, pic)
        x, y, _ = view.roof(q[:, 0], q[:, 1]); bad = list(zip(x, y)) + bad
    else: bad += [(r.uniform(x0, x1), r.uniform(-E, H)) for _ in range(25)]
    for x, y in bad[:90]:
        if all(math.hypot(x - f["x"], y - f["y"]) > 9 for f, _ in heads): spots.append((x, y, None))
    patches, truth = [], []
    for x, y, q in spots:
        z = float(stack_height(P, min(max(y - ys, 0), H))) if y - ys < H else .5
        jx, jy = (r.uniform(-4, 4), r.uniform(-4, 4)) if q else (r.normal(0, 1), r.normal(0, 1))
        half = PATCH / 2 / FINE
        turn = math.radians(r.normal(0, .5))
        v = View(cam, (R, c), FINE, x + jx - half, y + jy + half, 0.0, (z + r.normal(0, .8), 0, 0), k1)
        p, ok = v.picture(img, PATCH, PATCH)
        if ok[32:96, 32:96].mean() < .9: continue
        P0 = np.array([x, y, z]); d = (c - P0) / (c[2] - z)
        ppm = np.linalg.norm(np.diff(v.sensor(np.array([63.5, 66.5]), np.array([63.5, 63.5])), axis=0))
        t = np.zeros(10, np.float32)
        t[:3] = d[0], -d[1], math.log(ppm)
        if q is not None:
            a = v.from_sensor(view_px(cam, R, c, q))
            t[3:] = 1, (a[0] - 63.5) / FINE, (a[1] - 63.5) / FINE, q["f"]["dia"], q["f"]["rise"], DRIVES.index(q["f"]["drive"]), q["surf"] - z
        patches.append(p); truth.append(t)
    if not patches: return None
    out.update(patches=np.stack(patches), truth=np.stack(truth))
    return out


def view_px(cam, R, c, q):
    from views import project
    f = q["f"]
    return project(cam, R, c, np.array([f["x"], f["y"], q["surf"] + f["rise"] + (.1 if f["drive"] != "overdriven" else 0)]))


def visible(f, surf, cam, R, c, cards):
    u, v = view_px(cam, R, c, dict(f=f, surf=surf))
    if not (14 < u < cam["width"] - 15 and 14 < v < cam["height"] - 15): return False
    return all(cv2.pointPolygonTest(np.array(k["outline"], np.float32), (float(f["x"]), float(f["y"])), True) <= -6 for k in cards)


def load(lab_dir, fast):
    sys.path.insert(0, lab_dir)
    import scene as lab
    if fast:
        spec = importlib.util.spec_from_file_location("fast_renderer", fast); m = importlib.util.module_from_spec(spec); spec.loader.exec_module(m)

        def shoot(s):
            img, aux = m.render_scene(s)
            if hasattr(img, "cpu"): img = img.cpu().numpy()
            return np.ascontiguousarray(img[..., ::-1]), aux["heads"], aux["cards"]
    else:
        import render

        def shoot(s):
            got = {}
            keep = render.truth
            render.truth = lambda s, heads, cards, at: got.update(heads=heads, cards=cards)
            try: img, _ = render.render(s)
            finally: render.truth = keep
            return img, got["heads"], got["cards"]
    return lab, shoot


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--lab", required=True); ap.add_argument("--out", required=True); ap.add_argument("--seeds", required=True, help="FIRST:LAST+1")
    ap.add_argument("--jobs", type=int, default=1); ap.add_argument("--fast"); ap.add_argument("--course"); ap.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    a = ap.parse_args()
    lo, hi = map(int, a.seeds.split(":"))
    if lo < 500000: sys.exit(f"seeds {lo}: must be 500000 or over; lower ones belong to judging photos")
    os.makedirs(a.out, exist_ok=True)
    import subprocess
    if a.jobs > 1:
        step = [sys.executable, os.path.abspath(__file__), "--lab", a.lab, "--out", a.out, "--seconds", str(a.seconds)] + (["--fast", a.fast] if a.fast else []) + (["--course", a.course] if a.course else [])
        n = (hi - lo + a.jobs - 1) // a.jobs
        kids = [subprocess.Popen(step + ["--seeds", f"{lo + k * n}:{min(hi, lo + (k + 1) * n)}"]) for k in range(a.jobs)]
        sys.exit(max(p.wait() for p in kids))
    cv2.setNumThreads(1)
    lab, shoot = load(a.lab, a.fast)
    net = cv2.dnn.readNetFromONNX(a.course) if a.course else None
    t0, n = time.time(), 0
    for seed in range(lo, hi):
        path = os.path.join(a.out, f"{seed}.npz")
        if os.path.exists(path): continue
        if time.time() - t0 > a.seconds: break
        s, r = draw(lab, seed)
        try:
            got = cut(s, *shoot(s), r, net if seed % 4 else None)
        except Exception as err:                # one odd scene must not end the run
            print(seed, "left out:", repr(err), flush=True); continue
        if got is None: continue
        np.savez(path + ".part.npz", **got); os.replace(path + ".part.npz", path)
        n += 1
        if n % 20 == 0: print(f"{seed}: {n} scenes, {(time.time() - t0) / n:.2f} s each", flush=True)
    print(f"{n} scenes in {time.time() - t0:.0f} s", flush=True)


if __name__ == "__main__": main()
