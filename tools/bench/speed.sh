#!/usr/bin/env bash
# Time and memory of `nocktrail read` on a long clip, against decoding it all with ffmpeg, side by
# side in one run: prints ratios and judges nothing.
# Usage: tools/bench/speed.sh BUILD_DIR [CLIP_WITH_SOUND]; without a clip, one of 10 s is made first.
set -euo pipefail
build=${1:?build folder}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
clip=${2:-}
if [ -z "$clip" ]; then
  "$build/tools/clipmaker/nocktrail_clipmaker" --random 41 --n 1 --out "$work" --size 1920x1080 \
    --fps 240 --look 1 --before 6 --after 4 --set '{"sound": {"on": true}}' >/dev/null
  clip=$(ls "$work"/*.mp4)
fi
ffmpeg -v error -y -i "$clip" -c:v copy -an "$work/mute.mp4"
seconds() { /usr/bin/env bash -c 'TIMEFORMAT=%R; time "$@" >/dev/null 2>&1' _ "$@" 2>&1 | tail -1; }
for round in 1 2 3; do
  decode=$(seconds ffmpeg -i "$clip" -f null -)
  sound=$(seconds "$build/src/cli/nocktrail" read --quiet "$clip")
  mute=$(seconds "$build/src/cli/nocktrail" read --quiet "$work/mute.mp4")
  awk -v d="$decode" -v s="$sound" -v m="$mute" 'BEGIN {
    printf "decode %.2f s; read with sound %.2f s, ratio %.2f; without %.2f s, ratio %.2f\n", d, s, s / d, m, m / d }'
done
if [ -x /usr/bin/time ]; then
  /usr/bin/time -f 'peak memory %M KB' "$build/src/cli/nocktrail" read --quiet "$clip" 2>&1 >/dev/null | tail -1
fi
