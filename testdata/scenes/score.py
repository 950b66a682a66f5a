#!/usr/bin/env python3
"""Scores coursegauge against rendered photos with truth.

    python3 score.py PHOTOS --bin bin/coursegauge [--out DIR] [--floors floors.json] [--messenger] [--json FILE] [--by KEY]
    python3 score.py PHOTOS --inspections DIR        (judge what is already there)

PHOTOS holds one folder a job: photos, NAME.truth.json beside each, schedule.yaml.
Each job is run as  BIN inspect JOB --schedule JOB/schedule.yaml --out OUT/JOB  and
OUT/JOB/inspection.json is compared with the truth (report/inspection has the form).
Only the standard library is needed; --messenger also needs Pillow.
Exit status 1 when a floor is missed, 2 when a job could not be run.
"""
import argparse
import glob
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile

CLEARANCE = 50.8          # joints.clearance default, mm
END_MIN, END_MAX = 19.05, 38.1  # ends.min and ends.max defaults, mm
GROSS = 3.2               # mm, an eighth of an inch: an error that a tape shows at once
K95 = 1.96
CORE = {  # figure: (floor, aim, higher is better)
    "recall": (.98, .998, 1), "precision": (.98, .995, 1),
    "above_butt_p50": (.5, .25, 0), "above_butt_p95": (1.5, .9, 0), "end_p95": (1.6, .8, 0), "lower_joint_p95": (2.5, 1.2, 0),
    "gross_above_butt": (.004, .0, 0), "gross_end": (.012, .002, 0), "gross_lower_joint": (.03, .005, 0),
    "given_above_butt": (.99, 1.0, 1), "given_end": (.92, .99, 1), "given_lower_joint": (.55, .85, 1), "head_diameter_p95": (.7, .4, 0),
    "coverage_above_butt": ((.92, .985), (.94, .97), 2), "coverage_end": ((.92, .985), (.94, .97), 2), "coverage_lower_joint": ((.92, .985), (.94, .97), 2),
    "false_clear": (.02, .005, 0), "nuisance": (.06, .02, 0), "drive_right": (.85, .95, 1), "drive_told": (.6, .85, 1), "faulty_called_flush": (.35, .10, 0),
    "measured_of_measurable": (.96, 1.0, 1), "refused_of_unmeasurable": (1.0, 1.0, 1), "refusal_reason_right": (.85, 1.0, 1),
}


def q(v, p):
    v = sorted(v)
    if not v: return None
    k = (len(v) - 1) * p
    i = int(k)
    return v[i] + (v[min(i + 1, len(v) - 1)] - v[i]) * (k - i)


def match(truth, found):
    """Pairs (truth index, found index), nearest first, within 0.7 of the head's radius or 8 px."""
    c = []
    for i, t in enumerate(truth):
        for j, f in enumerate(found):
            d = math.hypot(t["px"][0] - f["px"][0], t["px"][1] - f["px"][1])
            if d <= max(.7 * t["radius_px"], 8.0): c.append((d, i, j))
    c.sort(); a, b, out = set(), set(), []
    for d, i, j in c:
        if i not in a and j not in b: a.add(i); b.add(j); out.append((i, j))
    return out


def truly_bad(t, band):
    """Names of the placement rules that the true position breaks."""
    if t["exposed"]: return {"exposed"}
    bad = set()
    if not band[0] <= t["above_butt_mm"] <= band[1]: bad.add("height")
    if t["end_seen"] and t["end_mm"] < END_MIN: bad.add("end")
    if t.get("lower_joint_seen") and t["lower_joint_mm"] < CLEARANCE: bad.add("lower_joint")
    return bad


def deserved(t, f, tr):
    """True when a rule that is marked as broken is broken in truth, of those that truly_bad leaves out."""
    open_joints = {round(p[k], 2) for p in tr["pieces"] if p["course"] == 0 for k in ("x0_mm", "x1_mm")}
    coming = [j - tr["stagger_mm"] + n * tr["schedule"]["width"] for j in open_joints for n in (-1, 0, 1)]
    marked = {r["rule"] for r in f.get("rules", []) if r.get("result") == "suspect"}
    return ("end" in marked and t["end_seen"] and t["end_mm"] > END_MAX
            or "next_joint" in marked and min(abs(t["x_mm"] - c) for c in coming) < CLEARANCE
            or "head_size" in marked and t["diameter_mm"] < 9.525)


def new():
    return dict(tp=0, fn=0, fp=0, above=[], end=[], joint=[], dia=[], z=dict(above_butt=[], end=[], lower_joint=[]), need=dict(above_butt=0, end=0, lower_joint=0),
                got=dict(above_butt=0, end=0, lower_joint=0), bad=0, bad_clear=0, good=0, good_suspect=0, drive=0, drive_ok=0, faulty=0, faulty_flush=0, m=0, m_ok=0, u=0, u_ok=0, r_ok=0, misses=[], wrong=[])


def tally(S, name, tr, ph):
    if not tr["measurable"]:
        S["u"] += 1
        if ph and ph["status"] == "refused":
            S["u_ok"] += 1
            ok = ph["refusal"]["reason"] == tr["reason"]
            S["r_ok"] += ok
            if not ok: S["wrong"].append(f"{name}: refused as {ph['refusal']['reason']}, is {tr['reason']}")
        else: S["wrong"].append(f"{name}: not refused, is {tr['reason']}")
        return
    S["m"] += 1
    if not ph or ph["status"] != "measured":
        S["wrong"].append(f"{name}: refused as {(ph or {}).get('refusal', {}).get('reason', 'no answer')}, is measurable")
        return
    S["m_ok"] += 1
    band = tr["schedule"]["band"]
    T, F = tr["fasteners"], ph.get("fasteners", [])
    pairs = match(T, F)
    used = {j for _, j in pairs}
    hit = {i: j for i, j in pairs}
    S["fp"] += sum(1 for j in range(len(F)) if j not in used)
    for j, f in enumerate(F):
        if j not in used: S["wrong"].append(f"{name}: no head at {f['px'][0]:.0f},{f['px'][1]:.0f}")
    for i, t in enumerate(T):
        if not t["visible"]: continue
        if i not in hit:
            S["fn"] += 1; S["misses"].append(f"{name} {t['id']}: missed {t['drive']} {t['finish']} at {t['px'][0]:.0f},{t['px'][1]:.0f}"); continue
        S["tp"] += 1
        f = F[hit[i]]
        bad = truly_bad(t, band)
        v = f.get("verdict")
        if bad:
            S["bad"] += 1
            if v == "clear": S["bad_clear"] += 1; S["wrong"].append(f"{name} {t['id']}: clear, but breaks {','.join(sorted(bad))}")
        elif t["drive"] == "flush":
            S["good"] += 1
            if v == "suspect" and not deserved(t, f, tr): S["good_suspect"] += 1
        dc = (f.get("drive") or {}).get("class", "unclear")
        if t["drive"] != "flush":
            S["faulty"] += 1; S["faulty_flush"] += dc == "flush"
        if dc != "unclear":
            S["drive"] += 1; S["drive_ok"] += dc == t["drive"]
        if t["exposed"]: continue
        if f.get("head_diameter"): S["dia"].append(abs(f["head_diameter"]["mm"] - t["diameter_mm"]))
        for key, seen, store in (("above_butt", True, "above"), ("end", t["end_seen"], "end"), ("lower_joint", t.get("lower_joint_seen", False), "joint")):
            if not seen: continue
            S["need"][key] += 1
            g = f.get(key)
            if not g: continue
            S["got"][key] += 1
            e = g["mm"] - t[key + "_mm"]
            S[store].append(abs(e)); S["z"][key].append(abs(e) <= K95 * g["u"])


def figures(S):
    d = lambda a, b: a / b if b else None
    out = dict(heads=S["tp"] + S["fn"], recall=d(S["tp"], S["tp"] + S["fn"]), precision=d(S["tp"], S["tp"] + S["fp"]),
               above_butt_p50=q(S["above"], .5), above_butt_p95=q(S["above"], .95), end_p95=q(S["end"], .95), lower_joint_p95=q(S["joint"], .95), head_diameter_p95=q(S["dia"], .95),
               false_clear=d(S["bad_clear"], S["bad"]), nuisance=d(S["good_suspect"], S["good"]), drive_right=d(S["drive_ok"], S["drive"]), drive_told=d(S["drive"], S["tp"]), faulty_called_flush=d(S["faulty_flush"], S["faulty"]),
               measured_of_measurable=d(S["m_ok"], S["m"]), refused_of_unmeasurable=d(S["u_ok"], S["u"]), refusal_reason_right=d(S["r_ok"], S["u"]))
    for k in ("above_butt", "end", "lower_joint"):
        v = S[{"above_butt": "above", "end": "end", "lower_joint": "joint"}[k]]
        out["gross_" + k] = d(sum(e > GROSS for e in v), len(v))
        out["given_" + k] = d(S["got"][k], S["need"][k])
        out["coverage_" + k] = d(sum(S["z"][k]), len(S["z"][k]))
    return out


def shrink(src, dst):
    """What a messenger leaves of a photo: upright, 1600 px long side, quality 75, no EXIF."""
    from PIL import Image, ImageOps
    im = ImageOps.exif_transpose(Image.open(src))
    k = 1600.0 / max(im.size)
    w, h = im.size
    im.resize((round(w * k), round(h * k)), Image.LANCZOS).save(dst, "JPEG", quality=75)
    return k


def scaled(tr, k):
    """Truth pixels of a photo shrunk by k (pixel centres at whole numbers)."""
    for f in tr["fasteners"]:
        f["px"] = [(v + .5) * k - .5 for v in f["px"]]; f["radius_px"] *= k
    return tr


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("photos"); ap.add_argument("--bin"); ap.add_argument("--inspections"); ap.add_argument("--out")
    ap.add_argument("--floors"); ap.add_argument("--messenger", action="store_true"); ap.add_argument("--json"); ap.add_argument("--by"); ap.add_argument("--verbose", action="store_true")
    ap.add_argument("--args", default="", help="more arguments for inspect")
    a = ap.parse_args()
    if not a.bin and not a.inspections: ap.error("give --bin or --inspections")
    out = a.inspections or a.out or tempfile.mkdtemp(prefix="score-")
    S, groups = new(), {}
    jobs = sorted(d for d in glob.glob(os.path.join(a.photos, "*")) if os.path.exists(os.path.join(d, "schedule.yaml")))
    if not jobs: sys.exit(f"no job folder with a schedule.yaml in {a.photos}")
    for job in jobs:
        name = os.path.basename(job); src, k = job, 1.0
        kk = {}
        if a.messenger:
            src = os.path.join(out, "small", name); os.makedirs(src, exist_ok=True)
            for p in glob.glob(os.path.join(job, "*.jpg")): kk[os.path.basename(p)] = shrink(p, os.path.join(src, os.path.basename(p)))
        dst = os.path.join(out, name)
        if a.bin:
            shutil.rmtree(dst, ignore_errors=True)
            cmd = [os.path.abspath(a.bin), "inspect", src, "--schedule", os.path.join(job, "schedule.yaml"), "--out", dst] + a.args.split()
            r = subprocess.run(cmd, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
            if not os.path.exists(os.path.join(dst, "inspection.json")):
                print(r.stdout[-2000:]); print(f"{name}: no inspection.json (exit {r.returncode})"); sys.exit(2)
        res = {os.path.basename(p["file"]): p for p in json.load(open(os.path.join(dst, "inspection.json")))["photos"]}
        for tp in sorted(glob.glob(os.path.join(job, "*.truth.json"))):
            tr = json.load(open(tp)); base = os.path.basename(tp)[:-11] + ".jpg"
            if a.messenger: tr = scaled(tr, kk[base])
            tally(S, base, tr, res.get(base))
            if a.by and tr["measurable"]:
                c = tr["conditions"].get(a.by)
                if a.by in ("tilt", "distance", "sun_elev") and c is not None:
                    w = {"tilt": 10, "distance": 400, "sun_elev": 15}[a.by]; c = f"{int(c // w * w)}+"
                tally(groups.setdefault(str(c), new()), base, tr, res.get(base))
    f = figures(S)
    floors = dict(CORE)
    if a.floors:
        for k, v in json.load(open(a.floors)).items(): floors[k] = (v, CORE[k][1], CORE[k][2])
    missed = []
    print(f"{'figure':26}{'here':>10}{'floor':>16}{'aim':>16}")
    for k, (fl, aim, up) in floors.items():
        v = f[k]
        if v is None: s, ok = "-", True
        else:
            s = f"{v:.3f}"; ok = (fl[0] <= v <= fl[1]) if up == 2 else (v >= fl - 1e-9 if up else v <= fl + 1e-9)
        if not ok: missed.append(k)
        print(f"{k:26}{s:>10}{str(fl):>16}{str(aim):>16}{'' if ok else '   MISSED'}")
    print(f"heads {f['heads']}, photos {S['m']} measurable and {S['u']} not")
    for g in sorted(groups):
        h = figures(groups[g]); n = lambda v: "-" if v is None else f"{v:.3f}"
        print(f"  {a.by}={g:12} heads {h['heads']:4} recall {n(h['recall'])} precision {n(h['precision'])} above_butt p95 {n(h['above_butt_p95'])} end p95 {n(h['end_p95'])} drive {n(h['drive_right'])}")
    if a.verbose:
        for line in S["misses"] + S["wrong"]: print("  " + line)
    if a.json: json.dump(dict(figures=f, missed=missed, misses=S["misses"], wrong=S["wrong"]), open(a.json, "w"), indent=1)
    if missed: print("missed: " + ", ".join(missed)); sys.exit(1)


if __name__ == "__main__": main()
