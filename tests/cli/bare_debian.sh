#!/bin/bash
# SPDX-License-Identifier: MIT
# make demo and make check in a fresh Debian 12 that has only git and make, from a clone of what is committed.
# Needs root and debootstrap. ROOT: where the system is made (default below /tmp); removed at the end unless KEEP=1.
# TARGETS: what to run (default: demo check). Bind mounts nothing: /proc is mounted inside and unmounted at the end.
set -eu
tree=$(cd "$(dirname "$0")/../.." && pwd)
root=${ROOT:-/tmp/chroot-takeproof}
mirror=${MIRROR:-http://deb.debian.org/debian}
targets=${TARGETS:-demo check}
[ "$(id -u)" = 0 ] || { echo "needs root, for debootstrap and chroot" >&2; exit 1; }

leave() {
    umount "$root/proc" 2>/dev/null || true
    [ "${KEEP:-0}" = 1 ] || rm -rf "$root"
}
trap leave EXIT

if [ ! -e "$root/etc/debian_version" ]; then
    debootstrap --variant=minbase --include=git,make,ca-certificates bookworm "$root" "$mirror" >"$root.log" 2>&1 ||
        { tail "$root.log"; exit 1; }
fi
[ ! -e /etc/resolv.conf ] || cp -L /etc/resolv.conf "$root/etc/resolv.conf"
[ -z "${http_proxy:-}" ] || echo "Acquire::http::Proxy \"$http_proxy\";" >"$root/etc/apt/apt.conf.d/proxy"
mountpoint -q "$root/proc" || mount -t proc proc "$root/proc"
[ -e "$root/dev/full" ] || mknod -m 666 "$root/dev/full" c 1 7
rm -rf "$root/src" && git clone -q --no-hardlinks "$tree" "$root/src"
echo "installed in the fresh system: $(chroot "$root" dpkg-query -W -f '${Package}\n' | wc -l) packages; gcc: $(chroot "$root" sh -c 'command -v gcc || echo none')"
for target in $targets; do
    echo "== make $target"
    chroot "$root" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root sh -c "cd /src && make $target" </dev/null
done
echo "a fresh Debian $(cat "$root/etc/debian_version") did: $targets"
