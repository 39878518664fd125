#!/usr/bin/env bash
# How the reading holds where the world is not the one it was made in: clips of each departure of the
# clip maker, all of the same draws so that they pair with those of `plain`, read once.
#   tools/worlds.sh SEED N [WORLD...]     leaves out/worlds/SEED/{WORLD/,readings.csv,table.md}
# Some 15 s of one core for each clip. Clips that are there already are not made again.
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

(($# >= 2)) || die "give a seed and the number of clips of each world: tools/worlds.sh 5 20"
seed=$1
count=$2
shift 2
worlds=("$@")
(($# > 0)) || worlds=(plain vanes ends shafts motion camera bows lens steadied codec rate light told)

configure release
build release nocktrail_clipmaker nocktrail_accuracy
maker=build/release/tools/clipmaker/nocktrail_clipmaker
out=out/worlds/$seed
mkdir -p "$out"

# What a phone, an editor or a messenger may do to a film after it was shot: $1 clip, $2 its number.
recode() {
  local filter codec
  codec=(-c:v libx264 -preset superfast -crf 22)
  case $(($2 % 4)) in
    0)
      filter=zscale=transfer=arib-std-b67:matrix=2020_ncl:primaries=2020:range=limited,format=yuv420p10le
      codec=(-c:v libx265 -preset ultrafast -crf 22 -x265-params log-level=error)
      ;;
    1) filter=unsharp=5:5:1.2 ;;
    2) filter=hqdn3d=4:3:8:6,unsharp=5:5:0.5 ;;
    3) filter="curves=all='0/0 0.25/0.15 0.5/0.55 0.75/0.88 1/1'" ;;
  esac
  through_ffmpeg "$1" -vf "$filter" "${codec[@]}"
}

# One frame of twenty-five is lost, and times say so.
drop_frames() {
  through_ffmpeg "$1" -vf "select='not(lt(random($2),0.04))'" -fps_mode vfr -enc_time_base -1 \
    -c:v libx264 -preset superfast -crf 20
}

through_ffmpeg() {
  local clip=$1
  shift
  ffmpeg -nostdin -v error -y -noautorotate -i "$clip" -map_metadata 0 -movflags use_metadata_tags \
    -c:a copy "$@" "$clip.part.mp4"
  mv "$clip.part.mp4" "$clip"
}

make_clip() {
  local world=$1 index=$2
  local name
  name=$(printf '%04d' "$index")
  local clip=$out/$world/$name.mp4
  [[ -e $clip ]] && return
  rm -rf "$out/$world/new-$name"
  "$maker" --random "$seed" --first "$index" --n 1 --world "$world" --before 0.12 --after 0.2 \
    --name "$name" --out "$out/$world/new-$name"
  case $world in
    codec) recode "$out/$world/new-$name/$name.mp4" "$index" ;;
    rate) drop_frames "$out/$world/new-$name/$name.mp4" "$index" ;;
  esac
  mv "$out/$world/new-$name/$name.truth.json" "$out/$world/new-$name/$name.mp4" "$out/$world/"
  rmdir "$out/$world/new-$name"
}

folders=()
for world in "${worlds[@]}"; do
  say "Making $count clips of the world $world"
  mkdir -p "$out/$world"
  for ((index = 0; index < count; index += 2)); do
    make_clip "$world" "$index" &
    ((index + 1 < count)) && make_clip "$world" "$((index + 1))"
    wait $!
  done
  folders+=("$out/$world")
done
say "Reading"
build/release/tools/bench/nocktrail_accuracy "${folders[@]}" --tell fl --csv "$out/readings.csv" \
  --table "$out/table.md" | sed -n '1,3p; /^| world/p'
