# Shared by the scripts of this folder: source it, do not run it.
source tools/common.sh

go_on=0  # 1: a failed step does not stop the others
said=$(mktemp)
trap 'rm -f "$said"' EXIT
fallen=()

# step NAME COMMAND...: runs it, says how long it took, keeps what it said for the counts.
step() {
  local name=$1 from=$SECONDS status=0
  shift
  say "$name"
  "$@" 2>&1 | tee -a "$said" || status=$?
  echo "-- $name: $((SECONDS - from)) s"
  ((status == 0)) && return
  fallen+=("$name")
  ((go_on)) || all_passed
}

# A configuration of the preset $1 in which a warning is an error; it stays so.
warnings_are_errors() {
  configure "$1" -DNOCKTRAIL_WARNINGS_AS_ERRORS=ON
}

sanitized() {
  build sanitize || return
  say "Testing under the sanitizers"
  # What is about accuracy, not memory, takes too long here: the clips of known truth, the statistics
  # of many simulated arrows, flights, shots and archers (a quarter of an hour for the judgement's
  # alone, ten minutes each for the arrow's and the flight's from the side; sessions and pages run
  # the same code), looses looked at with more or less effort; sessions and pages that wait for a
  # dozen readings, of which test_pipeline makes enough (test_serve asks the same server for all that
  # needs none, and the thread sanitizer runs test_parallel); reports laid out by a browser, and
  # questions to the logbook by way of the command, which test_logbook asks itself; and test_cli's
  # Ctrl-C counts on a quick start. .ci/nightly runs these, too.
  run_tests sanitize -LE accuracy -E \
    '^(test_flight|side_fit_test|test_effort|arrow_test|arrow_effects_test|tune_test|test_parallel|test_serve_(pages.*|readings)|test_page|test_logbook_command|test_cli)$'
}

# Those, too, but for the clips of known truth, the closed loop and test_cli.
all_sanitized() {
  build sanitize || return
  say "Testing under the sanitizers"
  run_tests sanitize -LE accuracy -E '^test_cli$' --timeout 7200
}

# The last words: what fell, and the counts of all tests that ran.
all_passed() {
  local passed failed skipped
  read -r passed failed skipped < <(awk '
    /^[0-9]+ passed, [0-9]+ failed, [0-9]+ skipped$/ { p += $1; f += $3; s += $5 }
    END { print p + 0, f + 0, s + 0 }' "$said")
  if ((${#fallen[@]} > 0)); then
    printf '\nFailed: %s\n' "${fallen[@]}"
    echo "$passed passed, $((failed > 0 ? failed : ${#fallen[@]})) failed, $skipped skipped"
    exit 1
  fi
  printf '\nAll checks passed.\n'
  echo "$passed passed, $failed failed, $skipped skipped"
}
