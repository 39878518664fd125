#!/usr/bin/env bash
# What works in several threads, under the thread sanitizer: a session's readers, watching a folder,
# and the real reader on two clips at once.
#   tools/tsan.sh
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

tools/setup.sh
configure tsan
build tsan test_session test_parallel
say "Testing under the thread sanitizer"
run_tests tsan -R '^(test_session|test_parallel)$'
