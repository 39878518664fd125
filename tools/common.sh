# Shared by the scripts of this folder: source it, do not run it.
set -euo pipefail

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$root"

say() { printf '\n== %s\n' "$*"; }

die() {
  printf 'nocktrail: %s\n' "$*" >&2
  exit 1
}

# How many compilers at once: the fitting code takes over a gigabyte each, so a small machine with
# many cores must not run them all.
jobs() {
  local cores memory_kb
  cores=$(nproc)
  memory_kb=$(awk '/^MemAvailable:/ {print $2}' /proc/meminfo)
  local fit=$((memory_kb / 1500000))
  ((fit < 1)) && fit=1
  echo $((cores < fit ? cores : fit))
}

# Configures the preset $1 in build/$1; further arguments go to CMake.
configure() {
  local preset=$1
  shift
  # Paths below the project are hashed relative to it, so that a clone elsewhere finds them again.
  export CCACHE_BASEDIR=$root CCACHE_NOHASHDIR=1
  local launcher=()
  if command -v ccache >/dev/null; then
    launcher=(-DCMAKE_CXX_COMPILER_LAUNCHER=ccache)
  fi
  say "Configuring build/$preset"
  cmake --preset "$preset" "${launcher[@]}" "$@" | sed -n '/warning/Ip; /error/Ip; /written to/p'
}

# Builds target $2... of the preset $1, everything when none is named.
build() {
  local preset=$1
  shift
  say "Building (a few minutes the first time)"
  local targets=()
  (($# > 0)) && targets=(--target "$@")
  cmake --build "build/$preset" -j "$(jobs)" "${targets[@]}"
}

# Runs the tests of the preset $1; further arguments go to ctest. Says what was skipped, which tests
# do by a line when a tool is missing, and closes with the counts.
run_tests() {
  local preset=$1 status=0
  shift
  local said
  said=$(mktemp)
  ctest --preset "$preset" -j "$(jobs)" "$@" 2>&1 | tee "$said" || status=$?
  local failed total skipped
  read -r failed total < <(
    sed -n 's/^[0-9]*% tests passed, \([0-9]*\) tests\{0,1\} failed out of \([0-9]*\)$/\1 \2/p' "$said") || true
  rm -f "$said"
  skipped=$(grep -ho 'skipped: .*' "build/$preset/Testing/Temporary/LastTest.log" || true)
  if [[ -n $skipped ]]; then
    echo "Skipped:"
    sort <<<"$skipped" | uniq -c
  fi
  echo "$((${total:-0} - ${failed:-0})) passed, ${failed:-1} failed, $(grep -c . <<<"$skipped" || true) skipped"
  return "$status"
}
