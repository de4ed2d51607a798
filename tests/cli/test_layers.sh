#!/bin/bash
# SPDX-License-Identifier: MIT
# The folders of src/ depend on each other in one direction only. One row a folder: what its files may include from src/.
set -u
cd "$(dirname "$0")/../.." || exit 1
declare -A may=(
    [base]="base"
    [read]="base read"
    [measure]="base measure"
    [take]="base measure take read"
    [judge]="base judge"
    [report]="base report"
    [handoff]="base handoff read"
    [cli]="cli"
)
# Exceptions, each with its reason, may only become fewer:
exception() {
    case $1 in
    src/judge/*:read/timecode.h | src/judge/*:take/names.h | src/judge/*:take/segments.h) ;; # pure functions of a result's data
    src/judge/log_match.h:read/log.h) ;;          # the rows of the set's notes: plain data
    src/report/html_assets.c:report_assets.h) ;; # made by the Makefile from report.css and report.js
    *) return 1 ;;
    esac
}
checks=0 failed=0
while IFS=: read -r file included; do
    folder=$(cut -d / -f 2 <<<"$file")
    [ -n "${may[$folder]:-}" ] || continue
    checks=$((checks + 1))
    case " ${may[$folder]} " in *" ${included%%/*} "*) continue ;; esac
    [ "$included" = result.h ] || exception "$file:$included" || {
        echo "$file may not include $included"
        failed=$((failed + 1))
    }
done < <(grep -rnoE '^#include "[^"]+"' src --include='*.[ch]' | sed -E 's/:[0-9]+:#include "/:/; s/"$//')
# .data.rel.ro is constant. Two locks, around libraries that write globals of their own: libebur128 when a state is made,
# libsndfile when a file is opened.
build=${TAKEPROOF_BUILD:-build/release}
globals=$(objdump -t "$build/libtakeproof.a" | awk '/file format/ { file = $1 }
    $0 ~ / (\.data|\.bss|\.data\.[^r][^ ]*|\.bss\.[^ ]*)\t/ && $3 == "O" || $0 ~ / O (\.data|\.bss)\t/ { print file, $NF }' |
    grep -vE 'second_opinion.o: lock|sndfile_open.o: opening|asan|__')
[ -z "$globals" ] || { echo "mutable globals in the library:"; echo "$globals"; failed=$((failed + 1)); }
exits=$(nm -A "$build/libtakeproof.a" 2>/dev/null | grep -E ' U (exit|_exit|abort|printf|puts|putchar|perror)$')
[ -z "$exits" ] || { echo "the library prints or exits:"; echo "$exits"; failed=$((failed + 1)); }
echo "$((checks - failed)) of $checks includes keep to the layers"
[ $failed = 0 ] && [ $checks -gt 100 ]
