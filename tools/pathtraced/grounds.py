# The range for the path-traced world: ground, what lies on it, butt, what stands behind, light.
import math

import bpy
import numpy as np
from mathutils import Matrix, Vector

from bodies import material


def scattered(name, rng, count, near, far, wide, shape, mats, ground):
    """Many small bodies in one mesh, denser near the camera."""
    vertices, faces, slots = [], [], []
    for _ in range(count):
        y = near * (far / near) ** rng.random()
        x = rng.uniform(-1.0, 1.0) * (0.35 * y + wide)
        points, polygons = shape(rng)
        turn = rng.uniform(0.0, 2.0 * math.pi)
        c, s = math.cos(turn), math.sin(turn)
        base = len(vertices)
        vertices += [(x + c * p[0] - s * p[1], y + s * p[0] + c * p[1], ground + p[2]) for p in points]
        faces += [tuple(base + i for i in f) for f in polygons]
        slots += [rng.randrange(len(mats))] * len(polygons)
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices, [], faces)
    for mat in mats:
        mesh.materials.append(mat)
    mesh.polygons.foreach_set("material_index", slots)
    bpy.context.collection.objects.link(bpy.data.objects.new(name, mesh))


def tuft(rng):
    points, faces = [], []
    for _ in range(7):
        a, lean = rng.uniform(0, 6.28), rng.uniform(0.02, 0.10)
        h, w = rng.uniform(0.05, 0.16), 0.004
        i = len(points)
        x, y = rng.uniform(-0.05, 0.05), rng.uniform(-0.05, 0.05)
        points += [(x - w, y, 0), (x + w, y, 0), (x + lean * math.cos(a), y + lean * math.sin(a), h)]
        faces.append((i, i + 1, i + 2))
    return points, faces


def stone(rng):
    r = rng.uniform(0.008, 0.05)
    q = lambda: r * rng.uniform(0.6, 1.2)
    points = [(q(), 0, 0), (0, q(), 0), (-q(), 0, 0), (0, -q(), 0), (0.2 * q(), 0.2 * q(), 0.7 * q())]
    return points, [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4)]


def leaf(rng):
    r = rng.uniform(0.02, 0.05)
    z = rng.uniform(0.002, 0.02)
    return ([(r, 0, 0.001), (0, 0.5 * r, z), (-r, 0, 0.004), (0, -0.5 * r, 0.001)], [(0, 1, 2, 3)])


def block(name, size, at, mat, turn=0.0):
    bpy.ops.mesh.primitive_cube_add(size=1.0, location=at, rotation=(0, 0, turn))
    body = bpy.context.object
    body.name, body.scale = name, size
    body.data.materials.append(mat)
    return body


def tree(rng, x, y, ground, bark, greens):
    h = rng.uniform(4.0, 10.0)
    bpy.ops.mesh.primitive_cone_add(vertices=10, radius1=rng.uniform(0.12, 0.3), radius2=0.06, depth=h,
                                    location=(x, y, ground + 0.5 * h))
    bpy.context.object.data.materials.append(bark)
    vertices, faces = [], []
    for _ in range(2500):
        # Leaves as loose faces in a rough ball.
        d = np.array([rng.gauss(0, 1) for _ in range(3)])
        d *= rng.uniform(0.4, 1.0) / np.linalg.norm(d)
        c = np.array([x, y, ground + 0.68 * h]) + d * [0.28 * h, 0.28 * h, 0.36 * h]
        i = len(vertices)
        s = rng.uniform(0.1, 0.35)
        for _ in range(3):
            vertices.append(tuple(c + s * np.array([rng.uniform(-1, 1) for _ in range(3)])))
        faces.append((i, i + 1, i + 2))
    mesh = bpy.data.meshes.new("leaves")
    mesh.from_pydata(vertices, [], faces)
    mesh.materials.append(rng.choice(greens))
    bpy.context.collection.objects.link(bpy.data.objects.new("leaves", mesh))


def turned_to(scene):
    """From scenery laid out ahead of a camera that looks downrange to that of one that looks across."""
    look = np.array(scene["camera_from_range"])[2]  # range frame: right, down, downrange
    if abs(look[0]) < abs(look[2]):
        return Matrix.Identity(4)
    at = np.array(scene["position_m"])
    return Matrix.Translation((at[0], at[2], 0.0)) @ Matrix.Rotation(-math.atan2(look[0], look[2]), 4, "Z")


def make_range(scene, rng):
    place = scene["spec"]["range"]
    ground = -place["ground_below_m"]
    kind = rng.choice(["meadow", "gravel", "forest floor", "sand", "mown grass", "hall"])
    colours = {"meadow": ((0.06, 0.12, 0.025), (0.16, 0.2, 0.06)),
               "mown grass": ((0.09, 0.17, 0.04), (0.14, 0.22, 0.06)),
               "gravel": ((0.22, 0.21, 0.2), (0.45, 0.43, 0.4)),
               "forest floor": ((0.09, 0.055, 0.03), (0.22, 0.14, 0.08)),
               "sand": ((0.5, 0.4, 0.26), (0.62, 0.52, 0.36)),
               "hall": ((0.3, 0.31, 0.33), (0.36, 0.37, 0.38))}[kind]
    bpy.ops.mesh.primitive_plane_add(size=300.0, location=(0, 100, ground))
    bpy.context.object.data.materials.append(
        material("ground", colours[0], 0.95, colours[1], rng.uniform(3.0, 12.0)))
    greens = [material("green", (0.05 + 0.08 * rng.random(), 0.10 + 0.12 * rng.random(), 0.02), 0.8)
              for _ in range(3)]
    stones = [material("stone", (v, 0.97 * v, 0.93 * v), 0.9) for v in (0.15, 0.3, 0.5)]
    leaves = [material("fallen", c, 0.8) for c in ((0.3, 0.13, 0.04), (0.4, 0.26, 0.06), (0.15, 0.08, 0.04))]
    if kind == "meadow":
        scattered("grass", rng, 9000, 0.6, 40.0, 1.5, tuft, greens, ground)
    elif kind == "mown grass":
        scattered("grass", rng, 1500, 0.6, 25.0, 1.0, tuft, greens, ground)
    elif kind == "gravel":
        scattered("stones", rng, 9000, 0.5, 30.0, 1.0, stone, stones, ground)
    elif kind == "forest floor":
        scattered("leaves", rng, 9000, 0.5, 35.0, 1.0, leaf, leaves, ground)
    elif kind == "sand":
        scattered("stones", rng, 400, 0.8, 30.0, 1.0, stone, stones, ground)
    else:
        for x in range(-8, 9):
            block("line", (0.05, 60.0, 0.002), (x + rng.uniform(-0.02, 0.02), 20.0, ground + 0.001),
                  material("paint", (0.55, 0.5, 0.2), 0.5))
    far = place["far_m"]
    if kind == "hall":
        block("wall", (40.0, 0.3, 9.0), (0, far, ground + 4.5),
              material("wall", (0.5, 0.49, 0.46), 0.8, (0.56, 0.55, 0.53), 2.0))
        for x in range(-15, 16, 5):
            block("pillar", (0.4, 0.4, 9.0), (x, far - 0.3, ground + 4.5),
                  material("pillar", (0.3, 0.32, 0.36), 0.6))
    else:
        bark = material("bark", (0.08, 0.06, 0.045), 0.9, (0.16, 0.13, 0.1), 8.0)
        crowns = [material("crown", (0.03 + 0.1 * rng.random(), 0.07 + 0.12 * rng.random(), 0.02), 0.9)
                  for _ in range(4)]
        for _ in range(rng.randrange(6, 30)):
            y = far + rng.uniform(-0.15, 1.0) * far
            x = rng.uniform(-0.9, 0.9) * y
            if abs(x) > 1.5 or y > place["butt_m"] + 6.0:
                tree(rng, x, y, ground, bark, crowns)
        if rng.random() < 0.5:
            block("bank", (120.0, 3.0, rng.uniform(1.5, 4.0)), (0, 2.0 * far, ground + 1.0), crowns[0])
    bpy.context.view_layer.update()
    turn = turned_to(scene)
    for body in bpy.context.scene.objects:
        body.matrix_world = turn @ body.matrix_world
    if place["butt"] != "none":
        # The arrow's height there is the rest's, more or less.
        straw = material("butt", (0.45, 0.34, 0.16), 0.95, (0.55, 0.45, 0.25), 20.0)
        block("butt", (1.3, 0.25, 1.5), (0, place["butt_m"] + 0.13, ground + 1.35), straw)
        for foot in (-0.5, 0.5):
            block("leg", (0.09, 0.09, 0.7), (foot, place["butt_m"] + 0.2, ground + 0.35),
                  material("leg", (0.2, 0.13, 0.07), 0.8))
        if rng.random() < 0.7:
            rings = [(0.55, (0.8, 0.8, 0.78)), (0.4, (0.1, 0.2, 0.45)), (0.25, (0.6, 0.12, 0.1)),
                     (0.1, (0.75, 0.6, 0.1))]
            for i, (r, colour) in enumerate(rings):
                bpy.ops.mesh.primitive_circle_add(
                    vertices=64, radius=r, fill_type="NGON", rotation=(math.pi / 2, 0, 0),
                    location=(0, place["butt_m"] - 0.002 - 0.001 * i, ground + 1.35))
                bpy.context.object.data.materials.append(material("ring", colour, 0.8))
    light(place, rng, kind)
    return kind


def light(place, rng, kind):
    world = bpy.context.scene.world or bpy.data.worlds.new("world")
    bpy.context.scene.world = world
    world.use_nodes = True
    nodes, links = world.node_tree.nodes, world.node_tree.links
    background = nodes["Background"]
    if place["sun"] and kind != "hall":
        sky = nodes.new("ShaderNodeTexSky")
        sky.sky_type = "NISHITA"
        sky.sun_disc = False
        elevation = math.radians(max(place["sun_elevation_deg"], 12.0))
        sky.sun_elevation = elevation
        sky.sun_rotation = math.radians(place["sun_azimuth_deg"])
        background.inputs["Strength"].default_value = 0.12
        links.new(sky.outputs["Color"], background.inputs["Color"])
        bpy.ops.object.light_add(type="SUN")
        sun = bpy.context.object
        sun.data.energy = 3.2
        sun.data.angle = math.radians(0.53)
        azimuth = math.radians(place["sun_azimuth_deg"])
        to_sun = Vector((math.sin(azimuth) * math.cos(elevation),
                         math.cos(azimuth) * math.cos(elevation), math.sin(elevation)))
        # A sun lamp shines along its own -z.
        sun.rotation_euler = to_sun.to_track_quat("Z", "Y").to_euler()
    else:
        v = rng.uniform(0.8, 1.1)
        background.inputs["Color"].default_value = (0.9 * v, 0.96 * v, v, 1.0)
        background.inputs["Strength"].default_value = 1.0
