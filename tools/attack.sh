#!/usr/bin/env bash
# Attacks the built program in a scratch folder and counts what was tried, what was lost, and what
# else went wrong: an end by a signal, a run without end, a flood of words, a lie about the shots,
# litter left behind.
#   tools/attack.sh [PROGRAM [ATTACK...]]   build/release/src/cli/nocktrail; all attacks
# "Lost" is any change to clips, hand-written files, logbook or anything outside the results: by
# SHA-256, names and link targets, before and after. Exit status 1 if anything was lost or wrong.
# Small disks are mounted in a name space of the script's own and vanish with it; where that is not
# allowed, the attacks that need one say that they are skipped.
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

if [[ -z ${NOCKTRAIL_ATTACK_INSIDE:-} ]]; then
  export NOCKTRAIL_ATTACK_INSIDE=none
  for way in -m -rm; do
    if unshare "$way" true 2>/dev/null; then
      NOCKTRAIL_ATTACK_INSIDE=mounts exec unshare "$way" "$root/tools/attack.sh" "$@"
    fi
  done
fi
source tools/attacks.sh

program=$(realpath -- "${1:-build/release/src/cli/nocktrail}")
[[ -x $program ]] || die "$program is not there; build it first: tools/test.sh, or name another"
for tool in jq sqlite3 perl sha256sum; do
  command -v "$tool" >/dev/null || die "$tool is missing; run tools/setup.sh"
done
attacks=("${@:2}")
if ((${#attacks[@]} == 0)); then
  mapfile -t attacks < <(compgen -A function attack_ | sed 's/^attack_//')
fi

work=$(mktemp -d)
trap 'umount "$work/small" 2>/dev/null || true; chmod -R u+w "$work"; rm -rf "$work"' EXIT
# Nothing of the user's own is in reach of the program.
export HOME=$work/home XDG_DATA_HOME=$work/home/data XDG_CONFIG_HOME=$work/home/config
mkdir -p "$HOME" "$XDG_DATA_HOME" "$XDG_CONFIG_HOME"

make_session
all_tried=0 all_lost=0 all_wrong=0 all_skipped=0
for attack in "${attacks[@]}"; do
  tried=0 lost=0 wrong=0 skipped=
  from=$SECONDS
  rm -rf "$work/arena"
  mkdir -p "$work/arena"
  "attack_$attack"
  if [[ -n $skipped ]]; then
    echo "attack $attack: skipped: $skipped"
    all_skipped=$((all_skipped + 1))
  fi
  printf 'attack %-20s %4d tried, %3d lost, %3d wrong  (%d s)\n' "$attack" "$tried" "$lost" "$wrong" \
    $((SECONDS - from))
  all_tried=$((all_tried + tried)) all_lost=$((all_lost + lost)) all_wrong=$((all_wrong + wrong))
done
echo "attacks: $all_tried tried, $all_lost lost, $all_wrong wrong, $all_skipped skipped"
((all_lost == 0 && all_wrong == 0 && all_tried > 0))
