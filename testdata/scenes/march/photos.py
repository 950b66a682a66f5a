#!/usr/bin/env python3
"""Makes photos with truth by the ray marcher.

    python3 photos.py SET.json --out DIR [--jobs 2] [--only ID,ID]

SET.json: {"name": ..., "photos": [{"id": ..., "seed": N, "job": ..., "product": ..., "flaw": null, "size": [w, h], "spp": rays a pixel}]}.
Writes DIR/JOB/ID.jpg with ID.truth.json beside it, and DIR/JOB/schedule.yaml once a job, in the form that
../score.py reads. What is there is not made again. On one core a photo of 7 MP takes about two minutes.
Seeds below 500000 are for photos that judge or tune; training uses those from 500000 on.
"""
import argparse
import json
import math
import os
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..", "heightmap")]
import numpy as np

RANGES = {"tilt": [2, 36], "distance": [800, 2100], "sun": [8, 76], "overcast": .3, "shade": .4, "clutter": 1.4, "noise": [.5, 2.2], "quality": [78, 95],
          "fov": [61, 77], "k1": [-.015, .032], "cards": list(range(28)), "bad": .22}


def make(row, out):
    import cv2
    import camera, draw, march, render, scene, surface
    cv2.setNumThreads(1)
    folder = os.path.join(out, row["job"])
    os.makedirs(folder, exist_ok=True)
    path = os.path.join(folder, row["id"] + ".jpg")
    if os.path.exists(path) and os.path.exists(path[:-4] + ".truth.json"): return
    r = np.random.default_rng([5119, row["seed"]])
    want = {"product": row["product"]}
    if row.get("flaw"): want["flaw"] = row["flaw"]
    s = draw.layout(scene, row["seed"], r, want, RANGES)
    cam = s["camera"]
    if row.get("size"):
        k = row["size"][0] / cam["width"]
        for n in ("f", "cx", "cy"): cam[n] *= k
        cam["width"], cam["height"] = row["size"]
    img, heads, cards = draw.shoot(march.load(), scene, surface.board_picture, camera.pose(cam), s, camera.footprint(cam), r, spp=row.get("spp", 2))
    render.write(img, s, path, "2026:06:%02d %02d:%02d:00" % (1 + row["seed"] % 28, 7 + row["seed"] % 10, row["seed"] % 60))
    with open(path[:-4] + ".truth.json", "w") as fh: json.dump(render.truth(s, heads, cards, None), fh, indent=1)
    schedule = os.path.join(folder, "schedule.yaml")
    if not os.path.exists(schedule):
        with open(schedule, "w") as fh: fh.write(render.schedule_text(s["product"]))


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("set"); ap.add_argument("--out", required=True); ap.add_argument("--jobs", type=int, default=1); ap.add_argument("--only", default="")
    a = ap.parse_args()
    rows = [q for q in json.load(open(a.set))["photos"] if not a.only or q["id"] in a.only.split(",")]
    if a.jobs > 1:
        env = dict(os.environ, OMP_NUM_THREADS="1")
        kids = [subprocess.Popen([sys.executable, os.path.abspath(__file__), a.set, "--out", a.out, "--only", ",".join(q["id"] for q in rows[k::a.jobs])], env=env) for k in range(a.jobs) if rows[k::a.jobs]]
        sys.exit(max(p.wait() for p in kids))
    for q in rows:
        t = time.time()
        make(q, a.out)
        print(q["id"], f"{time.time() - t:.0f} s", flush=True)


if __name__ == "__main__": main()
