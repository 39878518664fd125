#!/usr/bin/env bash
# Installs, configures, builds and runs every test.
#   tools/test.sh [further options of ctest]
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

tools/setup.sh
configure release
build release
say "Testing"
run_tests release "$@"
