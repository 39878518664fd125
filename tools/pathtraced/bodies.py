# Builds what a scene file (nocktrail_clipmaker --scene) names as Blender objects: bow, string and
# arrow as meshes that move with the shutter, the archer and the range as still ones. Everything
# here is this renderer's own: colours, textures, shapes of scenery and archer.
import math

import bmesh
import bpy
import numpy as np
from mathutils import Matrix, Vector

INSTANTS = 5


def to_world(p):
    """Range frame (X right, Y down, Z downrange) to Blender's (x right, y downrange, z up)."""
    p = np.asarray(p, dtype=float)
    return np.stack([p[..., 0], p[..., 2], -p[..., 1]], axis=-1)


def material(name, colour, rough=0.6, other=None, scale=30.0, metal=0.0, contrast=0.5, through=0.0):
    """Plain, or two colours mixed by noise."""
    mat = bpy.data.materials.new(name)
    mat.use_nodes = True
    nodes, links = mat.node_tree.nodes, mat.node_tree.links
    shader = nodes["Principled BSDF"]
    shader.inputs["Roughness"].default_value = rough
    shader.inputs["Metallic"].default_value = metal
    shader.inputs["Base Color"].default_value = (*colour, 1.0)
    if other is not None:
        where = nodes.new("ShaderNodeTexCoord")
        noise = nodes.new("ShaderNodeTexNoise")
        noise.inputs["Scale"].default_value = scale
        noise.inputs["Detail"].default_value = 8.0
        noise.inputs["Roughness"].default_value = 0.65
        ramp = nodes.new("ShaderNodeValToRGB")
        ramp.color_ramp.elements[0].position = 0.5 - 0.5 * contrast + 0.15
        ramp.color_ramp.elements[1].position = 0.5 + 0.5 * contrast - 0.15
        ramp.color_ramp.elements[0].color = (*colour, 1.0)
        ramp.color_ramp.elements[1].color = (*other, 1.0)
        links.new(where.outputs["Object"], noise.inputs["Vector"])
        links.new(noise.outputs["Fac"], ramp.inputs["Fac"])
        links.new(ramp.outputs["Color"], shader.inputs["Base Color"])
    if through > 0.0:
        shader.inputs["Transmission"].default_value = through
    return mat


class Moving:
    """A mesh given anew for each picture as its places at evenly spaced instants of the exposure."""

    def __init__(self, name, faces, slots, materials, vertices):
        mesh = bpy.data.meshes.new(name)
        mesh.from_pydata([tuple(v) for v in vertices], [], faces)
        for mat in materials:
            mesh.materials.append(mat)
        mesh.polygons.foreach_set("material_index", slots)
        self.body = bpy.data.objects.new(name, mesh)
        bpy.context.collection.objects.link(self.body)
        self.body.shape_key_add(name="middle")
        self.keys = {k: self.body.shape_key_add(name=f"at{k}") for k in (0, 1, 3, 4)}
        self.body.cycles.use_motion_blur = True
        self.body.cycles.use_deform_motion = True
        self.body.cycles.motion_steps = 2  # five places

    def shutter(self, frame, length):
        """Each place holds at its own part of the exposure, linear between neighbours."""
        for k, key in self.keys.items():
            for j in range(INSTANTS):
                key.value = 1.0 if j == k else 0.0
                key.keyframe_insert("value", frame=frame + length * (j / (INSTANTS - 1) - 0.5))
        for curve in self.body.data.shape_keys.animation_data.action.fcurves:
            for point in curve.keyframe_points:
                point.interpolation = "LINEAR"

    def place(self, places):
        middle = np.ascontiguousarray(places[2], dtype=np.float32).ravel()
        self.body.data.vertices.foreach_set("co", middle)
        self.body.data.shape_keys.key_blocks["middle"].data.foreach_set("co", middle)
        for k, key in self.keys.items():
            key.data.foreach_set("co", np.ascontiguousarray(places[k], dtype=np.float32).ravel())
        self.body.data.update()


def smooth_line(points):
    """A function of 0..1 through evenly spaced points: bending is smooth."""
    points = to_world(points)
    u = np.linspace(0.0, 1.0, len(points))
    fits = [np.polynomial.Polynomial.fit(u, points[:, i], 8) for i in range(3)]
    slopes = [f.deriv() for f in fits]
    at = lambda x: np.stack([f(x) for f in fits], axis=-1)
    along = lambda x: np.stack([f(x) for f in slopes], axis=-1)
    return at, along


class Arrow:
    SIDES = 14

    def __init__(self, spec, rng):
        self.spec = spec
        length, ears = spec["length_m"], spec["nock_ears_m"]
        self.ears, self.whole = ears, length + ears
        r = 0.5 * spec["diameter_m"]
        nock = 0.014
        wide = r * spec["nock_width"]
        tip = 0.022
        # Distance from the throat, radius, colour of what follows.
        self.rings = [(-ears, 0.55 * wide, 0), (-0.7 * ears, 0.9 * wide, 0), (0.002, wide, 0),
                      (0.8 * nock, wide, 0), (nock, r, 1)]
        self.rings += [(s, r, 1) for s in np.linspace(nock, length - tip, 24)[1:-1]]
        self.rings += [(length - tip, 1.04 * r, 2), (length - 0.5 * tip, 0.9 * r, 2),
                       (length - 0.15 * tip, 0.4 * r, 2), (length, 0.05 * r, 2)]
        crest = spec["vane_offset_m"] + spec["vane_length_m"] + 0.02
        self.rings = [(s, q, 3 if m == 1 and crest < s < crest + 0.05 else m)
                      for s, q, m in self.rings]
        shafts = {
            "wood": lambda: material("shaft", (0.42, 0.27, 0.13), 0.45, (0.55, 0.38, 0.2), 60.0),
            "carbon": lambda: material("shaft", (0.015, 0.015, 0.017), 0.35),
            "bright": lambda: material("shaft", (0.62, 0.62, 0.64), 0.3, metal=0.9)}
        bright = [(0.85, 0.1, 0.06), (0.9, 0.75, 0.05), (0.1, 0.6, 0.12), (0.85, 0.85, 0.82),
                  (0.08, 0.15, 0.6), (0.9, 0.3, 0.6), (0.03, 0.03, 0.03)]
        self.materials = [material("nock", rng.choice(bright), 0.3), shafts[spec["material"]](),
                          material("point", (0.35, 0.34, 0.33), 0.35, metal=0.9),
                          material("crest", rng.choice(bright), 0.4)]
        odd, others = rng.sample(bright, 2)
        self.materials += [material("odd vane", odd, 0.7), material("vane", others, 0.7)]
        self.faces, self.slots = [], []
        n = self.SIDES
        for i in range(len(self.rings) - 1):
            for k in range(n):
                a, b = i * n + k, i * n + (k + 1) % n
                self.faces.append((a, b, b + n, a + n))
                self.slots.append(self.rings[i][2])
        self.faces.append(tuple(range(n)))
        self.slots.append(0)
        self.profile = [(0.0, 0.55), (0.08, 0.95), (0.25, 1.0), (0.5, 0.8), (0.75, 0.45), (1.0, 0.02)]
        self.vanes = spec["vanes"] if spec["fletched"] else 0
        at = len(self.rings) * n
        for v in range(self.vanes):
            for i in range(len(self.profile) - 1):
                self.faces.append((at + 2 * i, at + 2 * i + 1, at + 2 * i + 3, at + 2 * i + 2))
                self.slots.append(4 if v == 0 else 5)
            at += 2 * len(self.profile)

    def vertices(self, line, roll):
        at, along = smooth_line(line)
        share = lambda s: (s + self.ears) / self.whole
        out = []

        def frame(s):
            t = along(share(s))
            t /= np.linalg.norm(t)
            right = np.cross(t, [0.0, 0.0, 1.0])
            right /= np.linalg.norm(right)
            return at(share(s)), right, np.cross(right, t)

        for s, radius, _ in self.rings:
            p, right, up = frame(s)
            for k in range(self.SIDES):
                a = roll + 2.0 * math.pi * k / self.SIDES
                out.append(p + radius * (math.cos(a) * right + math.sin(a) * up))
        r = 0.5 * self.spec["diameter_m"]
        for v in range(self.vanes):
            a = roll + 2.0 * math.pi * v / self.vanes
            for x, h in self.profile:
                p, right, up = frame(self.spec["vane_offset_m"] + x * self.spec["vane_length_m"])
                away = math.cos(a) * right + math.sin(a) * up
                out.append(p + 0.8 * r * away)
                out.append(p + (r + h * self.spec["vane_height_m"]) * away)
        return np.array(out)

    def places(self, instants):
        return [self.vertices(i["arrow"], i["roll_rad"]) for i in instants]


class Ribbon:
    """A limb or the riser: a rounded belly between two edges, and some depth."""
    ACROSS = 6

    def __init__(self, depth):
        self.depth = depth

    def mesh(self, count):
        n = 2 * self.ACROSS
        faces = [(i * n + k, i * n + (k + 1) % n, (i + 1) * n + (k + 1) % n, (i + 1) * n + k)
                 for i in range(count - 1) for k in range(n)]
        return faces + [tuple(range(n)), tuple(range((count - 1) * n, count * n))]

    def vertices(self, edges):
        edges = np.array([[to_world(e[0]), to_world(e[1])] for e in edges])
        out = []
        for i in range(len(edges)):
            left, right = edges[i]
            before, after = edges[max(i - 1, 0)].mean(0), edges[min(i + 1, len(edges) - 1)].mean(0)
            along = after - before
            forward = np.cross(right - left, along)
            forward /= max(np.linalg.norm(forward), 1e-9)
            if forward[1] < 0.0:
                forward = -forward
            half = 0.5 * np.linalg.norm(right - left)
            deep = min(self.depth, 0.9 * half)
            for k in range(2 * self.ACROSS):
                a = 2.0 * math.pi * k / (2 * self.ACROSS)
                middle = 0.5 * (left + right)
                side = 0.5 * (right - left)
                c, s = math.cos(a), math.sin(a)
                # A rounded rectangle.
                c, s = np.sign(c) * abs(c) ** 0.6, np.sign(s) * abs(s) ** 0.6
                out.append(middle + c * side + (s + 1.0) * 0.5 * 2.0 * deep * forward * 0.5)
        return np.array(out)


class Cord:
    SIDES = 6
    POINTS = 33

    def vertices(self, path, radius=0.0014):
        path = to_world(path)
        if len(path) == 3:  # drawn: two straight halves
            u = np.linspace(0.0, 1.0, (self.POINTS + 1) // 2)[:, None]
            path = np.concatenate([path[0] + u * (path[1] - path[0]),
                                   (path[1] + u * (path[2] - path[1]))[1:]])
        else:
            u = np.linspace(0.0, len(path) - 1.0, self.POINTS)
            path = np.stack([np.interp(u, range(len(path)), path[:, i]) for i in range(3)], -1)
        out = []
        for i, p in enumerate(path):
            q = radius * (1.6 if abs(i - self.POINTS // 2) < 4 else 1.0)
            for k in range(self.SIDES):
                a = 2.0 * math.pi * k / self.SIDES
                out.append(p + q * np.array([math.cos(a), math.sin(a), 0.0]))
        return np.array(out)

    def mesh(self):
        n = self.SIDES
        return [(i * n + k, i * n + (k + 1) % n, (i + 1) * n + (k + 1) % n, (i + 1) * n + k)
                for i in range(self.POINTS - 1) for k in range(n)]


class Shooting:
    """All that moves, and the archer's arms, which follow in steps."""

    def __init__(self, scene, rng):
        first = scene["moving"][0]["instants"]
        self.arrow = Arrow(scene["spec"]["arrow"], rng)
        self.parts = []
        a = self.arrow
        self.add("arrow", a.faces, a.slots, a.materials, a.places, first)
        woods = [((0.16, 0.07, 0.03), (0.26, 0.13, 0.06)), ((0.35, 0.22, 0.10), (0.5, 0.34, 0.17)),
                 ((0.03, 0.03, 0.03), (0.05, 0.05, 0.05)), ((0.5, 0.42, 0.3), (0.62, 0.55, 0.42))]
        for name in ("riser", "upper", "lower"):
            ribbon = Ribbon(0.030 if name == "riser" else 0.009)
            dark, light = woods[rng.randrange(len(woods))] if name != "lower" else limb
            limb = (dark, light)
            faces = ribbon.mesh(len(first[0][name]))
            self.add(name, faces, [0] * len(faces),
                     [material(name, dark, rng.uniform(0.25, 0.6), light, 25.0)],
                     lambda instants, r=ribbon, n=name: [r.vertices(i[n]) for i in instants], first)
        cord = Cord()
        faces = cord.mesh()
        colour = rng.choice([(0.6, 0.57, 0.5), (0.03, 0.03, 0.03), (0.5, 0.35, 0.08)])
        self.add("string", faces, [0] * len(faces), [material("string", colour, 0.7)],
                 lambda instants: [cord.vertices(i["string"]) for i in instants], first)
        self.archer = Archer(scene, rng)

    def add(self, name, faces, slots, materials, places, first):
        self.parts.append((Moving(name, faces, slots, materials, places(first)[2]), places))

    def shutter(self, frame, length):
        for part, _ in self.parts:
            part.shutter(frame, length)

    def place(self, instants):
        for part, places in self.parts:
            part.place(places(instants))
        self.archer.place(instants[2])


class Limb:
    """A part of an arm: its body, and the line it lies about (range frame)."""

    def __init__(self, name, a, ra, b, rb, mat):
        self.a, self.b, self.radius = np.array(a), np.array(b), max(ra, rb)
        self.body = lump(name, a, ra, b, rb, mat)


def lump(name, a, ra, b, rb, mat):
    """A rounded cone from one ball to another (range frame)."""
    mesh = bpy.data.meshes.new(name)
    build = bmesh.new()
    a, b = Vector(to_world(a)), Vector(to_world(b))
    for centre, r in ((a, ra), (b, rb)):
        bmesh.ops.create_icosphere(build, subdivisions=4, radius=r, matrix=Matrix.Translation(centre))
    bmesh.ops.convex_hull(build, input=build.verts)
    build.to_mesh(mesh)
    build.free()
    for face in mesh.polygons:
        face.use_smooth = True
    mesh.materials.append(mat)
    body = bpy.data.objects.new(name, mesh)
    bpy.context.collection.objects.link(body)
    return body


def ball(name, centre, radii, mat):
    bpy.ops.mesh.primitive_uv_sphere_add(segments=48, ring_count=32, radius=1.0,
                                         location=tuple(to_world(centre)))
    body = bpy.context.object
    body.name = name
    body.scale = (radii[0], radii[2], radii[1])
    bpy.ops.object.shade_smooth()
    body.data.materials.append(mat)
    return body


class Archer:
    def __init__(self, scene, rng):
        spec = scene["spec"]["archer"]
        side = -1.0 if spec["hand"] == "left" else 1.0
        k, drop = spec["build"], spec["head_drop_m"]
        dz = scene["nock_at_full_draw"][2] + 0.70
        at = lambda x, y, z: np.array([side * k * x, k * y + drop, -0.70 + k * (z + 0.70) + dz])
        cloths = [(0.08, 0.1, 0.16), (0.25, 0.05, 0.05), (0.1, 0.16, 0.08), (0.4, 0.38, 0.33),
                  (0.03, 0.03, 0.035), (0.2, 0.17, 0.3)]
        c = rng.choice(cloths)
        cloth = material("cloth", c, 0.9, tuple(1.5 * v for v in c), 14.0)
        skin = material("skin", rng.choice([(0.55, 0.33, 0.24), (0.3, 0.16, 0.1), (0.65, 0.43, 0.34)]),
                        0.5)
        hair = material("hair", rng.choice([(0.05, 0.03, 0.02), (0.2, 0.12, 0.05), (0.35, 0.33, 0.3)]),
                        0.6, (0.02, 0.015, 0.01), 90.0)
        head = at(-0.035, -0.075, -0.80)
        ball("head", head, k * np.array([0.076, 0.115, 0.098]), skin)
        h = spec["hat_scale"]
        if spec["headwear"] == "hair":
            ball("hair", head + [0, -0.018, -0.008], k * np.array([0.086, 0.115, 0.105]), hair)
        else:
            hat = material("hat", rng.choice(cloths), 0.85)
            ball("hair", head + [0, 0.005, -0.012], k * np.array([0.083, 0.11, 0.10]), hair)
            ball("hat", head + [0, -0.045, 0.0], h * k * np.array([0.089, 0.093, 0.108]), hat)
            if spec["headwear"] in ("cap", "hat"):
                ball("brim", head + [0, -0.04, 0.05 if spec["headwear"] == "cap" else 0.0],
                     h * k * (np.array([0.08, 0.012, 0.14]) if spec["headwear"] == "cap"
                              else np.array([0.15, 0.014, 0.165])), hat)
        front, rear = at(-0.03, 0.15, -0.64), at(-0.05, 0.13, -1.02)
        lump("neck", head + [0, 0.08, -0.02], 0.06 * k, at(-0.06, 0.13, -0.84), 0.07 * k, skin)
        lump("shoulders", front, 0.075 * k, rear, 0.085 * k, cloth)
        lump("chest", at(-0.07, 0.22, -0.83), 0.15 * k, at(-0.05, 0.62, -0.84), 0.14 * k, cloth)
        lump("hips", at(-0.05, 0.62, -0.84), 0.135 * k, at(-0.04, 0.85, -0.84), 0.15 * k,
             material("trousers", rng.choice(cloths), 0.9))
        grip = np.array([side * 0.012, 0.075, -0.005])
        elbow = 0.5 * (front + grip) + [-side * 0.03, 0.015, 0.0]
        sleeve = skin if rng.random() < 0.5 else cloth
        self.bow_arm = [Limb("upper arm", front, 0.06 * k, elbow, 0.047 * k, sleeve),
                        Limb("forearm", elbow, 0.043 * k, grip + [0, 0.01, -0.07], 0.03 * k, sleeve),
                        Limb("bow hand", grip + [0, 0.01, -0.04], 0.036 * k,
                             grip + [-side * 0.01, 0.025, 0.015], 0.03 * k, skin)]
        nock = np.array(scene["nock_at_full_draw"])
        hand = nock + [side * 0.012, 0.012, -0.015]
        self.string_arm = [Limb("string hand", hand, 0.03 * k, hand + [side * 0.02, 0.03, -0.07],
                                0.036 * k, skin),
                           Limb("string forearm", hand + [side * 0.02, 0.03, -0.07], 0.034 * k,
                                at(0.17, 0.05, -1.05), 0.05 * k, cloth),
                           Limb("string upper arm", at(0.17, 0.05, -1.05), 0.052 * k, rear, 0.065 * k,
                                cloth)]

    SHARES = ((0.3, 0.8, 1.0), (1.0, 0.7, 0.2))  # of the hand's way, from the arm's first part on

    def place(self, instant):
        for arm, shares, hand in zip((self.bow_arm, self.string_arm), self.SHARES,
                                     ("bow_hand", "string_hand")):
            for share, part in zip(shares, arm):
                part.body.location = tuple(share * to_world(instant[hand]))

    def arms(self, instant):
        """Lines (range frame) and the radius about them within which the arms are."""
        for arm, shares, hand in zip((self.bow_arm, self.string_arm), self.SHARES,
                                     ("bow_hand", "string_hand")):
            for share, part in zip(shares, arm):
                shift = share * np.array(instant[hand])
                yield [part.a + shift, part.b + shift], part.radius
