#!/usr/bin/env bash
# Installs what tools/packages.txt lists and is not there yet (Debian 12, apt). Does nothing, and
# asks for no rights, when everything is there.
#   tools/setup.sh [--dev]   --dev: also tools/packages-dev.txt, for the checks
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

lists=(tools/packages.txt)
[[ ${1:-} == --dev ]] && lists+=(tools/packages-dev.txt)
wanted=$(sed -e 's/#.*//' -e '/^[[:space:]]*$/d' "${lists[@]}")

command -v dpkg-query >/dev/null || die "this is not Debian; install by hand what tools/packages.txt \
lists, then: cmake --preset release && cmake --build --preset release"

missing=()
for package in $wanted; do
  # One package at a time: a name dpkg has never heard of must not hide the others.
  state=$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null || true)
  [[ $state == installed ]] || missing+=("$package")
done
if ((${#missing[@]} == 0)); then
  echo "All packages are installed."
  exit 0
fi

say "Installing ${#missing[@]} packages: ${missing[*]}"
as_root=()
if (($(id -u) != 0)); then
  command -v sudo >/dev/null ||
    die "installing packages needs root and there is no sudo: run tools/setup.sh as root once"
  as_root=(sudo)
fi
# A fresh machine may be busy with its own updates: wait for the lock.
apt=("${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -q -o DPkg::Lock::Timeout=300)
"${apt[@]}" update
"${apt[@]}" install -y --no-install-recommends "${missing[@]}"
