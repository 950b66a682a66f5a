#!/usr/bin/env python3
"""Fits the weights with which the evidence for the joints of the course below is summed, and the drive shares.

    COURSEGAUGE_EVIDENCE=PHOTOS COURSEGAUGE_EVIDENCE_OUT=FILE go test ./vision -run TestEvidence -count=1 -timeout 2h
    python3 fit_limits.py FILE [FILE ...]

Each FILE holds, photo by photo, what the pipeline had for each hypothesis of where the joints below lie
(vision/evidence_test.go). A hypothesis is right when each true joint in sight has one of its joints within 12 mm. The
weights maximise the likelihood of the right hypotheses; the drive shares maximise that of the true classes. What it
prints goes into vision/course/lower.go, vision/joints.go and vision/lengths.go. Photos that judge the tool are not
for this. Only the standard library is needed.
"""
import json
import math
import sys

NEAR = 12.0             # mm
DRIVES = ["flush", "overdriven", "underdriven", "cocked"]
ON_A_ROOF = [.90, .05, .03, .02]        # shares of the classes (common practice, no source)


def project(cam, p):
    """A roof point (mm) to a pixel of the upright picture."""
    f, cx, cy = cam["K"]; k1, k2, p1, p2 = cam["dist"]
    d = [a - b for a, b in zip(p, cam["centre"])]
    q = [sum(r * v for r, v in zip(row, d)) for row in cam["R"]]
    x, y = q[0] / q[2], q[1] / q[2]
    r2 = x * x + y * y
    s = 1 + k1 * r2 + k2 * r2 * r2
    u, v = f * (x * s + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)) + cx, f * (y * s + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y) + cy
    w, h = cam["width"], cam["height"]
    return {1: (u, v), 3: (w - 1 - u, h - 1 - v), 6: (h - 1 - v, u), 8: (v, w - 1 - u)}[cam["orientation"]]


def read(paths):
    photos, drives = [], []
    for path in paths:
        for text in open(path):
            p = json.loads(text)
            t = json.load(open(p["photo"][:-4] + ".truth.json"))
            E = t["schedule"]["exposure"]
            true = [project(t["camera"], (x, -E / 2, 9.0)) for x in t["lower_joints_mm"]]
            for w in p["ways"] or []:
                w["looks"] = w["looks"] or []
                w["right"] = bool(true) and all(any(math.dist(a, b) < NEAR * p["scale"] for b in w["joints"] or []) for a in true)
            if true: photos.append(p)
            for d in p["drives"] or []:
                near = [f for f in t["fasteners"] if f["visible"] and math.dist(f["px"], d["px"]) < f["radius_px"]]
                if near: drives.append((d["drive"], DRIVES.index(near[0]["drive"])))
    return photos, drives


def weigh(p, w, v):
    """The probability of each hypothesis of a photo, and of none of them."""
    trust, even, tab, least, most, against, none, steps = v
    score = []
    for q in p["ways"] or []:
        a, b = 0.0, 0.0
        for x in q["looks"]:
            e = min(max(x, least), most) - (tab if p["tab"] else even)
            if e > 0: a += w * e
            else: b += w * e
        score.append(trust * q["wide"] + steps * q["steps"] + a + max(b, against))
    if not score: return [], 1.0
    top = max(score)
    s = [math.exp(x - top) for x in score]
    n = math.exp(-max(top, 0) - none)
    return [x / (sum(s) + n) for x in s], n / (sum(s) + n)


def loss(photos, w, v):
    out = 0.0
    for p in photos:
        got, none = weigh(p, w, v)
        right = sum(g for g, q in zip(got, p["ways"] or []) if q["right"])
        out -= math.log(max(right if any(q["right"] for q in p["ways"] or []) else none, 1e-6))
    return out / max(len(photos), 1)


def descend(f, x, steps):
    """Coordinate search."""
    x, best = list(x), f(x)
    for _ in range(40):
        moved = False
        for i in range(len(x)):
            for s in (steps[i], -steps[i]):
                y = list(x); y[i] += s
                v = f(y)
                if v < best - 1e-6: x, best, moved = y, v, True; break
        if not moved:
            steps = [s / 2 for s in steps]
            if max(steps) < .02: break
    return x, best


def main():
    photos, drives = read(sys.argv[1:])
    start = [.36, .2, 1.4, -1.5, 5., -2.1, .56, .5]
    f = lambda x: loss(photos, max(x[8], .05), x[:8]) + .01 * sum((a - b) ** 2 for a, b in zip(x, start + [.76]))
    print(f"{len(photos)} photos with joints below in sight; at the start {loss(photos, .76, start):.3f}")
    x, best = descend(f, start + [.76], [.2, .3, .3, .5, 1, 1, .5, .3, .2])
    print("wideTrust %.2f lookEven %.2f tabEven %.2f lookLeast %.2f lookMost %.2f mostAgainst %.2f noneOfThem %.2f stepTrust %.2f lookTrust %.2f" % tuple(x), f"loss {loss(photos, x[8], x[:8]):.3f}")
    for name, w, v in (("before", .76, start), ("after", x[8], x[:8])):
        rows = [(max(zip(g, p["ways"]), key=lambda q: q[0]), p["tab"]) for p in photos for g, _ in [weigh(p, w, v)] if g]
        for lo, hi in ((.0, .5), (.5, .7), (.7, .8), (.8, .86), (.86, .92), (.92, .96), (.96, 1.01)):
            r = [q["right"] for (g, q), _ in rows if lo <= g < hi]
            if r: print(f"  {name}: told {lo:.2f} to {hi:.2f}: {sum(r)} of {len(r)} right")
    if drives:
        def nll(s):
            out = 0.0
            for p, k in drives:
                z = [a * math.exp(b) for a, b in zip(p, [0] + list(s))]
                out -= math.log(max(z[k] / sum(z), 1e-6))
            return out / len(drives)
        s, best = descend(nll, [0, 0, 0], [.5, .5, .5])
        n = [sum(k == i for _, k in drives) / len(drives) for i in range(4)]
        shares = [math.exp(b) * r / max(a, 1e-3) for b, r, a in zip([0] + s, ON_A_ROOF, n)]
        print(f"{len(drives)} heads, {[round(v, 3) for v in n]} of the classes; driveShare", [round(v / shares[0], 3) for v in shares])
    else: print("no heads")


if __name__ == "__main__": main()
