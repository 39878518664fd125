#!/usr/bin/env bash
# Fails when reading has become slower: compares the figures of tools/bench/speed.sh with those of
# tools/bench/speed.txt. For a quiet machine; not one of the tests.
# Usage: tools/bench/speed_gate.sh BUILD_DIR [CLIP_WITH_SOUND]
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
figures=$(mktemp)
trap 'rm -f "$figures"' EXIT
"$here/speed.sh" "$@" | tee "$figures"
awk '
  FNR == NR { if ($1 == "figure") measured[$2] = $3; next }
  /^#/ || NF == 0 { next }
  !($1 in measured) { print "speed gate: no figure for " $1; bad = 1; next }
  {
    # Machines differ from run to run by a tenth.
    worse = $2 == "most" ? measured[$1] > $3 * 1.15 : measured[$1] < $3 / 1.15
    missed = $2 == "most" ? measured[$1] > $4 : measured[$1] < $4
    printf "speed gate: %s %.2f, was %.2f, asked %s %.2f%s%s\n", $1, measured[$1], $3, $2, $4,
      missed ? ": asked for and missed" : "", worse ? ": WORSE" : ""
    bad = bad || worse
  }
  END { exit bad }
' "$figures" "$here/speed.txt"
