#!/usr/bin/env bash
# Makes a tuning session of an invented archer: the set-ups of src/desk/demo/rook-hollow, each
# shot simulated and filmed by the clip maker. OUT_DIR gets the session's folder "rook-hollow", for
# `nocktrail session`, and beside it "truth", which no reader looks into.
#   tools/worked_session.sh OUT_DIR [build folder [shots of each set-up [seed]]]
# Clips that are there already are kept, so a run that was broken off goes on.
called_from=$PWD
# shellcheck source=tools/common.sh
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

(($# >= 1)) || die "name a folder: tools/worked_session.sh OUT_DIR [build folder [shots [seed]]]"
out=$(cd "$called_from" && realpath -m -- "$1")
build=$root/build/release
if [[ -n ${2:-} ]]; then
  build=$(cd "$called_from" && realpath -m -- "$2")
fi
shots=${3:-6}
seed=${4:-2}
archer=$build/tools/worked_session/nocktrail_worked_session
export maker=$build/tools/clipmaker/nocktrail_clipmaker
for tool in "$archer" "$maker"; do
  [[ -x $tool ]] || die "$tool is not there; name the build folder as the second argument"
done

export session=$out/rook-hollow truth=$out/truth
mkdir -p "$session" "$truth"
# Films and truth must be of the same shots.
made="seed $seed, $shots shots"
if [[ -s $truth/made.txt && $(<"$truth/made.txt") != "$made" ]]; then
  die "$out holds the session of $(<"$truth/made.txt"); name another folder or remove it"
fi
echo "$made" >"$truth/made.txt"
(cd src/desk/demo/rook-hollow && find . -name "*.toml" -exec cp --parents -t "$session" {} +)

film() {
  local setup=$1 name=$2
  [[ -s $session/$setup/$name.mp4 ]] && return
  # Drawn beside the truth and moved when whole: the reader sees finished clips and nothing else.
  "$maker" --spec "$truth/$setup/$name.spec.json" --stroke "$truth/$setup/$name.stroke.json" \
    --out "$truth/$setup/$name.mp4"
  mv "$truth/$setup/$name.mp4" "$session/$setup/$name.mp4"
}
export -f film

"$archer" "$session" "$truth" --seed "$seed" --shots "$shots" >"$truth/clips.txt"
say "Filming $(wc -l <"$truth/clips.txt") shots"
xargs -P "$(nproc)" -L 1 bash -euc 'film "$@"' film <"$truth/clips.txt"
say "The session is $session, the truth is in $truth"
