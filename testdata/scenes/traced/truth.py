"""The truth of a scene in the form that score.py reads, and the lines of all edges."""
import math

import cv2
import numpy as np

import surface
from describe import SQUARE, place, project


def truth(s, lines, planes, surf):
    cam, P, roof = s["camera"], s["product"], surface.Roof(s)
    w, h, o = cam["width"], cam["height"], cam["orientation"]
    E, H = P["exposure"], P["height"]

    def up(q):                                   # sensor pixels to those of the upright picture
        x, y = q
        return {1: (x, y), 3: (w - 1 - x, h - 1 - y), 6: (h - 1 - y, x), 8: (y, w - 1 - x)}[o]

    def px(pts): return [[round(float(v), 2) for v in up(q)] for q in project(cam, pts)]

    W2, H2 = (w, h) if o in (1, 3) else (h, w)
    inside = lambda q, m=0: m <= q[0] < W2 - m and m <= q[1] < H2 - m
    outlines = []
    for c, k in zip(s["cards"], planes):
        a, b = SQUARE * 5 * c["scale"] + c["rim"][0], SQUARE * 3.5 * c["scale"] + c["rim"][1]
        outlines.append(np.array(px(surface.card_face(c, k, np.array([-a, a, a, -a]), np.array([-b, -b, b, b]))), np.float32))
    covered = lambda q: any(cv2.pointPolygonTest(c, (float(q[0]), float(q[1])), True) > -3 for c in outlines)
    seen = lambda q, m: inside(q, m) and not covered(q)

    below = [i for i, p in enumerate(s["pieces"]) if p["course"] == -1]
    joints = []                                  # (x at the middle of what is seen, slope of the joint, seen)
    for a, b in zip(below, below[1:]):
        p, q = s["pieces"][a], s["pieces"][b]
        at = lambda v: (place(p, E, p["width"], v)[0] + place(q, E, 0., v)[0]) / 2
        pts = [(at(v), -E + v) for v in (E - 20, E / 2, 20)]
        ok = sum(seen(z, 4) for z in px([[x, y, float(roof.height(x + 4, y)[0])] for x, y in pts])) >= 2
        joints.append((at(E / 2), (at(E) - at(0)) / E, ok))
    fasteners = []
    for n, f in enumerate(s["fasteners"]):
        top = surf[n] + f["rise"]
        q = px([[f["x"], f["y"], top]])[0]
        a = np.linspace(0, 2 * math.pi, 17)[:-1]
        rim = px(np.stack([f["x"] + f["dia"] / 2 * np.cos(a), f["y"] + f["dia"] / 2 * np.sin(a), top + 0 * a], 1))
        rpx = float(np.mean(np.hypot(*(np.array(rim) - q).T)))
        d = dict(id=f"t{n + 1}", px=q, radius_px=round(rpx, 2), x_mm=round(f["x"], 2), y_mm=round(f["y"], 2), diameter_mm=round(f["dia"], 2), drive=f["drive"], finish=f["finish"],
                 rise_mm=round(f["rise"], 2), tilt_deg=round(f["tilt"], 1), exposed=f["exposed"], visible=bool(inside(q, rpx + 2) and not covered(q)))
        if not f["exposed"]:
            p = s["pieces"][f["piece"]]
            left, right = f["u"], p["width"] - f["u"]
            d["above_butt_mm"], d["left_end_mm"], d["right_end_mm"], d["end_mm"] = round(f["v"], 2), round(left, 2), round(right, 2), round(min(left, right), 2)
            e = 0. if left < right else p["width"]
            pts = [place(p, E, e, v) for v in (30., f["v"], H - 30.)]
            d["end_seen"] = bool(sum(seen(z, 6) for z in px([[x, y, float(roof.bare(f["piece"], np.array(x), np.array(y)))] for x, y in pts])) >= 2)
            if joints:
                at = lambda j: j[0] + j[1] * (f["y"] + E / 2)               # the joint carried up to the head
                near = min(joints, key=lambda j: abs(at(j) - f["x"]))
                d["lower_joint_mm"], d["lower_joint_seen"] = round(abs(at(near) - f["x"]), 2), bool(near[2])
            d["piece"] = f["piece"]
        fasteners.append(d)
    pieces = []
    for i, p in enumerate(s["pieces"]):
        if p["course"] not in (0, -1): continue
        ends = [place(p, E, u, 0.) for u in (0., p["width"])]
        q = px([[x, y, float(roof.bare(i, np.array(x), np.array(y)))] for x, y in ends])
        if not (inside(q[0]) or inside(q[1]) or ends[0][0] < 0 < ends[1][0]): continue
        pieces.append(dict(piece=i, course=p["course"], x0_mm=round(ends[0][0], 2), x1_mm=round(ends[1][0], 2), width_mm=round(p["width"], 2), cut_left=p["cut_left"], cut_right=p["cut_right"], left_px=q[0], right_px=q[1]))
    cards = []
    for c, k in zip(s["cards"], planes):
        u, v = np.meshgrid((np.arange(1, 10) - 5) * SQUARE * c["scale"], (3.5 - np.arange(1, 7)) * SQUARE * c["scale"])
        cards.append(dict(number=c["number"], plane=[float(x) for x in k], corners_px=px(surface.card_face(c, k, u.ravel(), v.ravel()))))
    L, K = s["light"], s["look"]
    lines = {k: [{n: (np.round(np.asarray(t, float), 2).tolist() if n in ("pts", "left", "right") else t) for n, t in q.items()} for q in v] for k, v in lines.items()}
    return dict(format=1, seed=s["seed"], measurable=s["flaw"] is None, reason=s["flaw"], product=s["product_name"], schedule=P,
                conditions=dict(palette=s["palette"], print=K["printing"], finish=s["fasteners"][0]["finish"] if s["fasteners"] else "none", light=L["kind"], shaded=L["shade"] is not None, shade=L["shade"], family=P["family"],
                                tilt=round(cam["tilt"], 1), distance=round(cam["distance"]), sun_elev=round(L["elev"]), rake=s["rake"]["side"], exif=s["phone"]["exif"], underlay=s["underlay"]["kind"], phone=cam["phone"],
                                thickness=round(s["roof"]["thickness"], 2), bridge=round(s["roof"]["bridge"]), wet=K["wet"] > 0, dust=K["dust"] > 0),
                stagger_mm=s["stagger"], rake_x_mm=s["rake"]["x"], card=cards, lower_joints_mm=[round(j[0], 2) for j in joints if j[2]], fasteners=fasteners, pieces=pieces, lines=lines,
                camera=dict(K=[cam["f"], cam["cx"], cam["cy"]], dist=[cam["k1"], cam["k2"], cam["p1"], cam["p2"]], width=w, height=h, orientation=o, R=cam["R"], centre=cam["centre"], f35=cam["f"] * 43.2666 / math.hypot(w, h)))
