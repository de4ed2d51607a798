#!/bin/sh
# SPDX-License-Identifier: MIT
# Usage: coverage.sh OBJECTS. Gathers what gcov counted and prints lines and branches of the library's files, without the
# program in src/cli. Fails under 90 % of the lines or 80 % of the branches. OBJECTS/coverage.info is for genhtml.
set -u
info=$1/coverage.info
branches='--rc lcov_branch_coverage=1'
# shellcheck disable=SC2086
lcov $branches --quiet --capture --directory "$1/src" --base-directory . --no-external --output-file "$info.all" &&
    lcov $branches --quiet --extract "$info.all" "$PWD/src/*" --output-file "$info.src" &&
    lcov $branches --quiet --remove "$info.src" "$PWD/src/cli/*" --output-file "$info" || exit 1
awk -F '[:,]' '
    function row(name, l, lh, b, bh) {
        printf "%-40s %6d %6.1f %% %6d %6.1f %%\n", name, l, l ? 100 * lh / l : 100, b, b ? 100 * bh / b : 100
    }
    BEGIN { printf "%-40s %15s %15s\n", "", "lines reached", "branches reached" }
    /^SF:/ { sub(/.*\/src\//, "src/"); file = $0 }
    /^LF:/ { l = $2 } /^LH:/ { lh = $2 } /^BRF:/ { b = $2 } /^BRH:/ { bh = $2 }
    /^end_of_record/ {
        row(file, l, lh, b, bh)
        L += l; LH += lh; B += b; BH += bh
        l = lh = b = bh = 0
    }
    END {
        row("all", L, LH, B, BH)
        exit !(L > 0 && LH >= 0.9 * L && BH >= 0.8 * B)
    }' "$info"
