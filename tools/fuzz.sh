#!/usr/bin/env bash
# Fuzzes everything that reads bytes from outside (tests/fuzz), under the address and
# undefined-behaviour sanitizers, with clang's libFuzzer.
#   tools/fuzz.sh [SECONDS [TARGET...]]   each for so long (60), all when none is named
#   tools/fuzz.sh RUNSx [TARGET...]       each so many inputs, the same ones every time
# As many at once as there are cores.
# What makes a target crash, hang or eat memory is copied to tests/fuzz/crashes/TARGET, to be mended
# and committed: the test fuzz_replay_TARGET runs it ever after. What the fuzzers learn stays in
# build/sanitize/fuzz/learnt and is used the next time. Exit status 1 when something was found.
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

limit=${1:-60}
targets=("${@:2}")
((${#targets[@]} > 0)) || targets=(clip facts setup reading files import_json import_csv)

tools/setup.sh --dev
configure sanitize
build sanitize "${targets[@]/#/fuzz_}"

# The longest input tried: far above what a seed holds, far below what only takes time.
max_len() {
  case $1 in
    clip) echo 32768 ;;
    facts | setup | files) echo 16384 ;;
    *) echo 65536 ;;
  esac
}
dictionary() {
  case $1 in
    facts | setup) echo -dict=tests/fuzz/facts.dict ;;
    reading | files | import_json) echo -dict=tests/fuzz/json.dict ;;
  esac
}

export LSAN_OPTIONS="suppressions=$root/tools/lsan.supp:print_suppressions=0"
export UBSAN_OPTIONS=print_stacktrace=1
symbolizer=$(command -v llvm-symbolizer-14 || true)
export ASAN_SYMBOLIZER_PATH=$symbolizer

# Fuzzes target $1; "EXECUTIONS FOUND" goes to $results/$1.
fuzz() {
  local target=$1
  local learnt=build/sanitize/fuzz/learnt/$target
  local how_long=(-max_total_time="$limit")
  if [[ $limit == *x ]]; then
    learnt=$(mktemp -d)  # what was learnt before would lead elsewhere
    how_long=(-runs="${limit%x}" -seed=1)
  fi
  local artifacts=build/sanitize/fuzz/found/$target log=build/sanitize/fuzz/$target.log
  mkdir -p "$learnt" "$artifacts"
  local seeds=(tests/fuzz/corpus/"$target")
  [[ -d tests/fuzz/crashes/$target ]] && seeds+=(tests/fuzz/crashes/"$target")
  local from=$SECONDS
  # A minute of processor time for one input, or 2 GB, is a hang or a leak under any load.
  build/sanitize/tests/fuzz/fuzz_"$target" "$learnt" "${seeds[@]}" "${how_long[@]}" \
    -max_len="$(max_len "$target")" $(dictionary "$target") -timeout=60 -rss_limit_mb=2048 \
    -artifact_prefix="$artifacts/" -print_final_stats=1 >"$log" 2>&1 || true
  local ran new=0 input
  ran=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
  for input in "$artifacts"/*; do
    [[ -f $input && $(basename "$input") != slow-unit-* ]] || continue
    mkdir -p "tests/fuzz/crashes/$target"
    mv "$input" "tests/fuzz/crashes/$target/"
    new=$((new + 1))
  done
  [[ $limit != *x ]] || rm -rf "$learnt"
  if ((new == 0)) && [[ -z $ran ]]; then
    tail -n 20 "$log"
    die "fuzz_$target ended without a word on what it did; all it said is in $log"
  fi
  printf 'fuzz %-12s %6d s  %9d executions  %d found\n' "$target" $((SECONDS - from)) "${ran:-0}" "$new"
  ((new == 0)) || grep -m 3 -E 'ERROR: |SUMMARY: |runtime error|^fuzz: ' "$log" || true
  echo "${ran:-0} $new" >"$results/$target"
}

results=$(mktemp -d)
trap 'rm -rf "$results"' EXIT
at_once=$(jobs)
running=0
for target in "${targets[@]}"; do
  if ((running == at_once)); then
    wait -n || true
    running=$((running - 1))
  fi
  fuzz "$target" &
  running=$((running + 1))
done
wait
for target in "${targets[@]}"; do
  [[ -f $results/$target ]] || die "fuzz_$target did not end as it should"
done
read -r executions found < <(cat "$results"/* | awk '{ e += $1; f += $2 } END { print e, f }')
echo "fuzz: ${#targets[@]} targets, $executions executions, $found found"
((found == 0))
