#!/usr/bin/env bash
# Makes a Debian package of the program: out/package/nocktrail_VERSION_ARCH.deb.
#   tools/package.sh           makes it
#   tools/package.sh --check   installs it, too, in a bare Debian 12 of its own (debootstrap, as root),
#                              reads a clip there, removes it and looks that nothing is left
source "$(dirname "${BASH_SOURCE[0]}")/common.sh"

tools/setup.sh
command -v dpkg-shlibdeps >/dev/null || die "dpkg-shlibdeps is missing; install dpkg-dev"
configure release
build release nocktrail_program nocktrail_manual
rm -rf out/package
mkdir -p out/package
(cd build/release && cpack -G DEB -B "$root/out/package") >build/release/cpack.log 2>&1 ||
  { tail -n 20 build/release/cpack.log; die "the package was not made"; }
rm -rf out/package/_CPack_Packages
package=$(ls out/package/*.deb)
say "$package"
dpkg-deb --info "$package" | sed -n 's/^ \(Package\|Version\|Depends\|Installed-Size\)/\1/p'
[[ ${1:-} == --check ]] || exit 0

command -v debootstrap >/dev/null || die "debootstrap is missing; install it"
bare=$(mktemp -d)
trap 'umount "$bare/proc" 2>/dev/null || true; rm -rf --one-file-system "$bare" "$bare.log"' EXIT
# Where this machine gets its packages from.
mirror=$(cat /etc/apt/sources.list /etc/apt/sources.list.d/* 2>/dev/null |
  sed '/^#/d' | grep -oE 'https?://[^ ]+' | grep -v security | head -n 1 || true)
say "A bare Debian 12"
debootstrap --variant=minbase bookworm "$bare" "${mirror:-http://deb.debian.org/debian}" >"$bare.log" 2>&1 ||
  { tail -n 5 "$bare.log"; die "debootstrap failed"; }
for conf in /etc/apt/apt.conf.d/*proxy* /etc/apt/apt.conf; do
  [[ -f $conf ]] && cp "$conf" "$bare/etc/apt/apt.conf.d/"
done
cp "$package" "$bare/tmp/"
cp test-clips/portrait-right.mp4 "$bare/tmp/"
there() { chroot "$bare" /usr/bin/env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root LC_ALL=C.UTF-8 "$@"; }
list() { (cd "$bare" && find usr etc -path '*nocktrail*' | sort); }
say "Installing with what it depends on"
there apt-get update -qq
there apt-get install -y -qq --no-install-recommends "/tmp/$(basename "$package")" >/dev/null
list
there nocktrail --version
say "Reading a clip there"
there nocktrail read --hand right --still /tmp/still.png /tmp/portrait-right.mp4
[[ -s $bare/tmp/still.png ]] || die "no still was made"
say "Removing it"
there apt-get remove -y -qq nocktrail >/dev/null
[[ -z $(list) ]] || die "left behind: $(list)"
say "Installed, used and removed without a trace."
