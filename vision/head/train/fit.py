"""What the three networks' training has in common."""
import math
import time

import numpy as np
import torch

DEV = "cuda" if torch.cuda.is_available() else "cpu"


def laplace(err, log_b):
    log_b = log_b.clamp(-4, 4)
    return err.abs() * torch.exp(-log_b) + log_b


def fit(net, steps, lr, step, save, deadline=math.inf):
    """Trains for a number of steps; step() gives the loss of a new batch. What is kept is a running average of the
    weights, saved now and then. A deadline (time.time()) ends it sooner: the answer, the steps done, tells."""
    opt = torch.optim.AdamW(net.parameters(), lr=lr, weight_decay=1e-4, **({"fused": True} if DEV == "cuda" else {}))
    t0 = time.time()
    now = [v for v in net.state_dict().values() if v.dtype.is_floating_point]
    avg = [v.detach().clone() for v in now]

    def swap():
        with torch.no_grad():
            for a, b in zip(avg, now): t = b.clone(); b.copy_(a); a.copy_(t)
    for k in range(steps):
        for g in opt.param_groups: g["lr"] = lr * min(1, (k + 1) / 200) * (.5 + .5 * math.cos(math.pi * k / steps)) + 1e-6
        loss = step()
        opt.zero_grad(set_to_none=True); loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0); opt.step()
        with torch.no_grad(): torch._foreach_lerp_(avg, now, max(.0015, 9 / (10 + k))) if DEV == "cuda" else [a.lerp_(b, max(.0015, 9 / (10 + k))) for a, b in zip(avg, now)]
        if (k + 1) % 1000 == 0: print(f"  step {k + 1} {time.time() - t0:.0f} s loss {loss.item():.4f}", flush=True)
        if (k + 1) % 4000 == 0: swap(); save(net); swap()
        if time.time() > deadline: break
    swap()
    save(net)
    print(f"  {k + 1} of {steps} steps", flush=True)
    return k + 1


def q(v, p): return float(np.quantile(np.asarray(v), p)) if len(v) else float("nan")
