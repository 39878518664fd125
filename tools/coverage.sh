#!/usr/bin/env bash
# Which lines of the library and the program the tests run, counted by gcov: prints one line for each
# file and the whole, and leaves out/coverage/index.html. The minutes-long tests of known truth are
# left out; what they run beyond the others is accuracy, not lines.
#   tools/coverage.sh [further options of ctest]
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

tools/setup.sh --dev
configure coverage
build coverage
find build/coverage -name '*.gcda' -delete
say "Testing"
run_tests coverage -LE accuracy "$@"
say "Coverage"
mkdir -p out/coverage
# What the compiler adds for exceptions is no branch of ours.
gcovr --root . --filter 'src/' --filter 'include/' --exclude-throw-branches -j "$(jobs)" \
  --gcov-ignore-parse-errors --html-details out/coverage/index.html --txt out/coverage/table.txt \
  --print-summary build/coverage
