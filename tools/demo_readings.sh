#!/usr/bin/env bash
# Makes what `nocktrail demo` ships anew: films and reads the worked session (tools/worked_session.sh),
# and puts its readings, without what only drawing needs, and one of its clips, packed smaller, into
# src/desk/demo.
#   tools/demo_readings.sh OUT_DIR [build folder]
# After a change of the reader or of how readings are kept; tests/cli/demo_test.cpp says when.
called_from=$PWD
# shellcheck source=tools/common.sh
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

(($# >= 1)) || die "name a folder for the films: tools/demo_readings.sh OUT_DIR [build folder]"
out=$(cd "$called_from" && realpath -m -- "$1")
build=$root/build/release
if [[ -n ${2:-} ]]; then
  build=$(cd "$called_from" && realpath -m -- "$2")
fi
demo=$root/src/desk/demo/rook-hollow
kept=6-finished/shot-63.mp4 # the clip that goes along, so that there is one to read and to draw
first_day=2026-04-11        # invented, as all of it is: a week between set-ups, three minutes a shot

tools/worked_session.sh "$out" "$build"
# Beside the films, which stay as they are.
session=$out/demo
rm -rf "$session"
cp -R "$out/rook-hollow" "$session"
# As small as still reads well.
ffmpeg -v error -y -i "$out/rook-hollow/$kept" -c:v libx265 -preset medium \
  -x265-params log-level=error -crf 25 -tag:v hvc1 -an "$session/$kept"
"$build/src/cli/nocktrail" session "$session" --no-logbook --no-stills

find "$demo" -name '*.mp4' -delete -o -name '*.reading.json' -delete
cp "$session/$kept" "$demo/$kept"
for clip in "$session"/*/*.mp4; do
  setup=$(basename "$(dirname "$clip")")
  name=$(basename "$clip")
  sha=$(sha256sum "$clip" | cut -d ' ' -f 1)
  # The newest, should there be readings of older facts too.
  reading=$(ls -t "$session/nocktrail-results/readings/$sha"-*.json | head -n 1)
  number=${name#s*-}
  minute=$((${number:1:1} * 3))
  [[ $name == side-* ]] && minute=$((minute + 30))
  day=$(date -u -d "$first_day +$(((${number:0:1} - 1) * 7)) days 09:00 UTC +$minute minutes" \
    +%Y-%m-%dT%H:%M:%SZ)
  jq -c --arg day "$day" --arg name "$name" '
    .filmed_at_utc = $day | .reading.clip.path = $name |
    .reading.shots[].frames = [] | .beside[].fitted = []' \
    "$reading" >"$demo/$setup/$name.reading.json"
done
say "$(du -sh --apparent-size "$demo" | cut -f 1) in $demo"
