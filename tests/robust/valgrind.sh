#!/bin/sh
# SPDX-License-Identifier: MIT
# Every command once under valgrind, on a small card with good and broken files, in several jobs: no error, no leak.
set -u
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
fixtures=fixtures/fuzz/fuzz_check
mkdir "$work/card"
cp "$fixtures"/*.wav "$work/card"
printf 'scene,take,file,good,notes\n12A,1,plain24.wav,yes,"plane, far"\n' >"$work/notes.csv"
"$TAKEPROOF_BUILD/tests/demo/demo_card" "$work/demo" >/dev/null || exit 1
mkdir "$work/pair" && cp "$work/demo/S01/16-T01.wav" "$work/pair"
tried=0 failed=0
clean() {
    tried=$((tried + 1))
    valgrind -q --error-exitcode=99 --leak-check=full --errors-for-leak-kinds=definite,possible \
        "$TAKEPROOF" "$@" >"$work/stdout" 2>"$work/stderr"
    status=$?
    if [ "$status" -gt 2 ] || grep -q '^==' "$work/stderr"; then
        echo "takeproof $1: status $status"
        cat "$work/stderr"
        failed=$((failed + 1))
    fi
}
clean check "$work/card" --jobs 3 --log "$work/notes.csv" -o "$work/first"
clean check "$work/pair" --second-opinion --json -o "$work/second"
clean linecheck "$work/card/plain24.wav"
clean offload "$work/card" "$work/one" "$work/two" --jobs 2 -o "$work/offloaded"
clean compare "$work/one" "$work/card"
clean compare "$work/first/report.json" "$work/card" --json
clean report "$work/first/report.json" "$work/second/report.json" -o "$work/merged"
clean splice "$work/pair" -o "$work/spliced"
clean salvage "$fixtures/unfinished.wav" "$fixtures/cut.wav" -o "$work/saved" --json
clean spec --json
clean explain --list
echo "$((tried - failed)) of $tried runs are clean under valgrind"
[ "$failed" -eq 0 ]
