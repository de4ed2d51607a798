#!/bin/sh
# SPDX-License-Identifier: MIT
# The release build carries the usual protections, told by readelf (binutils). Other builds are made for other ends.
set -u
case $TAKEPROOF_BUILD in
*/release) ;;
*) echo "1 of 1 skipped: not the release build" && exit 0 ;;
esac
tried=0 failed=0
has() { # has WHAT PATTERN OPTION...
    what=$1 pattern=$2
    shift 2
    tried=$((tried + 1))
    readelf -W "$@" "$TAKEPROOF" | grep -q "$pattern" || {
        echo "missing: $what"
        failed=$((failed + 1))
    }
}
has 'position independent' 'Type: *DYN' -h
has 'read-only relocations' 'GNU_RELRO' -l
has 'all symbols bound at the start' 'NOW' -d
has 'no executable stack' 'GNU_STACK.* RW ' -l
has 'stack protector' '__stack_chk_fail' --dyn-syms
has 'checked string functions' '_chk@' --dyn-syms
# A landing place at the start of a function that is called through a pointer: gcc's -fcf-protection on x86.
case $(uname -m) in
x86_64)
    tried=$((tried + 1))
    objdump -d "$TAKEPROOF" | grep -A 1 '<main>:' | grep -q endbr64 || { echo "missing: landing places"; failed=$((failed + 1)); }
    ;;
esac
echo "$((tried - failed)) of $tried protections are there"
[ "$failed" -eq 0 ]
