#!/bin/sh
# SPDX-License-Identifier: MIT
# Every allocation of a small run of each command fails once: the program must end with a clean error (exit status 3) or
# with the complete result, never with a crash, a wrong verdict or half a report. ALLOC_STEP=n tries every n-th allocation
# only, ALLOC_COMMANDS="check splice" some commands only.
set -u
case $TAKEPROOF_BUILD in
*/release | */coverage) ;;
*) echo "0 of 0 tried: the library is not preloaded under the sanitizers" && exit 0 ;;
esac
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
library=$TAKEPROOF_BUILD/tests/robust/libfailalloc.so
take=fixtures/fuzz/fuzz_check/bext_ixml_cue.wav
mkdir "$work/card" "$work/copy"
cp "$take" "$work/card/T001.wav"
printf 'scene,take,file,good,notes\n12A,1,T001.wav,yes,"plane, far"\n' >"$work/notes.csv"

# Ready to be read by the commands that read what others wrote.
prepare() {
    case $1 in
    splice)
        "$TAKEPROOF_BUILD/tests/demo/demo_card" "$work/demo" >/dev/null || exit 1
        mkdir "$work/pair" && cp "$work/demo/S01/16-T01.wav" "$work/pair" && rm -rf "$work/demo"
        ;;
    compare*) "$TAKEPROOF" offload "$work/card" "$work/there" -o "$work/there.report" >/dev/null 2>&1 ;;
    report)
        mkdir "$work/other" && cp fixtures/fuzz/fuzz_check/unfinished.wav "$work/other/T002.wav"
        "$TAKEPROOF" check "$work/card" -o "$work/first" >/dev/null 2>&1
        "$TAKEPROOF" check "$work/other" -o "$work/second" >/dev/null 2>&1
        ;;
    esac
}

# Runs the command $1 with its output in $work/out, as "$@" from the second on.
command_of() {
    out=$work/out
    case $1 in
    check) set -- check "$work/card" --jobs 1 --log "$work/notes.csv" -o "$out" ;;
    second) set -- check "$work/card" --jobs 1 --second-opinion --json ;;
    linecheck) set -- linecheck "$take" --jobs 1 ;;
    linecheck_json) set -- linecheck "$take" --jobs 1 --json ;;
    offload) set -- offload "$work/card" "$out/one" "$out/two" --jobs 1 -o "$out/report" ;;
    compare) set -- compare "$work/there" "$work/card" --jobs 1 ;;
    compare_json) set -- compare "$work/there" "$work/card" --jobs 1 --json ;;
    offload_json) set -- offload "$work/card" "$out/one" --copies 1 --jobs 1 --json ;;
    report) set -- report "$work/first/report.json" "$work/second/report.json" -o "$out" ;;
    splice) set -- splice "$work/pair" --jobs 1 -o "$out" --json ;;
    salvage) set -- salvage fixtures/fuzz/fuzz_check/unfinished.wav -o "$out" --json ;;
    spec) set -- spec --json ;;
    explain) set -- explain --list --json ;;
    esac
    mkdir -p "$out"
    SOURCE_DATE_EPOCH=1700000000 FAILALLOC_AT=$at FAILALLOC_COUNT=$work/count LD_PRELOAD=$library \
        "$TAKEPROOF" "$@" >"$work/stdout" 2>"$work/stderr"
}
run() { # run COMMAND AT
    at=$2
    rm -rf "$work/out"
    command_of "$1"
}
# What is no result: the line that names the report, which is a convenience; times in histories; and what is told of them.
result() {
    sed -e '/^Report: /d' "$work/stdout" >"$1.stdout"
    rm -rf "$1" && cp -r "$work/out" "$1" && rm -rf "$1"/*/ascmhl
}
is_whole() {
    result "$work/got"
    diff -q "$work/got.stdout" "$work/expected.stdout" >/dev/null && diff -rq "$work/got" "$work/expected" >/dev/null
}

failed=0 all_tried=0
try_command() {
    tried=0 refused=0 bad=0
    prepare "$1"
    run "$1" 0
    expected=$?
    [ "$expected" -le 2 ] || { cat "$work/stderr"; echo "$1 itself fails: $expected"; exit 1; }
    total=$(cat "$work/count")
    [ "$total" -gt 10 ] || { echo "only $total allocations of $1 were seen: the library was not loaded"; exit 1; }
    result "$work/expected"
    step=${ALLOC_STEP:-$2}
    i=1
    while [ "$i" -le "$total" ]; do
        run "$1" "$i"
        status=$?
        tried=$((tried + 1))
        if [ "$status" -eq 3 ]; then
            refused=$((refused + 1))
            grep -q . "$work/stdout" "$work/stderr" || { echo "$1, allocation $i: refused without a word"; bad=$((bad + 1)); }
        elif [ "$status" -ne "$expected" ] || ! is_whole; then
            echo "$1, allocation $i of $total: exit status $status, expected 3 or the whole result"
            head -n 3 "$work/stderr"
            diff -r "$work/got.stdout" "$work/expected.stdout" | head -n 6
            diff -rq "$work/got" "$work/expected"
            bad=$((bad + 1))
        fi
        i=$((i + step))
    done
    echo "$1: $((tried - bad)) of $tried failing allocations end cleanly, $refused refused; $total allocations in all"
    failed=$((failed + bad)) all_tried=$((all_tried + tried))
}

for command in ${ALLOC_COMMANDS:-check second linecheck linecheck_json offload offload_json compare compare_json report splice salvage spec \
    explain}; do
    case $command in
    splice) try_command splice 113 ;;
    *) try_command "$command" 37 ;;
    esac
done
echo "$((all_tried - failed)) of $all_tried failing allocations end cleanly"
[ "$failed" -eq 0 ]
