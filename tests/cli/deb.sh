#!/bin/bash
# SPDX-License-Identifier: MIT
# Builds the Debian packages, twice to see that they come out the same, has lintian look at them, and, as root with debootstrap,
# installs them in a fresh Debian 12, uses them there, and removes them without a trace.
# ROOT: where that system is made; kept for the next run when KEEP=1.
set -euo pipefail
cd "$(dirname "$0")/../.."
export SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct)}
.ci/package
sums() { (cd build/packages && sha256sum ./*.deb); }
first=$(sums)
.ci/package >/dev/null
[ "$first" = "$(sums)" ] || { echo "two builds of the packages differ"; exit 1; }
echo "two builds of the packages are the same to the byte"

if [ "$(id -u)" != 0 ] || ! command -v debootstrap >/dev/null; then
    echo "not root or no debootstrap: the packages were not installed anywhere"
    exit 0
fi
root=${ROOT:-/tmp/chroot-takeproof-deb}
leave() { [ "${KEEP:-0}" = 1 ] || rm -rf "$root"; }
trap leave EXIT
[ -e "$root/etc/debian_version" ] ||
    debootstrap --variant=minbase --include=ca-certificates bookworm "$root" "${MIRROR:-http://deb.debian.org/debian}" >/dev/null
[ ! -e /etc/resolv.conf ] || cp -L /etc/resolv.conf "$root/etc/resolv.conf"
inside() { chroot "$root" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8 "$@"; }
rm -rf "$root/try" && mkdir "$root/try"
cp build/packages/*.deb tests/examples/verdict.c "$root/try"
build/release/tests/demo/demo_card "$root/try/card" >/dev/null
inside apt-get update -qq
inside apt-get install -y -qq --no-install-recommends gcc libc6-dev pkg-config >/dev/null 2>&1
before=$(inside dpkg-query -W -f '${Package} ')
files() { (cd "$root" && find usr etc -path 'usr/share/doc' -prune -o -print | grep -i takeproof || true); }
inside sh -c 'apt-get install -y -qq --no-install-recommends /try/*.deb' >/dev/null 2>&1
inside takeproof --version
inside sh -c 'takeproof check --quiet /try/card; test $? -le 2'
inside sh -c 'cd /try && gcc verdict.c -o verdict $(pkg-config --cflags --libs takeproof) && { ./verdict card; test $? -le 2; }' | tail -n 3
inside dpkg --verify takeproof libtakeproof0 libtakeproof-dev
[ -n "$(files)" ]
inside apt-get purge -y -qq takeproof libtakeproof0 libtakeproof-dev >/dev/null 2>&1
inside apt-get autoremove -y -qq >/dev/null 2>&1
[ -z "$(files)" ] || { echo "left behind:"; files; exit 1; }
[ "$before" = "$(inside dpkg-query -W -f '${Package} ')" ] || { echo "other packages stayed behind"; exit 1; }
echo "installed, used and removed in a fresh Debian $(cat "$root/etc/debian_version")"
