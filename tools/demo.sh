#!/usr/bin/env bash
# Installs, configures, builds and reads one of the shipped clips; leaves out/still.png and
# out/reading.json and prints the reading.
#   tools/demo.sh [further options of nocktrail read]
#   tools/demo.sh --session   films and reads a whole tuning session instead, in a few minutes
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

clip=test-clips/portrait-right.mp4
# What the archer would know, as well as the archer would know it: hand, arrow, phone.
truth=${clip%.mp4}.truth.json

tools/setup.sh
configure release
build release nocktrail_program

if [[ ${1:-} == --session ]]; then
  build release nocktrail_clipmaker nocktrail_worked_session
  tools/worked_session.sh out/worked
  say "Reading the session"
  build/release/src/cli/nocktrail session out/worked/rook-hollow --logbook out/worked/logbook.db
  say "The report is out/worked/rook-hollow/nocktrail-results/report.html"
  exit
fi

known() { sed -n "s/^ *\"$1\": *\"\{0,1\}\([^\",]*\)\"\{0,1\},\{0,1\}$/\1/p" "$truth" | head -n 1; }
say "Reading $clip"
mkdir -p out
build/release/src/cli/nocktrail read --hand "$(known hand)" \
  --arrow-length "$(LC_ALL=C printf '%.3f' "$(known arrow_length_m)")m" \
  --focal-35mm "$(LC_ALL=C printf '%.0f' "$(known focal_35mm)")" \
  --json out/reading.json --still out/still.png "$@" "$clip"
say "The picture is out/still.png, the numbers are in out/reading.json"
