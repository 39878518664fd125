#!/bin/sh
# Makes every clip of this folder anew, byte for byte with the same encoder libraries.
#   test-clips/make_clips.sh path/to/nocktrail_clipmaker [folder]
set -eu
maker=${1:?give the path of nocktrail_clipmaker}
out=${2:-$(dirname "$0")}

# name, index in series 42, then further options
clip() {
  name=$1
  index=$2
  shift 2
  "$maker" --random 42 --first "$index" --n 1 --name "$name" --out "$out" "$@"
}

small='"picture":{"width":1280,"height":720,"bitrate_mbps":20'
low='"picture":{"width":1280,"height":720'

clip portrait-right 10 --before 0.2 --after 0.22 --set "{$small}}"
clip landscape-left 9 --before 0.2 --after 0.22 --set "{$small}}"
clip portrait-bare-canted 58 --before 0.2 --after 0.22 \
  --set "{$low,\"bitrate_mbps\":20,\"play_fps\":0,\"capture_tag\":false}}"
clip landscape-bare-120fps 26 --fps 120 --before 0.25 --after 0.3 --set "{$small}}"
clip vertical-bow-1080p 55 --before 0.12 --after 0.16
clip slow-motion-tag 6 --before 0.25 --after 0.22 \
  --set "{$low,\"bitrate_mbps\":2.5,\"play_fps\":30,\"capture_tag\":true}}"
clip hevc-gravel 15 --before 0.2 --after 0.22 --set "{$low,\"bitrate_mbps\":14}}"
clip upside-down 41 --before 0.2 --after 0.22 --set "{$small}}"
clip stored-mirrored 37 --before 0.2 --after 0.22 \
  --set "{$low,\"bitrate_mbps\":20,\"mirrored\":true}}"
clip shaky 50 --before 0.2 --after 0.22 --set "{$small}}"
clip low-light 32 --before 0.2 --after 0.22 \
  --set "{$low,\"bitrate_mbps\":20},\"sensor\":{\"full_well_e\":260,\"brightness\":0.5}}"
clip two-shots 24 --before 0.2 --after 0.22 --second-after 1.35 \
  --set "{$low,\"bitrate_mbps\":10}}"
clip let-down 28 --kind let-down --before 0.2 \
  --set "{$low,\"bitrate_mbps\":6}}" --shot '{"let_down_lasts_s":0.8}'

# Filmed from beside the line.
side() {
  "$maker" --random 43 --first "$2" --n 1 --name "$1" --out "$out/from-side" --kind from-side \
    --before 0.15 --after 0.2 --set "{$low,\"bitrate_mbps\":14,\"rotation_deg\":0}}"
}
mkdir -p "$out/from-side"
side left-of-line 1
side right-of-line 2
"$maker" --random 42 --first 48 --n 1 --name archer-in-view --out "$out/from-side" --kind side-view \
  --before 0.15 --after 0.2 \
  --set "{\"kind\":\"from-side\",$low,\"bitrate_mbps\":14,\"rotation_deg\":0}}"
"$maker" --random 51209377 --first 21 --n 1 --name wood-before-grey --out "$out/from-side" \
  --kind from-side --before 0.3 --size 1920x1080 --fps 240
"$maker" --random 7160331 --first 16 --n 1 --name bow-swings --out "$out" --world bows \
  --before 0.2 --after 0.22 --size 1280x720 --fps 240

# Bows of many kinds, chosen by what is drawn and read afterwards.
bow() {
  "$maker" --random 77120431 --first "$2" --n 1 --name "$1" --out "$out/bows" --world bows \
    --before 0.2 --after 0.22 --size 1280x720 --fps 240 --set "{$low,\"bitrate_mbps\":14}}"
}
mkdir -p "$out/bows"
bow narrow-swings 10
bow wide-recurved-quiver 11
bow bent-aside-second-bow 13
bow recurved-leans-away 19
bow left-far-over 26
bow wide-upright-stringer 34
bow left-narrow-bent-stringer 35
