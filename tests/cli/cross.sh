#!/bin/bash
# SPDX-License-Identifier: MIT
# tests/cli/cross.sh s390x|i386 [TEST...]: builds for another processor against that processor's Debian 12 packages, runs module
# tests there (default: those of the folders base, judge, report and what reads and writes bytes), and holds the report of the
# demonstration card to be the native one, to the byte. s390x is big-endian and runs under qemu; i386 has 32-bit sizes and
# runs as it is. Needs mmdebstrap, qemu-user, gcc-s390x-linux-gnu or gcc-i686-linux-gnu with their libc6-dev-…-cross.
# ROOT: where the packages are unpacked and kept, default build/cross.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
arch=${1:-s390x}
shift
cd "$tree" || exit 1
case $arch in
s390x) tool=s390x-linux-gnu library=$tool ;;
i386) tool=i686-linux-gnu library=i386-linux-gnu ;;
*) echo "s390x or i386" >&2 && exit 1 ;;
esac
root=${ROOT:-$tree/build/cross}/$arch
for command in mmdebstrap $tool-gcc qemu-s390x; do
    command -v $command >/dev/null || { echo "$command is not installed: see DEVELOPERS.md" >&2 && exit 1; }
done
packages=libsndfile1-dev,libebur128-dev,libinih-dev,libexpat1-dev,libjansson-dev,libxxhash-dev,libssl-dev,libkissfft-dev
if [ ! -e "$root/usr/include/sndfile.h" ]; then
    mkdir -p "$(dirname "$root")"
    mmdebstrap --quiet --arch=$arch --variant=extract --include=$packages,check,libc6-dev,libsubunit-dev bookworm "$root" \
        "${MIRROR:-http://deb.debian.org/debian}" || exit 1
    # Links from the root of the file system would lead out of the folder.
    find "$root" -type l -lname '/*' | while read -r link; do
        ln -srf "$root$(readlink "$link")" "$link"
    done
fi
export PKG_CONFIG_SYSROOT_DIR=$root PKG_CONFIG_LIBDIR=$root/usr/lib/$library/pkgconfig:$root/usr/share/pkgconfig
places="$root/usr/lib/$library:$root/lib/$library"
build() {
    make VARIANT=$arch MACHINE=$arch CC="$tool-gcc --sysroot=$root -B$root/usr/lib/$library -L$root/usr/lib/$library -Wl,-rpath-link,$places" \
        AR=$tool-ar OBJCOPY=$tool-objcopy LD=$tool-ld CFLAGS="-O2 -g1" "$@"
}
case $arch in
s390x) run="qemu-s390x -L $root" ;;
i386) run="$root/lib/ld-linux.so.2 --library-path $places" && export GCONV_PATH=$root/usr/lib/$library/gconv ;;
esac
[ $# -gt 0 ] || set -- $(ls tests/{base,judge,report}/test_*.c tests/read/test_{bext,chunks,decode,ixml,kind,riff,sectors,tail,timecode}.c \
    tests/handoff/test_{hash,manifest,mhl,verify}.c tests/measure/test_clip.c)
programs=()
for test in "$@"; do programs+=("build/$arch/${test%.c}"); done
build build/$arch/takeproof "${programs[@]}" || exit 1
failed=0
WRAP=$run CK_TIMEOUT_MULTIPLIER=40 tests/run.sh "${programs[@]}" || failed=1

native=${TAKEPROOF:-$tree/build/release/takeproof}
card=$(mktemp -d)
trap 'rm -rf "$card"' EXIT
"$(dirname "$native")/tests/demo/demo_card" "$card/card" >/dev/null || exit 1
cd "$card" || exit 1
export SOURCE_DATE_EPOCH=2000000000
"$native" check card --json >native.json
status=$?
$run "$tree/build/$arch/takeproof" check card --json --jobs 1 >cross.json
[ $? = $status ] || { echo "another exit status than here" && failed=1; }
if cmp native.json cross.json; then
    echo "1 of 1 reports is the same on $arch as here, to the byte"
else
    failed=1
fi
exit $failed
