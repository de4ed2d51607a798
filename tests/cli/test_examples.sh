#!/bin/bash
# SPDX-License-Identifier: MIT
# Runs the examples of the manual and of README.md: in man/, the lines between .EX and .EE after `.\" run STATUS`; in Markdown,
# the block after `<!-- run STATUS -->`. Each runs in a fresh folder that holds the demonstration card as `card`, its spec as
# `day.ini`, and what is listed in prepare() below.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/release/takeproof}
demo_card=${TAKEPROOF_BUILD:-$tree/build/release}/tests/demo/demo_card
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
export PATH="$(dirname "$program"):$PATH" LC_ALL=C TREE=$tree
"$demo_card" "$scratch/card" >/dev/null || { echo "the demonstration card could not be made"; exit 1; }

prepare() {
    rm -rf "$scratch/work" && mkdir "$scratch/work" && cd "$scratch/work" || exit 1
    cp -r "$scratch/card" card
    cp card/*.ini day.ini
    cp "$(find card -name '[0-9]*.wav' | sort | head -n 1)" test.wav # a good take
}

# STATUS, then the lines, then an empty line.
examples_of() {
    case $1 in
    *.md) awk '/^<!-- run [0-9] -->$/ { status = $3; next }
        /^```/ { if (on) print ""; else if (status != "") print status; on = !on && status != ""; status = ""; next }
        on { print }' "$1" ;;
    *) awk '/^\.\\" run [0-9]$/ { status = $3; next }
        /^\.EX/ { if (status != "") { print status; on = 1 } status = ""; next }
        /^\.EE/ { if (on) print ""; on = 0; next }
        on { gsub(/\\-/, "-"); gsub(/\\&/, ""); gsub(/\\e/, "\\"); gsub(/\\\(dq/, "\""); print }' "$1" ;;
    esac
}

count=0 failed=0
run_example() { # FILE STATUS SCRIPT
    count=$((count + 1))
    prepare
    bash -c "$3" >"$scratch/output" 2>&1 </dev/null
    local status=$?
    [ $status = "$2" ] || {
        printf '%s: status %s instead of %s:\n%s\n' "$(basename "$1")" $status "$2" "$3"
        tail -n 20 "$scratch/output"
        failed=$((failed + 1))
    }
}
for page in "$tree"/man/*.[1-8] "$tree/README.md"; do
    status="" script=""
    while IFS= read -r text; do
        if [ -z "$status" ]; then
            status=$text
        elif [ -n "$text" ]; then
            script+=$text$'\n'
        else
            run_example "$page" "$status" "$script"
            status="" script=""
        fi
    done < <(examples_of "$page")
done
echo "$((count - failed)) of $count examples of the manual ran as written"
[ $failed = 0 ] && [ $count -gt 5 ]
