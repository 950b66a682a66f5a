"""Makes photos of an open course with exact truth, by path tracing.

    python3 make.py SET.json --out DIR [--jobs 1] [--threads 1] [--only ID,ID] [--scale 1] [--samples 8] [--truth] [--keep]

SET.json: {"name": ..., "want": {...}, "photos": [{"id": "t001", "seed": 1, "job": "a", "want": {...}}, ...]}
`want` fixes any choice of describe.py by name; that of a photo wins. Instead of
photos a set may hold {"seeds": {"first": 500001, "count": 400}}: one photo a
seed, products in turn, one job a product. Writes
DIR/JOB/ID.jpg and DIR/JOB/ID.truth.json, and DIR/JOB/schedule.yaml once a job.
What is already there is kept. Photos come whole or not at all.
"""
import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import build
import describe
import develop
import paint
import surface
import truth

HERE = os.path.dirname(os.path.abspath(__file__))
BLENDER = os.environ.get("BLENDER", "blender")


def photos(spec):
    """The rows of a set."""
    if "photos" in spec: return spec["photos"]
    names, first = list(describe.PRODUCTS), spec["seeds"]["first"]
    return [{"id": f"{spec['name']}-{n}", "seed": n, "job": names[k % len(names)], "want": {"product": names[k % len(names)]}} for k, n in enumerate(range(first, first + spec["seeds"]["count"]))]


def scaled(s, k):
    """The same scene on a sensor with k times the pixels along a side."""
    c = s["camera"]
    w, h = round(c["width"] * k), round(c["height"] * k)
    kx = w / c["width"]
    c["f"] *= kx; c["cx"] = (c["cx"] + .5) * kx - .5; c["cy"] = (c["cy"] + .5) * kx - .5; c["width"], c["height"] = w, h
    s["phone"]["blur"] = .45 + (s["phone"]["blur"] - .45) * kx if s["phone"]["blur"] < 3 else s["phone"]["blur"] * kx
    s["phone"]["motion"][0] *= kx
    return s


def one(row, want, out, a):
    """Makes one photo; seconds of tracing, or None when it was there."""
    folder = os.path.join(out, row.get("job", ""))
    jpg = os.path.join(folder, row["id"] + ".jpg")
    tru = jpg[:-4] + ".truth.json"
    if os.path.exists(jpg) and os.path.exists(tru) and not a.truth: return None
    t0 = time.time()
    s = describe.describe(row["seed"], {**want, **row.get("want", {})})
    if a.scale != 1: s = scaled(s, a.scale)
    meshes, lines, planes, surf, box = build.build(s)
    if a.truth:
        if os.path.exists(jpg): develop.write(tru, json.dumps(truth.truth(s, lines, planes, surf)))
        return None
    roof, work = surface.Roof(s), tempfile.mkdtemp(prefix="traced-")
    try:
        data = {f"mesh|{m}|{k}": v for m, g in meshes.items() for k, v in g.items()}
        pic, pbox = paint.paint(s, roof, box)
        sheet, sbox = paint.underlay(s, [box[0], box[1], min(box[2], s["product"]["height"] - 80), max(box[3], s["product"]["height"] + 60)])
        data.update({"picture|granules": paint.granules(s), "picture|paint": pic, "picture|underlay": sheet})
        if "ground" in meshes: data["picture|ground"] = paint.ground(s)
        for n, c in enumerate(s["cards"]): data[f"picture|card{n}"] = paint.page(c)
        np.savez(os.path.join(work, "scene.npz"), **{k: v.astype(np.float16) if k.startswith("picture") else v for k, v in data.items()})
        s.update(boxes=dict(paint=pbox, underlay=sbox), tile_mm=paint.TILE_MM, finishes=describe.FINISHES, margin=develop.margin(s["camera"]), samples=a.samples, bounces=a.bounces)
        with open(os.path.join(work, "scene.json"), "w") as fh: json.dump(s, fh)
        t1 = time.time()
        cmd = [BLENDER, "-b", "-t", str(a.threads), "-noaudio", "--factory-startup", "--python-exit-code", "3", "-P", os.path.join(HERE, "trace.py"), "--", *(os.path.join(work, n) for n in ("scene.npz", "scene.json", "light.npy"))]
        r = subprocess.run(cmd, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        if r.returncode or not os.path.exists(os.path.join(work, "light.npy")): raise RuntimeError(f"{row['id']}: blender failed (exit {r.returncode})\n{r.stdout[-3000:]}")
        t2 = time.time()
        lin = np.load(os.path.join(work, "light.npy")).astype(np.float32)
        lin = develop.lens(develop.impulses(lin), s["camera"], s["margin"])
        img = develop.develop(lin, s["phone"])
        os.makedirs(folder, exist_ok=True)
        develop.write(tru, json.dumps(truth.truth(s, lines, planes, surf)))
        develop.write(jpg, develop.jpeg(img, s))
        yaml = os.path.join(folder, "schedule.yaml")
        if not os.path.exists(yaml): develop.write(yaml, schedule(s["product"]))
        if a.keep: shutil.copytree(work, os.path.join(out, "work", row["id"]), dirs_exist_ok=True)
        print(f"{row['id']}: described and built in {t1 - t0:.0f} s, traced in {t2 - t1:.0f} s, developed in {time.time() - t2:.0f} s", flush=True)
        return t2 - t1
    finally: shutil.rmtree(work, ignore_errors=True)


def schedule(P):
    i = lambda v: f"{v / 25.4:.4f} in"
    return f"""title: path traced roof
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


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("set"); ap.add_argument("--out", required=True)
    ap.add_argument("--jobs", type=int, default=1, help="photos at a time"); ap.add_argument("--threads", type=int, default=1, help="threads of each")
    ap.add_argument("--only", default="", help="these photos only"); ap.add_argument("--scale", type=float, default=1., help="of the picture's side, for looking")
    ap.add_argument("--truth", action="store_true", help="write the truth of the photos in DIR anew, make no photo")
    ap.add_argument("--samples", type=int, default=8, help="rays a pixel"); ap.add_argument("--bounces", type=int, default=0, help="of light between surfaces"); ap.add_argument("--keep", action="store_true", help="keep the traced light in DIR/work")
    a = ap.parse_args()
    with open(a.set) as fh: spec = json.load(fh)
    rows = [q for q in photos(spec) if not a.only or q["id"] in a.only.split(",")]
    if not rows: ap.error(f"no photo {a.only} in {a.set}")
    failed = 0
    with ThreadPoolExecutor(a.jobs) as pool:
        for f in [pool.submit(one, q, spec.get("want", {}), a.out, a) for q in rows]:
            try: f.result()
            except Exception as e: failed += 1; print(e, file=sys.stderr, flush=True)
    if failed: sys.exit(f"{failed} of {len(rows)} photos failed")


if __name__ == "__main__": main()
