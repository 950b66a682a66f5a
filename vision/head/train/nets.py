"""The three small networks, and their way to ONNX (no exporter needed).

CourseNet: a view at 0.8 px/mm (3, h, w) -> 20 maps at a quarter of its size.
HeadNet: a patch at 3 px/mm (6, 96, 96) -> 12 numbers. Its last three input
planes are constant: the tangents of the line of sight in the patch (right, down)
and the logarithm of the photo's pixels per millimetre.
"""
import numpy as np
import torch
from torch import nn

COURSE_OUT = ["butt", "butt_d", "butt_s", "top", "top_d", "top_s", "joint", "joint_l", "joint_r", "joint_s", "rake", "rake_d", "rake_s",
              "underlay", "open", "finished", "off", "head", "head_x", "head_y"]
HEAD_OUT = ["head", "x", "y", "xy_s", "diameter", "diameter_s", "rise", "rise_s", "flush", "overdriven", "underdriven", "cocked"]
JOINT_OUT = ["joint", "l_lo", "l_hi", "r_lo", "r_hi", "l_lo_s", "l_hi_s", "r_lo_s", "r_hi_s"]


def conv(i, o, s=1, d=1):
    return nn.Sequential(nn.Conv2d(i, o, 3, s, d, d, bias=False), nn.BatchNorm2d(o), nn.ReLU(inplace=True))


class CourseNet(nn.Module):
    """Works at an eighth of the view's size, where it is cheap; each of its last
    cells holds four of the maps' cells side by side."""

    def __init__(self, w=(32, 48, 64)):
        super().__init__()
        a, b, c = w
        first = nn.Sequential(nn.Conv2d(3, a, 6, 4, 1, bias=False), nn.BatchNorm2d(a), nn.ReLU(inplace=True))
        self.near = nn.Sequential(first, conv(a, b, 2), conv(b, b))
        self.down = conv(b, c, 2)
        self.far = nn.ModuleList([conv(c, c, 1, k) for k in (1, 2, 4, 8)])
        self.up = nn.ConvTranspose2d(c, b, 2, 2)
        self.out = nn.Sequential(conv(b, b), nn.Conv2d(b, 4 * len(COURSE_OUT), 1))

    def forward(self, x):
        e = self.near(x); m = self.down(e)
        for k in self.far: m = m + k(m)
        return nn.functional.pixel_shuffle(self.out(self.up(m) + e), 2)


class HeadNet(nn.Module):
    def __init__(self, w=(16, 24, 40, 56)):
        super().__init__()
        a, b, c, d = w
        self.body = nn.Sequential(conv(6, a, 2), conv(a, a), conv(a, b, 2), conv(b, b), conv(b, c, 2), conv(c, c), conv(c, d, 2), conv(d, d), conv(d, 32))
        self.fc1 = nn.Linear(32 * 36, 96)
        self.fc2 = nn.Linear(96, len(HEAD_OUT))

    def forward(self, x):
        return self.fc2(torch.relu(self.fc1(self.body(x).flatten(1))))


class JointNet(nn.Module):
    def __init__(self, w=(12, 16, 24, 32)):
        super().__init__()
        a, b, c, d = w
        self.body = nn.Sequential(conv(8, a, 2), conv(a, b, 2), conv(b, b), conv(b, c, 2), conv(c, c), conv(c, d, 2), conv(d, d), conv(d, c, (2, 1)))
        self.fc1 = nn.Linear(c * 64, 36)
        self.fc2 = nn.Linear(36, len(JOINT_OUT))

    def forward(self, x):
        return self.fc2(torch.relu(self.fc1(self.body(x).flatten(1))))


def from_onnx(net, path):
    """Gives net the weights of a file that save_course or save_patch wrote. The batch norms are folded in there: each is
    set on the first batch that passes (call settle with one), so that the network answers as the file does."""
    import onnx
    from onnx import numpy_helper
    kept = [torch.from_numpy(numpy_helper.to_array(t).copy()) for t in onnx.load(path).graph.initializer]
    layers = []
    for m in net.modules():
        if isinstance(m, (nn.Conv2d, nn.ConvTranspose2d, nn.Linear)): layers.append([m, None])
        elif isinstance(m, nn.BatchNorm2d): layers[-1][1] = m
    order = layers
    if isinstance(net, CourseNet):                              # the graph runs the skip's upsampling before the last block
        at = {id(m): k for k, (m, _) in enumerate(layers)}
        parts = [net.near, net.down, net.far, net.up, net.out]
        order = [layers[at[id(m)]] for p in parts for m in p.modules() if id(m) in at]
    if 2 * len(order) != len(kept): raise ValueError(f"{path}: {len(kept)} weights, {2 * len(order)} expected")
    net.to_settle = []
    for (m, bn), w, b in zip(order, kept[::2], kept[1::2]):
        if m.weight.shape != w.shape: raise ValueError(f"{path}: a layer of {tuple(w.shape)}, {tuple(m.weight.shape)} expected")
        m.weight.data = w.float().to(m.weight.device)
        if m.bias is not None: m.bias.data = b.float().to(m.weight.device)
        if bn is not None: net.to_settle.append((bn, b.float().to(m.weight.device)))
    return net


def settle(net, batch):
    """Sets the batch norms of a network from from_onnx on one batch."""
    def set_on(bn, b):
        def hook(_, ins):
            v, mean = torch.var_mean(ins[0].float(), (0, 2, 3), unbiased=False)
            bn.running_mean.data, bn.running_var.data = mean.clone(), v.clone()
            bn.weight.data, bn.bias.data = torch.sqrt(v + bn.eps), mean + b
        return bn.register_forward_pre_hook(hook)
    hooks = [set_on(bn, b) for bn, b in net.to_settle]
    net.eval()
    with torch.no_grad(): net(batch)
    for h in hooks: h.remove()
    net.train()
    del net.to_settle


class Onnx:
    """Writes the few layers used here as an opset 11 graph, batch norm folded into the convolutions."""

    def __init__(self, name, shape):
        self.nodes, self.init, self.n, self.name, self.shape = [], [], 0, name, shape

    def op(self, kind, ins, **at):
        from onnx import helper
        self.n += 1
        out = f"t{self.n}"
        self.nodes.append(helper.make_node(kind, ins, [out], **at))
        return out

    def const(self, a):
        from onnx import numpy_helper
        self.n += 1
        name = f"c{self.n}"
        self.init.append(numpy_helper.from_array(np.ascontiguousarray(a), name))
        return name

    def layer(self, m, x):
        if isinstance(m, nn.Sequential):
            k = list(m)
            if len(k) == 3 and isinstance(k[1], nn.BatchNorm2d):
                c, bn = k[0], k[1]
                g = (bn.weight / torch.sqrt(bn.running_var + bn.eps)).detach()
                w = (c.weight * g[:, None, None, None]).detach().float().cpu().numpy(); b = (bn.bias - bn.running_mean * g).detach().float().cpu().numpy()
                return self.op("Relu", [self.conv(c, w, b, x)])
            for q in k: x = self.layer(q, x)
            return x
        f = lambda t: t.detach().float().cpu().numpy()
        if isinstance(m, nn.ConvTranspose2d): return self.op("ConvTranspose", [x, self.const(f(m.weight)), self.const(f(m.bias))], kernel_shape=[2, 2], strides=[2, 2], pads=[0, 0, 0, 0])
        if isinstance(m, nn.Conv2d): return self.conv(m, f(m.weight), f(m.bias), x)
        if isinstance(m, nn.Linear): return self.op("Gemm", [x, self.const(f(m.weight)), self.const(f(m.bias))], transB=1)
        raise TypeError(m)

    def conv(self, c, w, b, x):
        p, d = c.padding[0], c.dilation[0]
        return self.op("Conv", [x, self.const(w), self.const(b)], kernel_shape=list(c.kernel_size), strides=list(c.stride), pads=[p] * 4, dilations=[d, d])

    def save(self, path, out, out_shape):
        import onnx
        from onnx import helper, TensorProto
        g = helper.make_graph(self.nodes, self.name, [helper.make_tensor_value_info("in", TensorProto.FLOAT, self.shape)],
                              [helper.make_tensor_value_info(out, TensorProto.FLOAT, out_shape)], self.init)
        m = helper.make_model(g, opset_imports=[helper.make_opsetid("", 11)], producer_name="coursegauge")
        m.ir_version = 6
        onnx.checker.check_model(m)
        onnx.save(m, path)


def save_course(net, path, h=384, w=512):
    net.eval(); g = Onnx("course", [1, 3, h, w])
    e = g.layer(net.near, "in"); m = g.layer(net.down, e)
    for k in net.far: m = g.op("Add", [m, g.layer(k, m)])
    m = g.layer(net.out, g.op("Add", [g.layer(net.up, m), e]))
    g.save(path, m, [1, 4 * len(COURSE_OUT), h // 8, w // 8])     # the reader takes the four cells apart


def save_patch(net, path, name, shape):
    """HeadNet or JointNet, for patches of a shape (planes, rows, columns)."""
    net.eval(); g = Onnx(name, [1, *shape])
    x = g.op("Flatten", [g.layer(net.body, "in")], axis=1)
    g.save(path, g.layer(net.fc2, g.op("Relu", [g.layer(net.fc1, x)])), [1, net.fc2.out_features])
