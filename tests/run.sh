#!/bin/sh
# SPDX-License-Identifier: MIT
# tests/run.sh PROGRAM...: runs each test program or script, shows one line for each, and the whole output of those that
# fail. WRAP is put in front (valgrind). Fails when one fails or when there is nothing to run.
set -u
[ $# -gt 0 ] || {
    echo "no tests to run" >&2
    exit 1
}
output=$(mktemp)
trap 'rm -f "$output"' EXIT
failed=0
for program in "$@"; do
    if ${WRAP:-} "$program" >"$output" 2>&1; then
        printf '  ok    %s  %s\n' "$program" "$(grep -E 'Checks: [0-9]|^[0-9]+ of [0-9]+ ' "$output" | tail -n 1)"
    else
        printf '  FAIL  %s (status %s)\n' "$program" $?
        sed 's/^/        /' "$output"
        failed=$((failed + 1))
    fi
done
echo "$# test programs, $failed failed"
[ $failed -eq 0 ]
