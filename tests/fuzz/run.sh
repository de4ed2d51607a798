#!/bin/sh
# SPDX-License-Identifier: MIT
# Usage: run.sh CORPUS SECONDS TARGET...
# Fuzzes each target for SECONDS, keeping what it learns in CORPUS, and prints executions and coverage a target. An input
# that breaks a target is left in CORPUS/TARGET.found; once fixed it belongs in fixtures/fuzz/TARGET.
set -u
corpus=$1 seconds=$2
shift 2
failed=0
printf '%-18s %12s %10s %9s  %s\n' target executions edges 'of' found
for target; do
    name=$(basename "$target")
    mkdir -p "$corpus/$name" "$corpus/$name.found"
    log=$corpus/$name.log
    found=none
    "$target" -max_total_time="$seconds" -rss_limit_mb=1024 -timeout=10 -print_final_stats=1 \
        -dict=fixtures/fuzz/words.dict -artifact_prefix="$corpus/$name.found/" \
        "$corpus/$name" "fixtures/fuzz/$name" 2>"$log" || { found="$corpus/$name.found" failed=1; }
    # The report of a run without a find ends with its statistics; the edges are those of the library and the target.
    executions=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
    edges=$(sed -n 's/.*cov: \([0-9]*\) .*/\1/p' "$log" | tail -n 1)
    all=$(sed -n 's/^INFO: Loaded .* (\([0-9]*\) inline .*/\1/p' "$log" | head -n 1)
    printf '%-18s %12s %10s %9s  %s\n' "$name" "${executions:-?}" "${edges:-?}" "${all:-?}" "$found"
    [ "$found" = none ] || grep -E -A 8 'does not hold|ERROR: |runtime error' "$log" | head -n 12
done
exit $failed
