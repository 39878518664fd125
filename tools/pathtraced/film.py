# Puts the pictures of trace.py together as a phone would film them: the hand's shake as turns of
# the whole picture, row by row, then noise, then the encoder.
#   film.py NAME.scene.json FOLDER NAME.mp4
import json
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np


def main():
    file, folder, out = sys.argv[1:4]
    scene = json.loads(Path(file).read_text())
    folder = Path(folder)
    spec = scene["spec"]
    picture = spec["picture"]
    width, height, turn = picture["width"], picture["height"], picture["rotation_deg"]
    rng = np.random.default_rng(spec["seed"])
    index = json.loads((folder / "parts.json").read_text())
    parts = {}
    for part in index["parts"]:
        parts.setdefault(part["index"], []).append(part)
    before = cv2.imread(str(folder / "before.png"))
    after = cv2.imread(str(folder / "after.png"))
    last = max(parts)

    # Axes of the stored picture in those of the shown one.
    stored = {0: [[1, 0, 0], [0, 1, 0], [0, 0, 1]], 90: [[0, 1, 0], [-1, 0, 0], [0, 0, 1]],
              180: [[-1, 0, 0], [0, -1, 0], [0, 0, 1]], 270: [[0, -1, 0], [1, 0, 0], [0, 0, 1]]}[turn]
    stored = np.array(stored, dtype=float)
    f = scene["focal_px"]
    camera = np.array([[f, 0, 0.5 * (width - 1)], [0, f, 0.5 * (height - 1)], [0, 0, 1]])
    inverse = np.linalg.inv(camera)
    x = np.arange(width, dtype=np.float32)
    y = np.arange(height, dtype=np.float32)

    def shaken(image, turns):
        rows = [camera @ (stored @ np.array(t) @ stored.T).T @ inverse for t in turns]
        at = np.linspace(0.0, height - 1.0, len(rows))
        m = np.stack([np.interp(y, at, [r[i, j] for r in rows]) for i in range(3) for j in range(3)],
                     -1).reshape(height, 3, 3).astype(np.float32)
        p = [m[:, i, 0, None] * x + (m[:, i, 1] * y + m[:, i, 2])[:, None] for i in range(3)]
        return cv2.remap(image, p[0] / p[2], p[1] / p[2], cv2.INTER_CUBIC,
                         borderMode=cv2.BORDER_REFLECT_101)

    well, read = spec["sensor"]["full_well_e"], spec["sensor"]["read_noise_e"]
    grain = spec["sensor"]["noise_grain_px"]

    def noisy(image):
        level = image.astype(np.float32) / 255.0
        light = level ** 2.2
        sigma = np.sqrt(light / well + (read / well) ** 2)
        # The tone curve's slope carries the noise of light into that of the picture.
        slope = np.minimum(np.maximum(level, 0.01) ** (1.0 - 2.2) / 2.2, 4.0)
        noise = rng.standard_normal(image.shape, dtype=np.float32)
        if grain > 0.2:
            noise = cv2.GaussianBlur(noise, (0, 0), grain)
            noise /= noise.std()
        return np.clip(255.0 * (level + sigma * slope * noise) + 0.5, 0, 255).astype(np.uint8)

    codec = ["libx264", "-preset", "veryfast"] if picture["codec"] == "h264" else [
        "libx265", "-preset", "ultrafast", "-x265-params", "log-level=error", "-tag:v", "hvc1"]
    encoder = subprocess.Popen(
        ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "bgr24", "-s", f"{width}x{height}",
         "-r", str(picture["fps"]), "-i", "-", "-c:v", *codec, "-crf", "20", "-pix_fmt", "yuv420p",
         "-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709", "-vf",
         "scale=out_color_matrix=bt709", out + ".flat.mp4"],
        stdin=subprocess.PIPE)
    for i in range(scene["frames"]):
        image = (before if i < index["first"] else after).copy()
        for part in parts.get(min(i, last), []) if i >= index["first"] else []:
            image[part["top"]:part["bottom"], part["left"]:part["right"]] = cv2.imread(
                str(folder / part["file"]))
        encoder.stdin.write(noisy(shaken(image, scene["shake"][i])).tobytes())
    encoder.stdin.close()
    if encoder.wait() != 0:
        sys.exit(f"{out}: ffmpeg failed")
    # Only a copy takes the turn into the container, whose sense is against the clock.
    subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", out + ".flat.mp4", "-c", "copy", "-metadata:s:v:0",
                    f"rotate={-turn % 360}", "-movflags", "+faststart", out], check=True)
    Path(out + ".flat.mp4").unlink()


main()
