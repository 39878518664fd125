#!/usr/bin/env bash
# Lays out all C++ of the project as .clang-format has it.
#   tools/format.sh          rewrites
#   tools/format.sh --check  only names the files that differ, and fails if there are any
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

# One version only: others lay some lines out differently.
tool=$(command -v clang-format-14) || die "clang-format-14 is missing: apt-get install clang-format-14"
mapfile -t files < <(git ls-files '*.cpp' '*.hpp')
if [[ ${1:-} == --check ]]; then
  "$tool" --dry-run --Werror "${files[@]}" 2>&1 | sed -n 's/: error: code should be clang-formatted.*//p' |
    cut -d: -f1 | sort | uniq -c | sed 's/^ *\([0-9]*\) \(.*\)/\2: \1 places/'
  exit "${PIPESTATUS[0]}"
fi
"$tool" -i "${files[@]}"
