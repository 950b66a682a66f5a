"""Traces one scene inside Blender:  blender -b -t 1 -P trace.py -- SCENE.npz SCENE.json OUT.npy

Reads the meshes and pictures that make.py wrote and writes the sensor's linear
light as a NumPy file, float16, row 0 at the top, with `margin` around it.
"""
import json
import math
import sys

import bpy
import numpy as np


def main(npz, js, out):
    data, s = np.load(npz), json.load(open(js))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    names = sorted({k.split("|")[1] for k in data.files if k.startswith("mesh|")})
    pictures = {k.split("|")[1]: picture(k.split("|")[1], data[k]) for k in data.files if k.startswith("picture|")}
    for n in names:
        ob = load(n, {k.split("|")[2]: data[k] for k in data.files if k.startswith(f"mesh|{n}|")})
        if n == "shade": ob.visible_camera = ob.visible_glossy = False
        ob.data.materials.append(material(n, s, pictures))
    light(s)
    camera(s)
    render(s, out)


def picture(name, a):
    im = bpy.data.images.new(name, a.shape[1], a.shape[0], alpha=True, float_buffer=True)
    im.colorspace_settings.name = "Non-Color"
    im.alpha_mode = "CHANNEL_PACKED"
    im.pixels.foreach_set(a.astype(np.float32).ravel())
    im.update()
    return im


def load(name, m):
    me = bpy.data.meshes.new(name)
    f, p = m["faces"], m["points"]
    tri = (f[:, 2] == f[:, 3]) | (f[:, 0] == f[:, 1]) | (f[:, 1] == f[:, 2]) | (f[:, 3] == f[:, 0])
    loops = []
    f3 = f[tri]
    if len(f3):
        fix = np.array([list(dict.fromkeys(q)) for q in f3.tolist() if len(set(q)) == 3], np.int32).reshape(-1, 3)
    else: fix = np.zeros((0, 3), np.int32)
    f4 = f[~tri]
    loops = np.concatenate([f4.ravel(), fix.ravel()]).astype(np.int32)
    total = np.concatenate([np.full(len(f4), 4), np.full(len(fix), 3)]).astype(np.int32)
    start = np.concatenate([[0], np.cumsum(total)[:-1]]).astype(np.int32)
    me.vertices.add(len(p)); me.vertices.foreach_set("co", p.ravel())
    me.loops.add(len(loops)); me.loops.foreach_set("vertex_index", loops)
    me.polygons.add(len(total)); me.polygons.foreach_set("loop_start", start); me.polygons.foreach_set("loop_total", total)
    smooth = name in ("open", "granules", "underlay", "film", "hose", "water", "tar", "sealant", "leaf", "cap") or name.startswith("nail")
    me.polygons.foreach_set("use_smooth", np.full(len(total), smooth))
    me.update(calc_edges=True)
    for k in ("blend", "dark", "tone", "wet"):
        a = me.attributes.new(k, "FLOAT", "POINT"); a.data.foreach_set("value", m[k])
    a = me.attributes.new("place", "FLOAT_VECTOR", "POINT")
    a.data.foreach_set("vector", np.c_[m["uv"], np.zeros(len(p), np.float32)].astype(np.float32).ravel())
    ob = bpy.data.objects.new(name, me)
    bpy.context.scene.collection.objects.link(ob)
    return ob


class Nodes:
    """Short names for the nodes of a material."""

    def __init__(self, name):
        self.m = bpy.data.materials.new(name); self.m.use_nodes = True
        self.t = self.m.node_tree; self.t.nodes.clear()

    def new(self, kind, inputs=(), **props):
        n = self.t.nodes.new("ShaderNode" + kind)
        for k, v in props.items(): setattr(n, k, v)
        for k, v in dict(inputs).items():
            if isinstance(v, bpy.types.NodeSocket): self.t.links.new(v, n.inputs[k])
            else: n.inputs[k].default_value = (*v, 1.) if isinstance(v, (tuple, list)) and len(v) == 3 and n.inputs[k].type == "RGBA" else v
        return n

    def math(self, op, a, b=0., c=0.): return self.new("Math", {0: a, 1: b, 2: c}, operation=op).outputs[0]

    def mix(self, f, a, b, how="MIX"): return self.new("MixRGB", {0: f, 1: a, 2: b}, blend_type=how).outputs[0]

    def attribute(self, name, out="Fac"): return self.new("Attribute", attribute_name=name).outputs[out]

    def image(self, im, vector, extension="EXTEND"): return self.new("TexImage", {"Vector": vector}, image=im, extension=extension, interpolation="Linear")

    def over_box(self, box):
        """The roof's x, y as texture coordinates of a box."""
        x0, x1, y0, y1 = box
        p = self.new("NewGeometry").outputs["Position"]
        a = self.new("VectorMath", {0: p, 1: (x0, y0, 0)}, operation="SUBTRACT").outputs[0]
        return self.new("VectorMath", {0: a, 1: (1 / (x1 - x0), 1 / (y1 - y0), 0)}, operation="MULTIPLY").outputs[0]

    def done(self, shader):
        self.new("OutputMaterial", {"Surface": shader})
        return self.m

    def principled(self, colour, metallic=0., roughness=.6, specular=.3, normal=None, **more):
        inputs = {"Base Color": colour, "Metallic": metallic, "Roughness": roughness, "Specular": specular, **more}
        if normal is not None: inputs["Normal"] = normal
        return self.new("BsdfPrincipled", inputs).outputs[0]

    def diffuse(self, colour, normal=None, rough=.5):
        inputs = {"Color": colour, "Roughness": rough}
        if normal is not None: inputs["Normal"] = normal
        return self.new("BsdfDiffuse", inputs).outputs[0]

    def noise(self, scale, detail=2.):
        p = self.new("NewGeometry").outputs["Position"]
        return self.new("TexNoise", {"Vector": p, "Scale": scale, "Detail": detail}).outputs["Fac"]

    def ramp(self, f, stops, interpolation="LINEAR"):
        n = self.new("ValToRGB", {0: f})
        n.color_ramp.interpolation = interpolation
        e = n.color_ramp.elements
        while len(e) < len(stops): e.new(1.)
        for k, (at, c) in enumerate(stops): e[k].position = at; e[k].color = (*c, 1.)
        return n.outputs[0]


def material(name, s, pics):
    N = Nodes(name)
    if name in ("open", "granules"): return granules(N, s, pics, name == "open")
    if name.startswith("nail_"): return metal(N, s["finishes"][name[5:]])
    if name.startswith("card") and name != "card_side":
        c = N.image(pics[name], N.attribute("place", "Vector"))
        d = N.diffuse(c.outputs[0])
        g = N.new("BsdfGlossy", {"Color": (1., 1., 1.), "Roughness": .35}).outputs[0]
        return N.done(N.new("MixShader", {0: s["cards"][int(name[4:])]["gloss"], 1: d, 2: g}).outputs[0])
    if name == "underlay":
        c = N.image(pics["underlay"], N.over_box(s["boxes"]["underlay"])).outputs[0]
        c = N.mix(1., c, N.ramp(N.attribute("tone"), [(0., (1, 1, 1)), (1., (.9, .9, .9))]), "MULTIPLY")
        kind = s["underlay"]["kind"]
        if kind == "woven": return N.done(N.principled(c, 0., .5, .25))
        if kind == "felt":
            b = N.new("Bump", {"Height": N.noise(.45), "Strength": .5, "Distance": .5}).outputs[0]
            return N.done(N.principled(c, 0., .8, .2, normal=b))
        return N.done(N.diffuse(c))
    if name == "ground":
        p = N.new("NewGeometry").outputs["Position"]
        c = N.image(pics["ground"], N.new("VectorMath", {0: p, 1: (1 / 8000, 1 / 8000, 0)}, operation="MULTIPLY").outputs[0], "REPEAT").outputs[0]
        return N.done(N.diffuse(c))
    if name == "face": return cut_face(N, s)
    pick = lambda *c: N.ramp(N.attribute("blend"), [(k / len(c), q) for k, q in enumerate(c)], "CONSTANT")
    if name == "torn": return N.done(N.diffuse(N.ramp(N.noise(.9), [(.3, (.010, .009, .009)), (.62, (.03, .028, .026)), (.7, (.16, .15, .13))])))
    if name in ("tar", "sealant"): return N.done(N.principled((.011, .011, .012), 0., .42 if name == "tar" else .6, .3 if name == "tar" else .12))
    if name == "water": return N.done(N.new("MixShader", {0: .025, 1: N.new("BsdfTransparent", {"Color": (.62, .62, .63)}).outputs[0], 2: N.new("BsdfGlossy", {"Color": (1., 1., 1.), "Roughness": .04}).outputs[0]}).outputs[0])
    if name == "leaf": return N.done(N.principled(N.mix(.35, pick((.10, .17, .035), (.30, .19, .06), (.26, .09, .035), (.12, .075, .04)), N.ramp(N.noise(.25), [(.3, (.03, .03, .01)), (.7, (.3, .3, .1))])), 0., .55, .3))
    if name == "chip": return N.done(N.diffuse(pick((.52, .40, .25), (.46, .45, .43), (.26, .11, .06), (.07, .07, .07))))
    if name == "cap": return N.done(N.principled(pick((.60, .17, .03), (.05, .30, .12), (.05, .11, .45), (.55, .55, .53), (.02, .02, .02)), 0., .35, .45))
    if name == "hose": return N.done(N.principled(pick((.75, .22, .02), (.55, .04, .03), (.02, .02, .022)), 0., .4, .4))
    if name == "film":
        clear = N.new("BsdfTransparent", {"Color": (.94, .94, .94)}).outputs[0]
        body = N.principled((.45, .46, .48), 0., .22, .6)
        return N.done(N.new("MixShader", {0: 1 - s["look"]["film_clear"], 1: clear, 2: body}).outputs[0])
    if name == "drip_edge": return N.done(N.principled(tuple(s["rake"]["colour"]), .15, .38, .45))
    if name == "wood_edge": return N.done(N.diffuse((.22, .15, .09)))
    if name == "fascia": return N.done(N.diffuse((.55, .54, .51)))
    if name == "underlay_edge": return N.done(N.diffuse((.05, .05, .05)))
    if name == "card_side": return N.done(N.diffuse((.55, .53, .48)))
    if name == "shade": return N.done(N.diffuse((.08, .12, .05)))
    raise ValueError(f"no material for {name}")


def granules(N, s, pics, painted):
    L = s["look"]
    uv = N.new("VectorMath", {0: N.attribute("place", "Vector"), 1: (1 / s["tile_mm"],) * 3}, operation="MULTIPLY").outputs[0]
    t = N.image(pics["granules"], uv, "REPEAT").outputs[0]
    sep = N.new("SeparateRGB", {0: t}).outputs
    steps = lambda q: N.ramp(sep[0], [(k / 8, q[k]) for k in range(8)], "CONSTANT")
    light = N.math("LESS_THAN", sep[2], N.attribute("blend"))
    c = N.mix(light, steps(L["ramps"][0]), steps(L["ramps"][1]))
    other = N.math("FRACT", N.math("MULTIPLY", sep[2], 7.31))
    c = N.mix(N.math("LESS_THAN", other, N.attribute("dark")), c, tuple(L["dark"]))
    valley = N.math("MULTIPLY_ADD", sep[1], .55, .55)
    c = N.mix(1., c, N.new("CombineRGB", {0: valley, 1: valley, 2: valley}).outputs[0], "MULTIPLY")
    tone = N.attribute("tone")
    c = N.mix(1., c, N.new("CombineRGB", {0: tone, 1: tone, 2: tone}).outputs[0], "MULTIPLY")
    if painted:
        p = N.image(pics["paint"], N.over_box(s["boxes"]["paint"]))
        c = N.mix(N.math("MULTIPLY", p.outputs["Alpha"], N.math("MINIMUM", N.math("MULTIPLY", sep[1], 2.2), 1.)), c, p.outputs[0])
    bump = N.new("Bump", {"Height": sep[1], "Strength": min(1., L["relief"] * 1.3), "Distance": L["relief"]}).outputs[0]
    if not L["wet"]: return N.done(N.diffuse(c, bump))
    wet = N.attribute("wet")
    c = N.mix(wet, c, N.mix(1., c, (.55, .55, .56), "MULTIPLY"))
    g = N.new("BsdfGlossy", {"Color": (1., 1., 1.), "Roughness": .3, "Normal": bump}).outputs[0]
    return N.done(N.new("MixShader", {0: N.math("MULTIPLY", wet, .04), 1: N.diffuse(c, bump), 2: g}).outputs[0])


def cut_face(N, s):
    """A cut edge: bitumen between granules; stained or pale where it is worn."""
    L = s["look"]
    dark = [(.012, .012, .013), (.022, .021, .021)]
    main = tuple(L["ramps"][0][0])
    other = {"bitumen": (.03, .029, .028), "stained": tuple(.45 * v for v in main), "pale": tuple(.35 + .45 * v for v in main)}[L["face"]]
    f = N.noise(.6, 3.)
    c = N.ramp(f, [(.35, dark[0]), (.5, dark[1]), (.55 + .12 * (1 - L["face_wear"]), other)])
    return N.done(N.diffuse(c))


def metal(N, finish):
    base, metallic, rough = finish
    tone = N.attribute("tone")
    spots = N.noise(.55, 3.)
    c = N.mix(N.math("MULTIPLY", N.math("LESS_THAN", spots, .43), N.attribute("dark")), tuple(base), tuple(.55 * v for v in base))
    c = N.mix(1., c, N.new("CombineRGB", {0: tone, 1: tone, 2: tone}).outputs[0], "MULTIPLY")
    grime = N.math("LESS_THAN", N.noise(.8, 2.), N.math("MULTIPLY_ADD", N.attribute("wet"), .55, .12))
    c = N.mix(grime, c, (.03, .028, .026))
    bump = N.new("Bump", {"Height": N.noise(.7, 2.), "Strength": .35, "Distance": .15}).outputs[0]
    r = N.math("MAXIMUM", N.math("MULTIPLY", grime, .9), rough)
    return N.done(N.principled(c, metallic, r, .4, normal=bump))


def light(s):
    L = s["light"]
    w = bpy.data.worlds.new("sky"); bpy.context.scene.world = w
    w.use_nodes = True
    w.cycles.sampling_method = "NONE"
    t = w.node_tree
    bg = t.nodes["Background"]
    geo = t.nodes.new("ShaderNodeNewGeometry")
    sep = t.nodes.new("ShaderNodeSeparateXYZ"); t.links.new(geo.outputs["Incoming"], sep.inputs[0])
    ramp = t.nodes.new("ShaderNodeValToRGB")
    up = t.nodes.new("ShaderNodeMath"); up.operation = "MULTIPLY"; up.inputs[1].default_value = -1.
    t.links.new(sep.outputs[2], up.inputs[0]); t.links.new(up.outputs[0], ramp.inputs[0])
    b = L["blue"]
    sky = np.array([1 - .38 * b, 1 - .18 * b, 1.])
    if L["kind"] == "sun": low, high, k = (.95, .97, 1.), tuple(sky), 2.9 * L["sky"]
    elif L["kind"] == "overcast": low, high, k = (.62, .63, .65), (1., 1.01, 1.04), 2.2
    else: low, high, k = (.5, .42, .40), (.30, .36, .5), .25
    e = ramp.color_ramp.elements
    e[0].position, e[0].color = 0., (*low, 1.)
    e[1].position, e[1].color = 1., (*high, 1.)
    t.links.new(ramp.outputs[0], bg.inputs[0])
    bg.inputs[1].default_value = k / math.pi
    if L["kind"] == "sun":
        d = bpy.data.lights.new("sun", "SUN")
        d.angle = math.radians(.53 * max(1., L["haze"]))
        low = max(0., 1 - L["elev"] / 40)
        d.color = (1., .96 - .12 * low - .03 * L["warm"], .90 - .30 * low - .06 * L["warm"])
        d.energy = 3.2
        add(d, (math.radians(90 - L["elev"]), 0, math.radians(L["azimuth"] + 90)))
    if L["kind"] == "dusk":
        d = bpy.data.lights.new("flash", "POINT")
        c = s["camera"]
        R = np.array(c["R"])
        at = np.array(c["centre"]) + L["flash"][0] * R[0] - L["flash"][1] * R[1]
        d.shadow_soft_size = 2.5
        d.energy = 4 * math.pi * 6.5 * c["distance"] ** 2
        add(d, (0, 0, 0), at)


def add(data, rotation, at=(0, 0, 0)):
    ob = bpy.data.objects.new(data.name, data)
    ob.rotation_euler = rotation; ob.location = at
    bpy.context.scene.collection.objects.link(ob)


def camera(s):
    import mathutils
    c, sc = s["camera"], bpy.context.scene
    m = s["margin"]
    w, h = c["width"] + 2 * m, c["height"] + 2 * m
    d = bpy.data.cameras.new("phone")
    d.sensor_fit, d.sensor_width, d.lens = "HORIZONTAL", 36., 36. * c["f"] / w
    d.clip_start, d.clip_end = 10., 60000.
    ob = bpy.data.objects.new("phone", d)
    R = np.array(c["R"])
    M = np.eye(4); M[:3, 0], M[:3, 1], M[:3, 2], M[:3, 3] = R[0], -R[1], -R[2], c["centre"]
    ob.matrix_world = mathutils.Matrix(M.tolist())
    sc.collection.objects.link(ob)
    sc.camera = ob
    sc.render.resolution_x, sc.render.resolution_y, sc.render.resolution_percentage = w, h, 100


def render(s, out):
    sc = bpy.context.scene
    sc.render.engine = "CYCLES"
    k = sc.cycles
    k.device, k.samples, k.use_denoising, k.seed = "CPU", s["samples"], False, s["seed"] % 100000
    k.use_adaptive_sampling = False
    k.max_bounces, k.diffuse_bounces, k.glossy_bounces, k.transmission_bounces, k.transparent_max_bounces = 2, s["bounces"], 1, 1, 6
    k.caustics_reflective = k.caustics_refractive = False
    k.sample_clamp_indirect, k.sample_clamp_direct = 4., 12.
    k.pixel_filter_type, k.filter_width = "BLACKMAN_HARRIS", 1.5
    sc.view_settings.view_transform, sc.view_settings.look = "Raw", "None"
    sc.render.image_settings.file_format, sc.render.image_settings.color_depth, sc.render.image_settings.exr_codec = "OPEN_EXR", "16", "NONE"
    sc.render.filepath = out + ".exr"
    bpy.ops.render.render(write_still=True)
    im = bpy.data.images.load(out + ".exr")
    a = np.empty(im.size[0] * im.size[1] * 4, np.float32)
    im.pixels.foreach_get(a)
    a = a.reshape(im.size[1], im.size[0], 4)[::-1, :, :3]
    np.save(out, a.astype(np.float16))


if __name__ == "__main__": main(*sys.argv[sys.argv.index("--") + 1:])
