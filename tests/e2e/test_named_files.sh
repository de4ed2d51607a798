#!/bin/sh
# SPDX-License-Identifier: MIT
# A pair in two files is the same take whether its folder or its files are named, and splice leaves no take out of sight.
set -u
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$TAKEPROOF_BUILD/tests/demo/demo_card" "$work/card" >/dev/null || exit 1
cd "$work/card/S01" || exit 1
failed=0 count=0
expect() { # WORDS: must stand in $work/out
    count=$((count + 1))
    grep -qF -- "$1" "$work/out" || { echo "not said: $1"; cat "$work/out"; failed=$((failed + 1)); }
}
"$TAKEPROOF" check 14-T03_main.wav 14-T03_safety.wav --json >"$work/out"
expect '"choice":"splice"'
expect '"takes":1'
"$TAKEPROOF" check 14-T03_safety.wav ../../card/S01/14-T03_main.wav --json >"$work/out"
expect '"takes":2' # other ways to one folder are not looked through
"$TAKEPROOF" splice 14-T03_main.wav 14-T03_safety.wav 16-T02.wav -o "$work/clean" >"$work/out"
expect '14-T03_clean.wav: main, with the safety over'
expect '16-T02: no track: no pair'
"$TAKEPROOF" check 12A-T02.wav >"$work/out"
expect '(0:16.0, 0:16.3, 0:16.5'
echo "$((count - failed)) of $count things about named files hold"
[ $failed -eq 0 ]
