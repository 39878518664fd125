#!/usr/bin/env bash
# Runs clang-tidy (.clang-tidy) over the sources named, or those that differ from the last commit
# but one of the main line, at most six: all of them take the better part of an hour.
#   tools/tidy.sh [FILE.cpp...]
#   tools/tidy.sh --all
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

[[ -f build/release/compile_commands.json ]] || configure release
if [[ ${1:-} == --all ]]; then
  mapfile -t files < <(git ls-files 'src/*.cpp')
elif (($# > 0)); then
  files=("$@")
else
  mapfile -t files < <(git diff --name-only --diff-filter=d HEAD~1 -- 'src/*.cpp' 2>/dev/null | head -n 6)
fi
((${#files[@]} > 0)) || { echo "Nothing changed."; exit 0; }
# The compile commands are GCC's: warnings that clang does not know are no finding.
printf '%s\n' "${files[@]}" | xargs -P "$(jobs)" -n 1 \
  clang-tidy-14 -p build/release --quiet --warnings-as-errors='*' \
  --extra-arg=-Wno-unknown-warning-option 2>/dev/null
