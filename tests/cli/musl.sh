#!/bin/bash
# SPDX-License-Identifier: MIT
# tests/cli/musl.sh GENERATED: compiles every source with musl-gcc (Debian's musl-tools) against musl's headers, and those of the
# libraries and the kernel from here. Nothing is linked: Debian has no libraries that are built for musl.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
generated=$(realpath "$1")
cd "$tree" || exit 1
command -v musl-gcc >/dev/null || { echo "musl-gcc is not installed: apt-get install musl-tools" >&2 && exit 1; }
headers=$(mktemp -d)
trap 'rm -rf "$headers"' EXIT
machine=$(gcc -print-multiarch)
for name in sndfile.h ebur128.h ini.h expat.h expat_external.h jansson.h jansson_config.h xxhash.h openssl kissfft linux asm-generic; do
    ln -s /usr/include/$name "$headers/"
done
ln -s "/usr/include/$machine/asm" "/usr/include/$machine/expat_config.h" "$headers/"
mkdir "$headers/more" && ln -s "/usr/include/$machine/openssl" "$headers/more/"
count=0 failed=0
for file in src/*.c src/*/*.c; do
    count=$((count + 1))
    musl-gcc -std=c11 -Wall -Wextra -Wconversion -Wshadow -Wvla -Werror -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -Iinclude -Isrc \
        -I"$generated" -Dkiss_fft_scalar=float -DKISS_FFT_SHARED -idirafter "$headers" -idirafter "$headers/more" \
        -idirafter "$headers/kissfft" -fsyntax-only "$file" || failed=$((failed + 1))
done
echo "$((count - failed)) of $count sources compile against musl"
[ $failed = 0 ] && [ $count -gt 100 ]
