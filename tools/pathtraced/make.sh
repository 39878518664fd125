#!/usr/bin/env bash
# Clips whose pictures Blender's Cycles made (Debian: blender, python3-opencv), with their truth.
# Usage: tools/pathtraced/make.sh CLIPMAKER OUT SEED COUNT [FIRST [CLIPMAKER_OPTION...]]
# Some minutes a clip on one core: run it once for each core. A clip that is there already is left.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
maker=${1:?clip maker} out=${2:?folder} seed=${3:?seed} count=${4:?how many} first=${5:-0}
shift $(( $# < 5 ? $# : 5 ))
mkdir -p "$out"
for ((i = first; i < first + count; ++i)); do
  name=$(printf 'traced-%s-%04d' "$seed" "$i")
  if [ -e "$out/$name.mp4" ]; then
    continue
  fi
  # The hand's wander would need the near things drawn anew; turns do not.
  "$maker" --random "$seed" --first "$i" --n 1 --out "$out" --name "$name" --size 1920x1080 --fps 240 \
    --before 0.3 --after 0.36 "$@" --set '{"camera": {"shake_mm": 0}}' --scene
  pictures="$out/$name.pictures"
  blender -b -P "$here/trace.py" -- "$out/$name.scene.json" "$pictures" >"$out/$name.log" 2>&1
  /usr/bin/python3 "$here/film.py" "$out/$name.scene.json" "$pictures" "$out/$name.part.mp4"
  mv "$out/$name.part.mp4" "$out/$name.mp4"
  rm -r "$pictures" "$out/$name.scene.json"
  echo "$name"
done
