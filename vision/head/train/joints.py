"""Closer looks at places where two pieces may meet: patches with what is true of them.

A patch is a view at 2 px/mm, 64 mm wide and 128 mm high, cut with a margin for
shifts in training. On the open course it shows the lap, above the exposure; on
the courses below their exposed part.
"""
import math

import cv2
import numpy as np

from views import View, project, stack_height

PPM, WIDE, HIGH, MARGIN = 2.0, 128, 256, 8      # px/mm; px, without the margin; px a side
COURSES = range(0, -4, -1)
LO, HI = 192, 64                                # rows at which the ends of the pieces are told
APART = 13.5                                    # mm from every true joint of the course: it is none
SLOT, ELSEWHERE = 1, 2                          # what a patch without a joint shows


def candidates(s, c, r):
    """Places of one course: (x, y of the butt, the pieces that meet there or None, what it is)."""
    P = s["product"]; yb = c * P["exposure"] + s["lift"]
    row = sorted(((p, s["slots"][i], i) for i, p in enumerate(s["pieces"]) if p[0] == c), key=lambda q: q[0][1])
    if not row: return []
    butt = lambda p, x: yb + p[3] + p[4] * (x - p[1])
    meet = [(a, b, m, n) for (a, _, m), (b, _, n) in zip(row, row[1:]) if b[1] - a[2] <= 12]
    out = [((a[2] + b[1]) / 2, (butt(a, a[2]) + butt(b, b[1])) / 2, (m, n), 0) for a, b, m, n in meet for _ in range(2)]
    slots = []
    for p, q, _ in row:
        for x0, x1, _ in q: slots += [(x, butt(p, x), None, SLOT) for x in ([x0, x1] if P["family"] == "laminated" else [(x0 + x1) / 2]) if p[1] < x < p[2]]
    slots = [q for q in slots if abs(q[0]) < 1300]
    if P["family"] == "laminated": slots = [slots[k] for k in r.permutation(len(slots))[:8]]
    some = [(x, yb, None, ELSEWHERE) for x in r.uniform(max(row[0][0][1] + 15, -1000), min(row[-1][0][2] - 15, 1000), 2)]
    keep = lambda x: s["rake_x"] is None or abs(x - s["rake_x"]) > 20
    return [q for q in out + slots + some if keep(q[0])]


def cut(s, photo, pose, cards, k1, r):
    """(n, HIGH + 2 MARGIN, WIDE + 2 MARGIN, 3) patches and (n, 14) numbers: the line of sight's tangents right and
    down, the logarithm of the photo's px per mm, laminated, lower course, joint, the ends of the left and the right
    piece at LO and HI (mm right of the middle), course, place (mm along it), what it shows, the product's width."""
    P, cam = s["product"], s["camera"]
    R, c = pose
    mid = (WIDE - 1) / 2 + MARGIN
    patches, truth = [], []
    for course in COURSES:
        places = candidates(s, course, r)
        joints = [q for q in places if q[2]]
        foot = P["exposure"] + 10 if course == 0 else -8.0          # of the patch, over the butt
        z = float(stack_height(P, foot + HIGH / PPM / 2))
        for x, y, pair, what in places:
            ax, ay = x + r.uniform(-6, 6), y + foot + r.uniform(-3, 3)
            turn = math.radians(r.normal(0, .5))
            cs, sn = math.cos(turn), math.sin(turn)
            u, v = cs * ax + sn * ay, -sn * ax + cs * ay
            view = View(cam, pose, PPM, u - mid / PPM, v + (HIGH - .5 + MARGIN) / PPM, turn, (z + r.normal(0, .8), 0, 0), k1)

            def at(px, py, pz): return view.from_sensor(project(cam, R, c, np.stack(np.broadcast_arrays(px, py, pz), -1).astype(float)))
            if pair is None and any(abs(at(q[0], ay + 64, z)[0] - mid) / PPM < APART for q in joints): continue
            centre = view.sensor(np.array([mid, mid + PPM]), np.array([HIGH / 2 + MARGIN] * 2))
            if not (0 < centre[0, 0] < cam["width"] and 0 < centre[0, 1] < cam["height"]): continue
            pic, ok = view.picture(photo, WIDE + 2 * MARGIN, HIGH + 2 * MARGIN)
            ok = ok.astype(np.uint8)
            for k in cards: cv2.fillPoly(ok, [np.round(at(*np.array([(a, b, 8.0) for a, b in k["outline"]]).T)).astype(np.int32)], 0)
            ok = ok[MARGIN:-MARGIN, MARGIN:-MARGIN]
            if ok.mean() < .6 or ok[:, WIDE // 2 - 16:WIDE // 2 + 16].mean() < .6: continue
            d = (c - [ax, ay + 64, z]) / (c[2] - z)
            t = np.zeros(14, np.float32)
            t[:5] = d[0], -d[1], math.log(np.linalg.norm(np.diff(centre, axis=0))), P["family"] == "laminated", course < 0
            t[10:] = course, x, what, P["width"]
            if pair:
                t[5] = 1
                for k, (n, xe, inside) in enumerate(((pair[0], s["pieces"][pair[0]][2], -1), (pair[1], s["pieces"][pair[1]][1], 1))):
                    ys = np.linspace(ay + 140, ay - 12, 39)
                    q = at(xe, ys, s["surface"](n, xe + inside, ys))
                    t[6 + 2 * k:8 + 2 * k] = (np.interp([LO + MARGIN, HI + MARGIN], q[:, 1], q[:, 0]) - mid) / PPM
            patches.append(pic); truth.append(t)
    n = len(patches)
    return (np.stack(patches) if n else np.zeros((0, HIGH + 2 * MARGIN, WIDE + 2 * MARGIN, 3), np.uint8)), np.array(truth, np.float32).reshape(n, 14)
