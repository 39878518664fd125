#!/usr/bin/env bash
# What reading costs, against decoding the same clip with ffmpeg, side by side in one run: good clips
# with and without sound, two at once, and clips without a readable shot. Processor time (user and
# system) decides, wall time is beside it, since a busy machine stretches that. Judges nothing:
# tools/bench/speed_gate.sh does.
# Usage: tools/bench/speed.sh BUILD_DIR [CLIP_WITH_SOUND]; without a clip, one of 8 s is made first.
# Clips in SPEED_MORE (a folder) are taken for clips without a readable shot as well.
# Lines that begin with "figure" are for programs: name and value.
set -euo pipefail
build=${1:?build folder}
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
read_clip="$build/src/cli/nocktrail"
clip=${2:-}
if [ -z "$clip" ]; then
  "$build/tools/clipmaker/nocktrail_clipmaker" --random 41 --n 1 --out "$work" --size 1920x1080 \
    --fps 240 --look 1 --before 5 --after 3 --set '{"sound": {"on": true}}' >/dev/null
  clip=$(ls "$work"/*.mp4)
fi
ffmpeg -v error -y -i "$clip" -c:v copy -an "$work/mute.mp4"

# Processor and wall seconds of a command, whatever its status.
seconds() {
  bash -c 'TIMEFORMAT="%U %S %R"; time "$@" >/dev/null 2>&1' _ "$@" 2>&1 | tail -1 |
    awk '{ print $1 + $2, $3 }'
}
median() { sort -g | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'; }
share() { awk -v a="$1" -v b="$2" 'BEGIN { printf "%.3f\n", a / b }'; }

for round in 1 2 3; do
  read -r decode decode_wall < <(seconds ffmpeg -i "$clip" -f null -)
  read -r sound sound_wall < <(seconds "$read_clip" read --quiet "$clip")
  read -r mute mute_wall < <(seconds "$read_clip" read --quiet "$work/mute.mp4")
  share "$sound" "$decode" >>"$work/sound"
  share "$mute" "$decode" >>"$work/mute"
  echo "decode $decode s ($decode_wall wall); with sound $sound s, ratio $(share "$sound" "$decode")" \
    "(wall $(share "$sound_wall" "$decode_wall")); without $mute s, ratio" \
    "$(share "$mute" "$decode") (wall $(share "$mute_wall" "$decode_wall"))"
done
echo "figure with-sound $(median <"$work/sound")"
echo "figure without-sound $(median <"$work/mute")"

# Two clips one after the other, each with two cores, and at once on the same two. Wall time: needs
# a machine with nothing else to do.
both=(taskset -c 0,1)
cp "$clip" "$work/second.mp4"
for round in 1 2 3; do
  read -r _ one < <(seconds "${both[@]}" bash -c '"$0" read --quiet "$1"; "$0" read --quiet "$2"' \
    "$read_clip" "$clip" "$work/second.mp4")
  read -r _ two < <(seconds "${both[@]}" bash -c '"$0" read --quiet "$1" & "$0" read --quiet "$2"; wait' \
    "$read_clip" "$clip" "$work/second.mp4")
  share "$one" "$two" >>"$work/two"
done
echo "figure two-at-once $(median <"$work/two")"

# Clips without a readable shot: at most 1.5 times their decoding and 5 s of one core.
made() { ffmpeg -v error -y "${@:2}" "$work/$1"; }
fast=(-c:v libx264 -preset ultrafast -pix_fmt yuv420p)
none="$work/none"
mkdir "$none"
made none/before-the-loose.mp4 -ss 1 -t 0.35 -i "$clip" "${fast[@]}" -c:a aac
made none/mandelbrot.mp4 -f lavfi -i mandelbrot=s=1280x720:r=240 -t 3 "${fast[@]}"
made none/life.mp4 -f lavfi -i life=s=320x180:r=240:mold=10:ratio=0.1:life_color=white,scale=1280:720 \
  -t 3 "${fast[@]}"
made none/test-card.mp4 -f lavfi -i testsrc2=s=1280x720:r=240 -t 6 "${fast[@]}"
made none/noise.mp4 -f lavfi -i color=gray:s=1280x720:r=240,noise=alls=40:allf=t -t 2 "${fast[@]}"
made none/ordinary.mp4 -f lavfi -i testsrc2=s=1920x1080:r=30 -f lavfi -i sine=r=48000 -t 8 \
  "${fast[@]}" -c:a aac
made none/ordinary-mute.mp4 -f lavfi -i testsrc2=s=1920x1080:r=30 -t 8 "${fast[@]}"
made none/sixty-mute.mp4 -f lavfi -i testsrc2=s=1280x720:r=60 -t 8 "${fast[@]}"
for name in let-down low-light; do
  ln -s "$root/test-clips/$name.mp4" "$none/"
done
if [ -n "${SPEED_MORE:-}" ]; then
  for more in "$SPEED_MORE"/*.mp4; do
    ln -s "$(realpath "$more")" "$none/more-$(basename "$more")"
  done
fi
for file in "$none"/*.mp4; do
  # One thread decodes: threads that wait cost processor time of their own.
  read -r decode _ < <(seconds ffmpeg -threads 1 -i "$file" -f null -)
  read -r spent _ < <(seconds "$read_clip" read --quiet "$file")
  allowed=$(awk -v d="$decode" 'BEGIN { print 1.5 * d + 5 }')
  share "$spent" "$allowed" >>"$work/refusals"
  printf '%-28s decode %6.2f s, read %6.2f s, %.2f of what it may\n' "$(basename "$file")" \
    "$decode" "$spent" "$(share "$spent" "$allowed")"
done
echo "figure worst-refusal $(sort -g <"$work/refusals" | tail -1)"

if [ -x /usr/bin/time ]; then
  /usr/bin/time -f 'peak memory %M KB' "$read_clip" read --quiet "$clip" 2>&1 >/dev/null | tail -1
fi
