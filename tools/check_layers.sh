#!/usr/bin/env bash
# Fails on an include against the order of rooms (DEVELOPERS.md, "Rooms and their order").
#   tools/check_layers.sh
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

# Each room and the rooms it may include. error.hpp, marks.hpp, median.hpp, reading.hpp and version.hpp lie below all.
declare -A may=(
  [units]=""
  [media]="units"
  [optics]="units media"
  [steady]="units media optics"
  [track]="units media optics steady"
  [flight]="units media optics steady track"
  [side]="units media optics steady track flight"
  [bow]="units media optics steady track flight"
  [rules]="units media optics steady track flight bow"
  [pipeline]="units media optics steady track flight side bow rules"
  [picture]="units media optics steady rules"
  [report]="units rules"
  [arrow]="units"
  [tune]="units rules arrow"
  [session]="units media optics rules pipeline picture report arrow tune"
  [logbook]="units rules report arrow tune"
  [page]="units media rules report arrow tune"
  [desk]="units rules report tune session logbook page"
  [serve]="units media rules picture report tune session desk"
)
# Plain data that both track and flight speak.
exceptions=" "

bad=0
complain() {
  printf '%s\n' "$1"
  bad=1
}

shopt -s nullglob
for folder in src/*/ include/nocktrail/*/; do
  room=$(basename "$folder")
  [[ $room == cli ]] && continue
  if [[ ! -v may[$room] ]]; then
    complain "$folder: a room that tools/check_layers.sh does not know; give it a place in the order"
    continue
  fi
  while IFS=: read -r file line include; do
    header=$(sed -E 's/.*"nocktrail\/([^"]+)".*/\1/' <<<"$include")
    [[ $header == */* ]] || continue
    target=${header%%/*}
    [[ $target == "$room" || " ${may[$room]} " == *" $target "* ]] && continue
    [[ $exceptions == *" $room>$header "* ]] && continue
    complain "$file:$line: $room must not include $header"
  done < <(grep -rnE '^#include "nocktrail/' "$folder" || true)
  # Private headers stay private: no path out of the room's own folder.
  while IFS=: read -r file line include; do
    complain "$file:$line: a private header of another folder: $include"
  done < <(grep -rnE '^#include "(\.\./|src/)' "$folder" || true)
done

# The clip maker is the other side of the truth tests: a shared formula would hide a shared mistake.
while IFS=: read -r file line include; do
  complain "$file:$line: the clip maker must share no code with the measuring library: $include"
done < <(grep -rnE '^#include [<"]nocktrail/' tools/clipmaker || true)

((bad == 0)) && echo "Layers: every include follows the order of rooms."
exit "$bad"
