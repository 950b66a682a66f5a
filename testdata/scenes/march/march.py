"""Packs a scene for march.cpp and renders it.

The library is built where it is used: with nvcc for an NVIDIA GPU when there is one,
with g++ for the processor otherwise (MARCH_CPU=1 asks for the latter).
Arrays are C-ordered; lengths are millimetres in the roof frame, colours linear light.
"""
import ctypes as C
import os
import shutil
import subprocess
import tempfile

import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
I, F, P = C.c_int, C.c_float, C.c_void_p
GRANULES, FELT, METAL, GROUND, CARD, HEAD, OBJECT = range(7)
BLOB, DROP, CHIP, LEAF, CAP, ROD, FASTENER = range(7)
PIECE, SLOT, OBJECT_N, CELL_N, DECAL_N, CARD_N, MARGIN = 10, 5, 20, 6, 12, 16, 30.0
ARRAYS = ["course_first", "piece", "slot_first", "slot", "bottom", "base", "object", "cell", "decal", "atlas", "card", "page", "tone_map"]


class Scene(C.Structure):
    """Struct Scene of march.cpp, field by field."""
    _fields_ = [(n, P) for n in ARRAYS] + [
        *((n, F) for n in ("E", "H", "lift", "lap", "cut", "rounding", "rough", "second_edge")),
        *((n, I) for n in ("laminated", "courses", "bh", "gw", "gh")), ("gx0", F), ("gy0", F), ("gp", F),
        ("ow", I), ("oh", I), *((n, F) for n in ("ox0", "oy0", "op", "zmax", "zmin")),
        ("rake", I), *((n, F) for n in ("rake_x", "deck_x", "metal", "metal_top", "ground")),
        *((n, I) for n in ("underlay", "decals", "cards", "page_w", "page_h", "atlas_w", "atlas_h", "seed")),
        ("pal", F * 16), ("tone", F * 24), ("grain", F), ("grain_bump", F), ("grain_var", F), ("relief", F), ("wall", F * 3), ("wall_wear", F),
        ("lap_tone", F * 3), ("lap_rough", F), ("under", F * 3), ("under2", F * 3), ("metal_col", F * 3), ("ground_col", F * 3), ("ground2", F * 3), ("ground_scale", F),
        ("printing", I), ("band_lo", F), ("band_hi", F), ("print_w", F), ("print_col", F * 3), ("print_wear", F), ("print_period", F), ("print_duty", F),
        ("strip_lo", F), ("strip_hi", F), ("strip_col", F * 3), ("strip_alpha", F), ("seal_y", F), ("seal_w", F), ("seal_period", F), ("seal_duty", F),
        ("film_lo", F), ("film_hi", F), ("film_alpha", F), ("shadow_y", F), ("shadow_w", F), ("shadow_depth", F),
        ("dirt", F), ("wet", F), ("wet_scale", F), ("dust", F), ("dust_col", F * 3),
        ("sun", F * 3), ("sdir", F * 3), ("sun_radius", F), ("sky", F * 3), ("zenith", F), ("bounce", F), ("flash", I), ("flash_at", F * 3),
        ("gobo", I), ("gobo_a", F * 4), ("gobo_b", F * 4), ("gobo_scale", F), ("gobo_cut", F), ("gobo_soft", F),
        ("R", F * 9), ("c", F * 3), *((n, F) for n in ("f", "cx", "cy", "k1", "k2", "p1", "p2")), ("w", I), ("h", I), ("spp", I),
        ("blur", F), ("motion_x", F), ("motion_y", F), ("gain", F * 3), *((n, F) for n in ("vignette", "noise", "shoulder", "contrast", "saturation", "sharpen", "sharpen_radius", "black")),
        ("tone_w", I), ("tone_h", I)]


class Sizes(C.Structure):
    _fields_ = [("bytes", C.c_int64 * len(ARRAYS))]


def build(where=None):
    """Path of the library, built if it is not there or older than its source."""
    src = os.path.join(HERE, "march.cpp")
    gpu = shutil.which("nvcc") and not os.environ.get("MARCH_CPU")
    lib = os.path.join(where or tempfile.gettempdir(), "march-gpu.so" if gpu else "march-cpu.so")
    if not os.path.exists(lib) or os.path.getmtime(lib) < os.path.getmtime(src):
        part = f"{lib}.{os.getpid()}"
        cmd = ["nvcc", "-x", "cu", "-O3", "-arch=native", "--use_fast_math", "-Xcompiler", "-fPIC", "-shared"] if gpu else ["g++", "-O3", "-march=native", "-ffast-math", "-fopenmp", "-shared", "-fPIC"]
        subprocess.run(cmd + [src, "-o", part], check=True)
        os.replace(part, lib)
    return lib


def load(where=None):
    lib = C.CDLL(build(where))
    if lib.march_scene_size() != C.sizeof(Scene): raise RuntimeError(f"march.cpp has {lib.march_scene_size()} bytes a scene, march.py {C.sizeof(Scene)}")
    return lib


class Packed:
    """A scene with its arrays, alive as long as this object."""

    def __init__(self, lib):
        self.lib, self.s, self.arrays = lib, Scene(), {}
        for n in ARRAYS: self.put(n, np.zeros(8, np.float32))

    def put(self, name, a):
        self.arrays[name] = a = np.ascontiguousarray(a)
        setattr(self.s, name, a.ctypes.data)

    def set(self, **kw):
        for n, v in kw.items():
            cur = getattr(self.s, n)
            if isinstance(cur, C.Array): cur[:len(v)] = [float(x) for x in v]
            else: setattr(self.s, n, int(v) if isinstance(cur, int) else float(v))

    def _points(self, x, y):
        x, y = np.broadcast_arrays(np.asarray(x, np.float32), np.asarray(y, np.float32))
        return x.shape, np.ascontiguousarray(np.stack([x.ravel(), y.ravel()], 1)), np.empty(x.size, np.float32)

    def heights(self, x, y):
        """Of the bare roof."""
        shape, xy, z = self._points(x, y)
        self.lib.march_heights(C.byref(self.s), xy.ctypes.data_as(P), z.ctypes.data_as(P), len(z))
        return z.reshape(shape)

    def course(self, k, x, y):
        """Of the top of the k-th course below the open one; NaN where it does not lie."""
        shape, xy, z = self._points(x, y)
        self.lib.march_course(C.byref(self.s), k, xy.ctypes.data_as(P), z.ctypes.data_as(P), len(z))
        return np.where(z < -1e8, np.nan, z).reshape(shape)

    def drape(self, bridge):
        b = np.zeros((self.s.courses, self.s.bh, self.s.gw), np.float32)
        self.put("bottom", b)
        self.lib.march_drape(C.byref(self.s), self.arrays["bottom"].ctypes.data_as(P), F(bridge))

    def render(self, linear=False):
        """(h, w, 3): linear light, or the phone's picture as BGR bytes."""
        sizes = Sizes()
        for k, n in enumerate(ARRAYS): sizes.bytes[k] = self.arrays[n].nbytes
        out = np.empty((self.s.h, self.s.w, 3), np.float32 if linear else np.uint8)
        p = out.ctypes.data_as(P)
        if self.lib.march_render(C.byref(self.s), C.byref(sizes), p if linear else None, None if linear else p): raise RuntimeError("the GPU could not render the scene")
        return out
