#!/bin/bash
# SPDX-License-Identifier: MIT
# Runs tests/cli/cases/NAME.sh, each in a fresh folder, and compares with NAME.stdout, NAME.stderr and NAME.exit.
# A file that is not there means: nothing printed, status 0. --update rewrites them: read the difference before committing.
# In the outputs the scratch folder is shown as @SCRATCH@ and the tree as @TREE@.
# One case alone: tests/cli/test_cases.sh spec_file_bad
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
cases=$tree/tests/cli/cases
program=${TAKEPROOF:-$tree/build/release/takeproof}
update=0
[ "${1:-}" = --update ] && { update=1; shift; }
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT

export PATH="$(dirname "$program"):$PATH" LC_ALL=C TZ=UTC SOURCE_DATE_EPOCH=2000000000 TREE=$tree
export COMMON=$cases/common.inc
unset NO_COLOR TERM COLUMNS

expected() { if [ -e "$1" ]; then cat "$1"; fi; }
plain() { sed -e "s#$scratch/work#@SCRATCH@#g" -e "s#$tree#@TREE@#g" "$1"; }

count=0 failed=0
for script in "$cases"/${1:-*}.sh; do
    name=${script%.sh}
    rm -rf "$scratch/work" && mkdir "$scratch/work"
    (cd "$scratch/work" && bash "$script" >"$scratch/raw.stdout" 2>"$scratch/raw.stderr" </dev/null)
    echo $? >"$scratch/exit"
    plain "$scratch/raw.stdout" >"$scratch/stdout"
    plain "$scratch/raw.stderr" >"$scratch/stderr"
    count=$((count + 1))
    if [ $update = 1 ]; then
        for part in stdout stderr exit; do
            rm -f "$name.$part"
            [ -s "$scratch/$part" ] && [ "$(cat "$scratch/$part")" != 0 ] && cp "$scratch/$part" "$name.$part"
        done
        continue
    fi
    good=1
    expected "$name.stdout" | diff -u - "$scratch/stdout" || good=0
    expected "$name.stderr" | diff -u - "$scratch/stderr" || good=0
    [ "$(expected "$name.exit" | grep . || echo 0)" = "$(cat "$scratch/exit")" ] || {
        echo "exit status $(cat "$scratch/exit")"
        good=0
    }
    [ $good = 1 ] || { echo "FAILED: tests/cli/cases/$(basename "$name").sh"; failed=$((failed + 1)); }
done
echo "$((count - failed)) of $count command-line cases passed"
[ $failed = 0 ] && [ $count -gt 0 ]
