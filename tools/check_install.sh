#!/usr/bin/env bash
# Installs the release build into a scratch folder and builds and runs a small project that finds
# it there with find_package(nocktrail).
#   tools/check_install.sh
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cmake --install build/release --prefix "$scratch/prefix" >"$scratch/install.log"
cmake -S tests/consumer -B "$scratch/build" -G Ninja -DCMAKE_PREFIX_PATH="$scratch/prefix" \
  -DCMAKE_BUILD_TYPE=Release >"$scratch/configure.log" || { cat "$scratch/configure.log"; exit 1; }
cmake --build "$scratch/build"
"$scratch/build/consumer"
"$scratch/prefix/bin/nocktrail" --version
