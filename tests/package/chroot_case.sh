#!/usr/bin/env bash
# Builds the Debian package, installs it in a chroot that holds nothing but Debian's base system, and runs both programs
# there on films that are made there.
#
# usage: chroot_case.sh BUILD
#
# Takes some minutes and fetches a few hundred megabytes from the Debian mirror, so no part of the usual tests:
# scripts/test package. Exits 77 where it cannot be tried: not root, no debootstrap, no mirror.
set -euo pipefail
build=$(realpath "$1")
mirror=${TIDEMARK_MIRROR:-http://deb.debian.org/debian}
[ "$(id -u)" -eq 0 ] || { echo "skipped: a chroot needs root" && exit 77; }
command -v debootstrap >/dev/null || { echo "skipped: debootstrap is not installed" && exit 77; }
root=$(mktemp -d)
chmod 755 "$root" # apt in there drops its rights
trap 'umount "$root/proc" 2>/dev/null || true; rm -rf --one-file-system "$root"' EXIT
package=$build/package
rm -rf "$package"
cpack --config "$build/CPackConfig.cmake" -B "$package"
deb=$(find "$package" -maxdepth 1 -name '*.deb')
[ "$(wc -l <<<"$deb")" -eq 1 ] || { echo "there is not one package: $deb" >&2 && exit 1; }
dpkg-deb --info "$deb"
debootstrap --variant=minbase bookworm "$root" "$mirror" >"$package/debootstrap.log" 2>&1 ||
  { tail -n 3 "$package/debootstrap.log" && echo "skipped: no base system from $mirror" && exit 77; }
mount -t proc proc "$root/proc"
cp "$deb" "$root/tidemark.deb"
inside() { chroot "$root" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin LC_ALL=C.UTF-8 HOME=/root "$@"; }
inside apt-get -qq update
inside sh -c 'DEBIAN_FRONTEND=noninteractive apt-get -qq install -y --no-install-recommends /tidemark.deb' \
  >"$package/install.log" 2>&1 || { tail -n 30 "$package/install.log" >&2 && exit 1; }
inside tidemark --version
inside tidemark phantom --hips 1 --pixel-pitch 0.8 --follow-ups 1 --seed 7 --out /films
inside tidemark measure /films --out /result
for file in result.json measurements.csv report.html report.pdf overlay-00.png pair-01.png; do
  [ -s "$root/result/$file" ] || { echo "no $file" >&2 && exit 1; }
done
grep -q '"status": "measured"' "$root/result/result.json"
inside tidemark-review --version
# The window comes up, and stays up until it is told to go.
code=0
inside env QT_QPA_PLATFORM=offscreen timeout 10 tidemark-review /films || code=$?
[ "$code" -eq 124 ] || { echo "the window ended with $code" >&2 && exit 1; }
for file in share/applications/tidemark-review.desktop share/man/man1/tidemark.1 share/man/man1/tidemark-review.1; do
  [ -s "$root/usr/$file" ] || [ -s "$root/usr/$file.gz" ] || { echo "no /usr/$file" >&2 && exit 1; }
done
inside apt-get -qq remove -y tidemark >/dev/null
[ ! -e "$root/usr/bin/tidemark" ]
echo "installed, run and removed in a clean chroot: $(basename "$deb")"
