"""Runs the height-map maker's three slow kernels on an NVIDIA GPU (make.py --fast fast.py).

The kernels are not written again: their source is read, the two outer loops are spread over the
GPU's threads, and the arrays that they made are handed in. replace(render) puts them in place.
"""
import inspect
import math
import re
import textwrap

import numpy as np
from numba import cuda

for old, new in (("row_stack", "vstack"), ("in1d", "isin"), ("trapz", "trapezoid")):
    if not hasattr(np, old): setattr(np, old, getattr(np, new))     # numba asks for names that the newest numpy dropped


def kernel(f, helpers, made, inner):
    """A GPU kernel from a numba function: made are the lines that make its arrays (dropped, their names become
    the first arguments), inner is the loop over columns."""
    src = textwrap.dedent(inspect.getsource(f.py_func))
    head = src.index("def ")
    src = src[head:]
    names = []
    for line in made:
        if line not in src: raise ValueError(f"{f.py_func.__name__}: {line!r} is not there any more")
        src = src.replace(line, "pass"); names.append(line.split("=")[0].strip())
    src = re.sub(r"def (\w+)\(", lambda m: f"def {m[1]}({', '.join(names)}, ", src, count=1)
    src = re.sub(r"for j in prange\((\w+)\)", r"for j in range(cuda.blockIdx.y * cuda.blockDim.y + cuda.threadIdx.y, \1, cuda.gridDim.y * cuda.blockDim.y)", src)
    if inner not in src: raise ValueError(f"{f.py_func.__name__}: {inner!r} is not there any more")
    n = inner.split("range(")[1].rstrip("):")
    src = src.replace(inner, f"for i in range(cuda.blockIdx.x * cuda.blockDim.x + cuda.threadIdx.x, {n}, cuda.gridDim.x * cuda.blockDim.x):")
    src = re.sub(r"\n    return .*\n?$", "\n", src)
    scope = dict(math=math, np=np, cuda=cuda, **helpers)
    exec(src, scope)
    return cuda.jit(scope[f.py_func.__name__])


def replace(render):
    surface, camera = render.surface, render.cam_mod
    h = cuda.jit(device=True)(surface._h.py_func)
    scope = dict(math=math, _h=h)
    exec(textwrap.dedent(inspect.getsource(surface._noise.py_func)).split("\n", 1)[1], scope)
    help_ = dict(_h=h, _noise=cuda.jit(device=True)(scope["_noise"]))
    roof = kernel(surface.roof, help_, ["ht = np.zeros((ny, nx), np.float32)", "col = np.zeros((ny, nx, 3), np.float32)", "gloss = np.zeros((ny, nx), np.float32)"], "for i in range(nx):")
    shade = kernel(surface.shade, help_, ["out = np.empty((ny, nx, 3), np.float32)"], "for i in range(nx):")
    expose = kernel(camera.expose, help_, ["out = np.zeros((H, W, 3), np.float32)"], "for i in range(W):")

    def run(k, outs, args):
        on = [cuda.to_device(np.ascontiguousarray(a)) if isinstance(a, np.ndarray) else a for a in args]
        dev = [cuda.to_device(o) for o in outs]
        rows, cols = outs[0].shape[:2]
        k[((cols + 31) // 32, (rows + 3) // 4), (32, 4)](*dev, *on)
        return [d.copy_to_host() for d in dev]

    def roof_(x0, y0, step, nx, ny, *rest): return tuple(run(roof, [np.zeros((ny, nx), np.float32), np.zeros((ny, nx, 3), np.float32), np.zeros((ny, nx), np.float32)], (x0, y0, step, nx, ny, *rest)))
    def shade_(ht, *rest): return run(shade, [np.empty((*ht.shape, 3), np.float32)], (ht, *rest))[0]
    def expose_(*a): return run(expose, [np.zeros((int(a[-2] * a[-1]), int(a[-3] * a[-1]), 3), np.float32)], a)[0]
    render.surface.roof, render.surface.shade, render.cam_mod.expose = roof_, shade_, expose_
