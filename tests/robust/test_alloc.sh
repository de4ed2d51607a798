#!/bin/sh
# SPDX-License-Identifier: MIT
# Every allocation of a small check fails once: the program must end with a clean error (exit status 3) or a complete result,
# never with a crash, a wrong verdict or half a report. ALLOC_STEP=n tries every n-th allocation only.
set -u
case $TAKEPROOF_BUILD in
*/release) ;;
*) echo "0 of 0 tried: the library is preloaded into the release build alone" && exit 0 ;;
esac
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
library=$TAKEPROOF_BUILD/tests/robust/libfailalloc.so
take=fixtures/fuzz/fuzz_check/bext_ixml_cue.wav
run() { # run AT: fails allocation AT
    rm -rf "$work/out"
    SOURCE_DATE_EPOCH=1700000000 FAILALLOC_AT=$1 FAILALLOC_COUNT=$work/count LD_PRELOAD=$library \
        "$TAKEPROOF" check "$take" --jobs 1 -o "$work/out" >"$work/stdout" 2>"$work/stderr"
}
run 0
expected=$?
[ "$expected" -le 2 ] || { cat "$work/stderr"; echo "the check itself fails: $expected"; exit 1; }
total=$(cat "$work/count")
[ "$total" -gt 100 ] || { echo "only $total allocations were seen: the library was not loaded"; exit 1; }
cp -r "$work/out" "$work/expected"
sed 's/^Report: .*//' "$work/stdout" >"$work/expected.stdout"
# The line that names the report is a convenience: it may be missing.
is_whole() {
    sed 's/^Report: .*//' "$work/stdout" | diff -q -B - "$work/expected.stdout" >/dev/null && diff -rq "$work/out" "$work/expected"
}
step=${ALLOC_STEP:-7}
at=1 tried=0 refused=0 failed=0
while [ "$at" -le "$total" ]; do
    run "$at"
    status=$?
    tried=$((tried + 1))
    if [ "$status" -eq 3 ]; then
        refused=$((refused + 1))
        [ -s "$work/stderr" ] || { echo "allocation $at: refused without a word"; failed=$((failed + 1)); }
    elif [ "$status" -ne "$expected" ] || ! is_whole; then
        echo "allocation $at of $total: exit status $status, expected 3 or the whole result"
        head -n 3 "$work/stderr"
        failed=$((failed + 1))
    fi
    at=$((at + step))
done
echo "$((tried - failed)) of $tried failing allocations end cleanly ($refused refused; $total allocations in all)"
[ "$failed" -eq 0 ]
