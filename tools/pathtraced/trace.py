# Draws a clip's pictures with Blender's Cycles: lens, depth of field, sun and sky, shadows, motion
# blur and rolling shutter are its own code. Run by make.sh:
#   blender -b -P trace.py -- NAME.scene.json FOLDER
# FOLDER gets before.png (all frames before the loose), after.png (what stands still after it), and
# for each frame of the shot NNNN.png with the part that moved, at the place named in parts.json.
import json
import math
import random
import sys
from pathlib import Path

import bpy
import numpy as np
from mathutils import Matrix

sys.path.insert(0, str(Path(__file__).parent))
import bodies  # noqa: E402
import grounds  # noqa: E402

PLATE, PART = 16, 10  # samples a pixel: of whole pictures, and of what moves, anew each frame
TILE = 96  # pixels
FRAME = 10  # Blender's; each picture is rendered there


def set_camera(scene, width, height):
    """In the stored picture's own upright position: its rows are what the shutter reads in turn."""
    look = np.array(scene["camera_from_range"])
    right, down, ahead = (bodies.to_world(row) for row in look)
    turn = scene["spec"]["picture"]["rotation_deg"]  # clockwise, done by the player
    # What is shown upright has its top at the stored picture's ...
    stored_right, stored_down = {0: (right, down), 90: (down, -right), 180: (-right, -down),
                                 270: (-down, right)}[turn]
    camera = bpy.data.cameras.new("phone")
    body = bpy.data.objects.new("phone", camera)
    bpy.context.collection.objects.link(body)
    at = bodies.to_world(scene["position_m"])
    body.matrix_world = Matrix([[*row, p] for row, p in
                                zip(np.stack([stored_right, -stored_down, -ahead], 1), at)] + [[0, 0, 0, 1]])
    camera.sensor_fit = "HORIZONTAL"
    camera.sensor_width = 9.6
    camera.lens = 9.6 * scene["focal_px"] / width
    camera.clip_start, camera.clip_end = 0.05, 1000.0
    camera.dof.use_dof = True
    camera.dof.focus_distance = 12.0
    camera.dof.aperture_fstop = camera.lens / 2.4  # an opening of 2.4 mm
    bpy.context.scene.camera = body
    return stored_right, stored_down, ahead, at


def main():
    file, folder = sys.argv[sys.argv.index("--") + 1:][:2]
    scene = json.loads(Path(file).read_text())
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    spec = scene["spec"]
    rng = random.Random(spec["seed"])
    bpy.ops.wm.read_factory_settings(use_empty=True)
    blender = bpy.context.scene
    kind = grounds.make_range(scene, rng)
    shooting = bodies.Shooting(scene, rng)
    width, height = spec["picture"]["width"], spec["picture"]["height"]
    right, down, ahead, eye = set_camera(scene, width, height)

    fps = spec["picture"]["fps"]
    open_s = spec["camera"]["readout_s"] + spec["camera"]["exposure_s"]
    render, cycles = blender.render, blender.cycles
    render.engine = "CYCLES"
    render.resolution_x, render.resolution_y, render.resolution_percentage = width, height, 100
    render.use_motion_blur = True
    render.motion_blur_shutter = open_s * fps
    render.use_persistent_data = True
    render.threads_mode, render.threads = "FIXED", 1
    cycles.motion_blur_position = "CENTER"
    cycles.rolling_shutter_type = "TOP"
    cycles.rolling_shutter_duration = spec["camera"]["exposure_s"] / open_s
    cycles.use_adaptive_sampling = False
    cycles.use_denoising = False
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = 4, 2, 2
    cycles.filter_width = 1.3
    render.image_settings.file_format = "PNG"
    render.image_settings.color_mode = "RGB"
    view = blender.view_settings
    view.view_transform = "Filmic" if rng.random() < 0.7 else "Standard"
    view.look = rng.choice(["None", "Medium Contrast"]) if view.view_transform == "Filmic" else "None"

    shooting.shutter(FRAME, open_s * fps)
    blender.frame_set(FRAME)

    def take(path, box, samples, seed):
        """box: left, top, right, bottom in stored pixels, or nothing for all."""
        whole = box is None
        render.use_border = not whole
        render.use_crop_to_border = not whole
        if not whole:
            # Blender cuts to whole pixels: a quarter more keeps it from cutting to the one before.
            render.border_min_x, render.border_max_x = (box[0] + 0.25) / width, (box[2] + 0.25) / width
            render.border_min_y = (height - box[3] + 0.25) / height
            render.border_max_y = (height - box[1] + 0.25) / height
        cycles.samples, cycles.seed = samples, seed
        render.filepath = str(path)
        bpy.ops.render.render(write_still=True)

    def expose():
        """As bright as a phone would make it."""
        render.resolution_percentage = 10
        for _ in range(3):
            take(folder / "meter.png", None, 16, 1)
            image = bpy.data.images.load(str(folder / "meter.png"))
            level = float(np.median(np.array(image.pixels[:]).reshape(-1, 4)[:, 1]))
            bpy.data.images.remove(image)
            view.exposure += 1.3 * math.log2(rng_level / max(level, 0.02))
        (folder / "meter.png").unlink()
        render.resolution_percentage = 100

    rng_level = rng.uniform(0.38, 0.58)

    across, upright = -(-width // TILE), -(-height // TILE)

    def touched(points, radius_m, tiles):
        """Marks the tiles of the picture that a tube about a line of points can reach."""
        points = bodies.to_world(points)
        fine = np.linspace(0.0, len(points) - 1.0, 12 * len(points))
        rel = np.stack([np.interp(fine, range(len(points)), points[:, i]) for i in range(3)], -1) - eye
        z = rel @ ahead
        rel, z = rel[z > 0.05], z[z > 0.05]
        reach = scene["focal_px"] * radius_m / z + 6.0
        x = 0.5 * width + scene["focal_px"] * (rel @ right) / z
        y = 0.5 * height + scene["focal_px"] * (rel @ down) / z
        for px, py, r in zip(x, y, reach):
            columns = slice(max(0, int((px - r) // TILE)), max(0, int((px + r) // TILE) + 1))
            tiles[max(0, int((py - r) // TILE)):max(0, int((py + r) // TILE) + 1), columns] = True

    def bow_tiles(instant, tiles):
        for name in ("riser", "upper", "lower"):
            edges = np.array(instant[name])
            touched(edges[:, 0], 0.04 if name == "riser" else 0.012, tiles)
            touched(edges[:, 1], 0.04 if name == "riser" else 0.012, tiles)
        touched(np.array(instant["string"]), 0.004, tiles)
        for line, radius in shooting.archer.arms(instant):
            touched(np.array(line), radius, tiles)

    def boxes_of(tiles):
        """Rectangles that cover the marked tiles: runs of a row, together with the same run below."""
        open_runs, boxes = {}, []
        for row in range(upright + 1):
            runs, start = set(), None
            for column in range(across + 1):
                on = row < upright and column < across and tiles[row, column]
                if on and start is None:
                    start = column
                if not on and start is not None:
                    runs.add((start, column))
                    start = None
            for run in [r for r in open_runs if r not in runs]:
                boxes.append((run[0], open_runs.pop(run), run[1], row))
            for run in runs:
                open_runs.setdefault(run, row)
        return [(l * TILE, t * TILE, min(r * TILE, width), min(b * TILE, height)) for l, t, r, b in boxes]

    moving = scene["moving"]
    shooting.place(moving[0]["instants"])
    expose()
    first = scene["spec"]["shots"][0]["loose_s"]
    take(folder / "before.png", None, PLATE, 7)
    still = [m for m in moving if m["t_s"] > first + scene["bow_still_s"] + 1.0 / fps]
    # What stands still afterwards, without the arrow, which is drawn in each picture.
    gone = dict(moving[-1]["instants"][2])
    shooting.place([{**gone, "arrow": [[p[0], p[1] - 500.0, p[2] + 5.0] for p in gone["arrow"]]}] * 5)
    take(folder / "after.png", None, PLATE, 8)
    parts = []
    vanes = spec["arrow"]["vane_height_m"] + spec["arrow"]["diameter_m"]
    for m in moving:
        shooting.place(m["instants"])
        tiles = np.zeros((upright, across), dtype=bool)
        for i in m["instants"]:
            touched(np.array(i["arrow"]), vanes, tiles)
        if m not in still:
            for i in (m["instants"][0], m["instants"][4], moving[0]["instants"][0], gone):
                bow_tiles(i, tiles)
            touched(np.array(moving[0]["instants"][0]["arrow"]), vanes, tiles)
        for k, box in enumerate(boxes_of(tiles)):
            name = f"{m['index']:04d}-{k:03d}.png"
            take(folder / name, box, PART, 100 + m["index"])
            parts.append({"index": m["index"], "file": name, "left": box[0], "top": box[1],
                          "right": box[2], "bottom": box[3]})
    (folder / "parts.json").write_text(json.dumps(
        {"ground": kind, "tone": view.view_transform + " " + view.look, "first": moving[0]["index"],
         "parts": parts}))


main()
