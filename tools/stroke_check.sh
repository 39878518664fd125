#!/usr/bin/env bash
# Films simulated shots and reads the films: invented set-ups go through the simulated power
# stroke, the clip maker draws each flight, `nocktrail read` measures it. Prints a Markdown table of
# simulated against read values in the bow's frame. Judges nothing; docs/arrow-model.md keeps a run.
#   tools/stroke_check.sh [build folder [folder for the clips [number of films]]]
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

build=${1:-build/release}
out=${2:-out/stroke}
films=${3:-8}
program=$build/src/cli/nocktrail
maker=$build/tools/clipmaker/nocktrail_clipmaker
for tool in "$program" "$maker"; do
  [[ -x $tool ]] || die "$tool is not there; name the build folder as the first argument"
done
command -v jq >/dev/null || die "jq is missing; apt-get install jq"
mkdir -p "$out"

number() { jq -r "$2" "$1" | LC_ALL=C xargs printf '%+.2f'; }
with_interval() {
  jq -r "$2 | \"\(.value) \(.u95)\"" "$1" | LC_ALL=C xargs printf '%+.2f ± %.2f'
}
# Whether |read - simulated| <= u95.
inside() { jq -r "$2 | if ((.value - ($3)) | fabs) <= .u95 then \"yes\" else \"no\" end" "$1"; }

row() {
  local name=$1 index=$2 hand=$3 spine=$4 nocking=$5 mass=$6
  local base=$out/$name
  "$program" effects --template |
    sed -e "s|^hand = \"right\"|hand = \"$hand\"|" -e "s|^spine = [^#]*|spine = \"$spine\"|" \
      -e "s|^nocking_point = .*|nocking_point = \"$nocking\"|" \
      -e "s|^tip_mass = [^#]*|tip_mass = \"$mass\"|" >"$base.toml"
  "$program" effects "$base.toml" --exit-state "$base.json" 2>/dev/null
  # The series draws camera, cant, place and light; bow, arrow and shot are the simulated ones.
  [[ -s $base.mp4 ]] || "$maker" --random 61 --first "$index" --n 1 --stroke "$base.json" \
    --before 0.2 --after 0.25 --name "$name" --out "$out"
  local truth=$base.truth.json status=0
  "$program" read --hand "$hand" --cant "$(jq .cant_deg "$truth")" \
    --arrow-length "$(jq .arrow.arrow_length_m "$truth")m" \
    --focal-35mm "$(jq .camera.focal_35mm "$truth")" --json "$base.reading.json" \
    "$base.mp4" >/dev/null 2>&1 || status=$?
  local cant lateral vertical
  cant=$(number "$truth" .cant_deg)
  lateral=$(jq .lateral.reference_offset_deg "$base.json")
  vertical=$(jq .vertical.reference_offset_deg "$base.json")
  printf '| %s, %s, %s, %s | %s | %+.2f | ' "$hand" "$spine" "$nocking" "$mass" "$cant" "$lateral"
  local bow='.shots[0].in_bow'
  if ((status == 0)); then
    printf '%s | %s | %+.2f | %s | %s | %s |\n' \
      "$(with_interval "$base.reading.json" "$bow.nock_right_deg")" \
      "$(inside "$base.reading.json" "$bow.nock_right_deg" "$lateral")" "$vertical" \
      "$(with_interval "$base.reading.json" "$bow.nock_high_deg")" \
      "$(inside "$base.reading.json" "$bow.nock_high_deg" "$vertical")" \
      "$(jq -r .shots[0].verdict.spine "$base.reading.json")"
  else
    printf 'none: %s | | %+.2f | | | |\n' \
      "$(jq -r '.reason // .shots[0].reason' "$base.reading.json" 2>/dev/null)" "$vertical"
  fi
}

export LC_ALL=C
echo '| hand, spine, nocking point, tip | cant | lateral, simulated | read | inside | vertical, simulated | read | inside | verdict |'
echo '|---|---|---|---|---|---|---|---|---|'
{
  row matched-right 0 right 0.520in 1/2in 125gr
  row weak-right 1 right 0.600in 1/2in 125gr
  row stiff-right 2 right 0.450in 1/2in 125gr
  row high-right 3 right 0.540in 11/16in 125gr
  row weak-left 4 left 0.580in 1/2in 140gr
  row stiff-left 5 left 0.450in 9/16in 110gr
  row high-left 6 left 0.530in 11/16in 125gr
  row low-right 7 right 0.500in 3/8in 125gr
  # Further ones go through the lists below, which are of different lengths.
  hands=(right left)
  spines=(0.450in 0.480in 0.500in 0.520in 0.540in 0.560in 0.600in)
  nockings=(1/2in 9/16in 7/16in 5/8in 3/8in)
  masses=(125gr 110gr 145gr)
  for ((i = 8; i < films; ++i)); do
    row "film-$i" "$i" "${hands[i % 2]}" "${spines[i % 7]}" "${nockings[i % 5]}" "${masses[i % 3]}"
  done
} | tee "$out/table.md"
awk -F'|' '
  $5 ~ /none/ { ++none; next }
  { ++read; lateral += $6 ~ /yes/; vertical += $9 ~ /yes/ }
  END { printf "\nRead %d, not read %d; inside: lateral %d, vertical %d.\n", read, none, lateral, vertical }
' "$out/table.md"
