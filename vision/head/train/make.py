#!/usr/bin/env python3
"""Makes training material: rendered scenes, cut into views and patches with labels.

    python3 make.py --lab PHOTOLAB --out DIR --seeds 500000:500300 [--jobs 2] [--gpus 1] [--fast FILE] [--course course.pt]

PHOTOLAB holds the scene generator and the renderer (scene.py, render.py); --fast names
a drop-in renderer (a Python file with render_scene(scene)) for machines with a GPU.
One .npz a scene: views of the course at 1 and at 0.5 px/mm with their label maps, patches
of 42 mm at 3 px/mm around heads and around what could be taken for one, and patches of
joints and of what could be taken for one (joints.py); with --course (a checkpoint of
train.py) the patches without a head come first from what that network proposes.
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
import joints
from views import Photo, View, footprint, labels, project, stack_height

FINE, PATCH, OTHERS = 3.0, 128, 56       # px/mm and px of a patch; most patches a scene without a head
DRIVES = ["flush", "overdriven", "underdriven", "cocked"]
TEXTURES = [["asphalt_04_diff_1k.jpg", .42], ["asphalt_05_diff_1k.jpg", .42], ["asphalt_floor_diff_1k.jpg", .38], ["asphalt_track_diff_1k.jpg", .42]]
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


class Proposer:
    """Where a trained course network sees heads in a view."""

    def __init__(self, path):
        import torch
        from nets import CourseNet
        self.t = torch
        self.dev = "cuda" if torch.cuda.is_available() else "cpu"
        self.net = CourseNet().to(self.dev).eval()
        self.net.load_state_dict(torch.load(path, map_location=self.dev))

    def __call__(self, pic):
        """(n, 3) column, row, logit, the best first."""
        t = self.t
        with t.no_grad():
            x = t.from_numpy(pic).to(self.dev).float()
            on = (x.sum(2, keepdim=True) > 0).float()
            n = on.sum() * 3
            m = (x * on).sum() / n
            x = (x - m) * on / ((((x - m) * on) ** 2).sum() / n).sqrt().clamp(min=1e-3)
            with t.autocast(self.dev, t.bfloat16, enabled=self.dev == "cuda"): o = self.net(x.permute(2, 0, 1)[None])[0].float()
            z = o[17]
            i, j = t.where((z == t.nn.functional.max_pool2d(z[None, None], 3, 1, 1)[0, 0]) & (z > -5))
            k = t.argsort(-z[i, j])[:70]
            i, j = i[k], j[k]
            return t.stack([j * 4 + 1.5 + o[18][i, j], i * 4 + 1.5 + o[19][i, j], z[i, j]], 1).cpu().numpy()


def course_view(s, photo, pose, cards, heads, r, ppm, box, k1):
    """A view of a box (x0, x1, y0, y1; mm) with its labels; its own lens, plane, turn and scale a little wrong."""
    cam = s["camera"]
    f = footprint(cam, *pose)
    x0, x1, y0, y1 = max(f[0], box[0]), min(f[1], box[1]), max(f[2], box[2]), min(f[3], box[3])
    if y1 - y0 < 200 or x1 - x0 < 200: return None
    w, h = int((x1 - x0) * ppm) // 32 * 32, int((y1 - y0) * ppm) // 32 * 32
    plane = (6 + r.normal(0, 2.5), r.normal(0, .008), r.normal(0, .008))
    view = View(cam, pose, ppm, x0, y1, math.radians(r.normal(0, .7 / ppm)), plane, k1, 1 + r.normal(0, .008))
    pic, _ = view.picture(photo, w, h)
    L, hd = labels(s, view, cards, heads, w, h)
    lines = np.concatenate([L["butt"][None], L["top"][None], L["joint"], L["rake"][None]]).astype(np.float16)
    return view, hd, dict(pic=pic, lines=lines, seg=L["seg"], seen=L["seen"], heads=L["heads"])


def cut(s, img, heads, cards, r, propose=None, only_course=False):
    """The arrays of one scene."""
    import camera as lab_camera
    P = s["product"]; E, H = P["exposure"], P["height"]
    img, k = photo(img, s, r)
    cam = scaled(s["camera"], k)
    s, img = dict(s, camera=cam), Photo(img)
    R, c = pose = lab_camera.pose(cam)
    k1 = cam["k1"] + r.normal(0, .008) if r.random() < .7 else .009
    full = course_view(s, img, pose, cards, heads, r, .8, (-1500, 1500, -2.2 * E - 60, H + 120), k1)
    half = course_view(s, img, pose, cards, heads, r, .4, (-1500, 1500, -1300, H + 700), k1)
    if full is None or half is None: return None
    view, hd, out = full
    out.update({"half_" + n: v for n, v in half[2].items()})
    out["visible"] = vis = np.array([visible(q["f"], q["surf"], cam, R, c, cards) for q in hd], np.uint8)
    if only_course: return out
    # patches: around heads, and around places that are none
    spots = [(q["f"]["x"], q["f"]["y"], q) for q, v in zip(hd, vis) if v]
    bad = [(d["x"], d["y"]) for d in s["distractors"] if d["kind"] not in ("chalk", "scuff")]
    if propose is not None:
        q = propose(out["pic"])
        x, y, _ = view.roof(q[:, 0], q[:, 1]); bad = list(zip(x, y)) + bad
    else: bad += [tuple(view.roof(r.uniform(0, out["pic"].shape[1]), r.uniform(0, out["pic"].shape[0]))[:2]) for _ in range(25)]
    bad = [(x, y, None) for x, y in bad if all(math.hypot(x - f["x"], y - f["y"]) > 9 for f, _ in heads)]
    patches, truth = [], []
    for x, y, q in spots + bad[:OTHERS]:
        z = float(stack_height(P, min(max(y - s["lift"], 0), H))) if y - s["lift"] < H else .5
        jx, jy = (r.uniform(-4, 4), r.uniform(-4, 4)) if q else (r.normal(0, 1), r.normal(0, 1))
        half = PATCH / 2 / FINE
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
    out["joints"], out["joints_truth"] = joints.cut(s, img, pose, cards, k1, r)
    return out


def view_px(cam, R, c, q):
    f = q["f"]
    return project(cam, R, c, np.array([f["x"], f["y"], q["surf"] + f["rise"] + (.1 if f["drive"] != "overdriven" else 0)]))


def visible(f, surf, cam, R, c, cards):
    u, v = view_px(cam, R, c, dict(f=f, surf=surf))
    if not (14 < u < cam["width"] - 15 and 14 < v < cam["height"] - 15): return False
    return all(cv2.pointPolygonTest(np.array(k["outline"], np.float32), (float(f["x"]), float(f["y"])), True) <= -6 for k in cards)


class HeightMap:
    """The maker that shades a height map of the roof (testdata/scenes/heightmap)."""

    def __init__(self, folder, fast=None):
        import render, scene, surface
        self.lab, self.render, self.surface = scene, render, surface
        if fast:
            spec = importlib.util.spec_from_file_location("fast", fast); m = importlib.util.module_from_spec(spec); spec.loader.exec_module(m)
            m.replace(render)

    def draw(self, seed):
        r = np.random.default_rng([4711, seed])
        s = self.lab.draw(seed, vary(self.lab, r), RANGES)
        if r.random() < .25 and s["exif"]: s["exif"] = False
        more_heads(s, self.lab, r)
        return s, r

    def shoot(self, s, r):
        """The sensor picture (BGR), heads with their surface, cards; gives s its surface."""
        got, keep = {}, self.render.truth
        self.render.truth = lambda s, heads, cards, at: got.update(heads=heads, cards=cards)
        try: img, _ = self.render.render(s)
        finally: self.render.truth = keep
        s["surface"] = self.counted(s)
        return img, got["heads"], got["cards"]

    def counted(self, s):
        """The surface as surface.roof counts it, granules left out."""
        P, k = s["product"], s["seed"] % 100003
        E, H, t, lam = P["exposure"], P["height"], P["ply"], P["family"] == "laminated"
        h, noise = self.surface._h, np.vectorize(self.surface._noise, otypes=[float])
        bridge, lap, wavy = 30 + 40 * h(k, 41, 5), E + 30 + 16 * h(k, 43, 5), .6 + 1.4 * h(k, 44, 5)

        def surface(i, x, y):
            x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
            p = s["pieces"][i]
            yl = np.maximum(y - (p[0] * E + s["lift"] + p[3] + p[4] * (x - p[1])), 0)
            over = lambda u, end: np.clip(1 - (u - end) / bridge, 0, 1)
            z = t + wavy * (noise(x / 240, y / 260, k + 45) - .5)
            for c in range(1, 6): z = z + t * (over(yl + c * E, H) + (over(yl + c * E, lap) if lam else 0))
            if lam:
                z = z + t * np.clip(1 - (yl - lap) / 4, 0, 1)
                for q in s["slots"][i]:
                    sh = q[2] * (yl / s["cutout_height"] - .5)
                    z = z - t * ((yl < s["cutout_height"]) & (q[0] + sh < x) & (x < q[1] - sh * .6))
            return z
        return surface


class March:
    """The maker that marches rays over draped shingles (testdata/scenes/march)."""

    def __init__(self, folder):
        sys.path.insert(0, folder)
        import camera, draw, march, scene, surface
        self.lab, self.camera, self.board, self.maker = scene, camera, surface.board_picture, draw
        self.lib = march.load()

    def draw(self, seed):
        r = np.random.default_rng([4713, seed])
        s = self.maker.layout(self.lab, seed, r, vary(self.lab, r), RANGES)
        if r.random() < .25: s["exif"] = False
        more_heads(s, self.lab, r)
        return s, r

    def shoot(self, s, r):
        cam = s["camera"]
        return self.maker.shoot(self.lib, self.lab, self.board, self.camera.pose(cam), s, self.camera.footprint(cam), r)


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--lab", required=True); ap.add_argument("--out", required=True); ap.add_argument("--seeds", required=True, help="FIRST:LAST+1")
    ap.add_argument("--jobs", type=int, default=1); ap.add_argument("--gpus", type=int, default=1); ap.add_argument("--fast"); ap.add_argument("--maker", choices=["heightmap", "march"], default="march"); ap.add_argument("--course"); ap.add_argument("--only-course", action="store_true", help="no patches"); ap.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    a = ap.parse_args()
    lo, hi = map(int, a.seeds.split(":"))
    if lo < 500000: sys.exit(f"seeds {lo}: must be 500000 or over; lower ones belong to judging photos")
    os.makedirs(a.out, exist_ok=True)
    import subprocess
    if a.jobs > 1:
        step = [sys.executable, os.path.abspath(__file__), "--lab", a.lab, "--out", a.out, "--seconds", str(a.seconds), "--maker", a.maker] + (["--fast", a.fast] if a.fast else []) + (["--course", a.course] if a.course else []) + ["--only-course"] * a.only_course
        n = (hi - lo + a.jobs - 1) // a.jobs
        card = lambda k: dict(os.environ, CUDA_VISIBLE_DEVICES=str(k % a.gpus)) if a.gpus > 1 else None
        kids = [subprocess.Popen(step + ["--seeds", f"{lo + k * n}:{min(hi, lo + (k + 1) * n)}"], env=card(k)) for k in range(a.jobs)]
        sys.exit(max(p.wait() for p in kids))
    cv2.setNumThreads(1)
    sys.path.insert(0, a.lab)
    maker = HeightMap(a.lab, a.fast) if a.maker == "heightmap" else March(os.path.join(os.path.dirname(os.path.abspath(a.lab)), "march"))
    propose = Proposer(a.course) if a.course else None
    t0, n = time.time(), 0
    for seed in range(lo, hi):
        path = os.path.join(a.out, f"{seed}.npz")
        if os.path.exists(path): continue
        if time.time() - t0 > a.seconds: break
        try:
            s, r = maker.draw(seed)
            got = cut(s, *maker.shoot(s, r), r, propose if seed % 4 else None, a.only_course)
        except Exception as err:                # one odd scene must not end the run
            print(seed, "left out:", repr(err), flush=True); continue
        if got is None: continue
        np.savez(path + ".part.npz", **got); os.replace(path + ".part.npz", path)
        n += 1
        if n % 20 == 0: print(f"{seed}: {n} scenes, {(time.time() - t0) / n:.2f} s each", flush=True)
    print(f"{n} scenes in {time.time() - t0:.0f} s", flush=True)


if __name__ == "__main__": main()
