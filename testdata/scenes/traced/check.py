"""Checks of the scene maker that need no Blender:  python3 check.py"""
import glob
import json
import math
import os
import sys
import unittest

import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)
import build
import describe
import develop
import make
import surface
import truth

text = lambda seed, want=None: json.dumps(describe.describe(seed, want), sort_keys=True)


class Describe(unittest.TestCase):
    def test_same_seed_same_scene(self):
        for seed in (1, 77, 410001):
            for want in (None, {"flaw": "two_cards"}, {"product": "lam-inch", "rake": "left"}):
                self.assertEqual(text(seed, want), text(seed, want))
        self.assertNotEqual(text(1), text(2))

    def test_a_wish_moves_no_other_choice(self):
        a = describe.describe(5)
        b = describe.describe(5, {"film": not a["look"]["film"]})
        self.assertNotEqual(a["look"].pop("film"), b["look"].pop("film"))
        self.assertEqual(a, b)

    def test_unknown_wish_is_refused(self):
        with self.assertRaisesRegex(ValueError, "unknown wish: colour"): describe.describe(1, {"colour": 1})
        with self.assertRaisesRegex(ValueError, "unknown flaw"): describe.describe(1, {"flaw": "rain"})

    def test_sets(self):
        for path in glob.glob(os.path.join(HERE, "sets", "*.json")):
            with open(path) as fh: spec = json.load(fh)
            rows = make.photos(spec)
            self.assertEqual(len({p["id"] for p in rows}), len(rows))
            for p in rows[:40]:
                s = describe.describe(p["seed"], {**spec.get("want", {}), **p.get("want", {})})
                if s["flaw"] in (None, "blurred", "exposure", "card_bent", "two_cards", "no_open_course"): self.assertTrue(describe.framed(s["camera"], s), p["id"])
                self.assertEqual(p["seed"] > 500000, os.path.basename(path).startswith("train"), "seeds up to 500000 are for judging and checking")


class Geometry(unittest.TestCase):
    def flat(self, **want):
        """A scene whose sheets lie as counted: no waves, lift, gap, sag or scatter of thickness."""
        s = describe.describe(3, {"flaw": None, **want})
        s["roof"].update(deck_amplitude=0., sag=0., bridge=45.)
        for p in s["pieces"]: p.update(ply=2.5, backer=2.5 if s["product"]["family"] == "laminated" else 0., lift=[0., 0.], gap_under=0., dy=0., rot=0.)
        surface_ripple, surface.ripple = surface.ripple, lambda *a: 0.
        self.addCleanup(lambda: setattr(surface, "ripple", surface_ripple))
        return s

    def test_plies_are_counted(self):
        """Height 304.8 and exposure 127: at the butt two sheets lie below (127 and 254 are short of 304.8, 381 is not);
        150 mm up one full sheet (277) and what is left of the bridge over the next (404: nothing)."""
        s = self.flat(product="tab-inch", rake="none")
        roof = surface.Roof(s)
        i = next(i for i, p in enumerate(s["pieces"]) if p["course"] == 0 and p["x0"] < 0 < p["x0"] + p["width"])
        for y, plies in ((1., 2), (40., 2), (150., 1), (176., 1), (250., 0)):
            self.assertAlmostEqual(float(roof.bottom(i, np.array(0.), np.array(y))) - surface.FELT, 2.5 * plies, places=6)
        self.assertAlmostEqual(float(roof.bottom(i, np.array(0.), np.array(50.8 + 22.5))) - surface.FELT, 2.5 * 1.5, places=6)        # half way over the bridge

    def test_lines_lie_on_the_outline(self):
        s = describe.describe(11, {"product": "lam-inch"})
        _, lines, _, _, _ = build.build(s)
        self.assertTrue(lines["butt"] and lines["top"] and lines["slots"])
        for q in lines["butt"]:
            _, v = surface.local(s["pieces"][q["piece"]], s["product"]["exposure"], q["pts"][:, 0], q["pts"][:, 1])
            self.assertLess(np.abs(v).max(), 2.)
        for q in lines["top"]:
            _, v = surface.local(s["pieces"][q["piece"]], s["product"]["exposure"], q["pts"][:, 0], q["pts"][:, 1])
            self.assertLess(np.abs(v - s["product"]["height"]).max(), 2.)

    def test_joints_lie_at_the_ends(self):
        """Sides of a joint lie at the ends of its pieces; of a three-tab cutout about half its 9 mm away, less the gap."""
        for product in ("lam-metric", "tab-inch"):
            s = describe.describe(11, {"product": product, "rake": "none"})
            E, cutouts = s["product"]["exposure"], 0
            _, lines, _, _, _ = build.build(s)
            self.assertTrue(any(q["course"] == 0 for q in lines["joint"]) and any(q["course"] == -1 for q in lines["joint"]))
            for q in lines["joint"]:
                for i, pts, end in zip(q["pieces"], (q["left"], q["right"]), ("width", None)):
                    p = s["pieces"][i]
                    u, v = surface.local(p, E, pts[:, 0], pts[:, 1])
                    away = (p["width"] - u) if end else u
                    self.assertLess(np.abs(away - (4.5 if q["cutout"] else 0)).max(), 5 if q["cutout"] else 1.2)
                    self.assertGreater(len(pts), 3)
                    if q["course"] < 0: self.assertLess(v.max(), E + 2)
                cutouts += q["cutout"]
            self.assertEqual(cutouts > 0, product == "tab-inch")

    def test_truth(self):
        """Ends and heights of a head against its place in the roof frame."""
        s = describe.describe(12, {"product": "tab-metric"})
        _, lines, planes, surf, _ = build.build(s)
        t = truth.truth(s, lines, planes, surf)
        json.dumps(t)
        self.assertEqual(len(t["card"][0]["corners_px"]), 54)
        for f in t["fasteners"]:
            if f["exposed"]: continue
            p = s["pieces"][f["piece"]]
            self.assertAlmostEqual(f["left_end_mm"] + f["right_end_mm"], p["width"], delta=.02)
            dx, dy = f["x_mm"] - p["x0"], f["y_mm"] - p["dy"] - p["course"] * s["product"]["exposure"]
            self.assertAlmostEqual(f["above_butt_mm"], dy * math.cos(p["rot"]) - dx * math.sin(p["rot"]), delta=.02)


class Lens(unittest.TestCase):
    def test_inverse(self):
        cam = describe.describe(4)["camera"]
        x, y = np.meshgrid(np.linspace(-.7, .7, 9), np.linspace(-.5, .5, 7))
        R = np.array(cam["R"])
        pts = np.stack([x.ravel(), y.ravel(), np.ones(x.size)], 1) @ R * 900 + cam["centre"]
        q = describe.project(cam, pts)
        u, v = develop.pinhole(cam, (q[:, 0] - cam["cx"]) / cam["f"], (q[:, 1] - cam["cy"]) / cam["f"])
        self.assertLess(np.abs(np.r_[u - x.ravel(), v - y.ravel()]).max() * cam["f"], .002)

    def test_nothing_folds_back(self):
        """A point far outside the field of view is outside the picture, whatever the lens."""
        for k1, k2 in ((-.03, -.015), (.03, -.02), (0., .01)):
            cam = {**describe.describe(4)["camera"], "k1": k1, "k2": k2}
            R = np.array(cam["R"])
            for x, y in [p for q in np.arange(1.2, 8, .1) for p in ((q, .1), (-q, 0.), (.2, q))]:
                u, v = describe.project(cam, np.array([[x, y, 1.]]) @ R * 900 + cam["centre"])[0]
                self.assertFalse(0 <= u < cam["width"] and 0 <= v < cam["height"], (k1, k2, x, y))


if __name__ == "__main__": unittest.main()
