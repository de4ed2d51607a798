#!/bin/sh
# SPDX-License-Identifier: MIT
# The hand-off beside cp and sync: the same card to one folder on the same disk, cold, in turns, medians; both under one
# limit of memory (page cache included) smaller than the card. Then a count of what was read from the card, by strace.
# Usage: offload.sh BUILD_FOLDER [MEGABYTES] [LIMIT_MEGABYTES] [RUNS]. Needs root for the limit and the cold cache; says
# what it could not do. With CARD_MB_S=90 in the environment the card is a disk image of its own, mounted and held to that
# speed of reading, as a card in a reader is (root, control groups of version 1).
# Never fails on speed; fails when a byte of the card is read twice or not at all.
set -eu
build=$1
megabytes=${2:-2000}
limit=${3:-512}
runs=${4:-5}
program=$build/takeproof
work=$(mktemp -d "${TMPDIR:-/tmp}/takeproof-offload-XXXXXX")
group="" slow="" device=""
cleanup() {
    [ -z "$device" ] || umount "$work/card" || true
    [ -z "$device" ] || losetup -d "$device" || true
    rm -rf "$work"
    for made in "$group" "$slow"; do [ -z "$made" ] || rmdir "$made" 2>/dev/null || true; done
}
trap cleanup EXIT INT TERM
if [ -n "${CARD_MB_S:-}" ]; then
    truncate -s "$((megabytes * 11 / 10 + 64))M" "$work/image"
    mkfs.ext4 -q "$work/image"
    device=$(losetup -f --show "$work/image")
    mkdir "$work/card"
    mount "$device" "$work/card"
    rmdir "$work/card/lost+found"
    slow=/sys/fs/cgroup/blkio/takeproof-bench-$$
    mkdir "$slow"
    echo "$(stat -c '%Hr:%Lr' "$device") $((CARD_MB_S * 1000000))" >"$slow/blkio.throttle.read_bps_device"
fi
"$build/tests/bench/bench_card" "$work/card" "$megabytes" 32
bytes=$(cat "$work"/card/*.wav | wc -c)

# A control group of either version that limits memory; empty when this system gives none.
for base in /sys/fs/cgroup/memory /sys/fs/cgroup; do
    [ -z "$group" ] || break
    mkdir "$base/takeproof-bench-$$" 2>/dev/null || continue
    for file in memory.max memory.limit_in_bytes; do
        if [ -e "$base/takeproof-bench-$$/$file" ] && echo $((limit * 1048576)) >"$base/takeproof-bench-$$/$file"; then group=$base/takeproof-bench-$$; fi
    done
    [ -n "$group" ] || rmdir "$base/takeproof-bench-$$" 2>/dev/null || true
done
[ -n "$group" ] || echo "no limit of memory: no control group to be had here"
cold=yes
sh -c 'echo 3 >/proc/sys/vm/drop_caches' 2>/dev/null || { cold=no; echo "the page cache cannot be dropped here: the card is warm"; }

# once NAME COMMAND: cold, to a folder that is not there, timed with the flush at the end.
once() {
    name=$1
    rm -rf "$work/dest"
    sync
    [ $cold = no ] || sh -c 'echo 3 >/proc/sys/vm/drop_caches'
    # shellcheck disable=SC2016
    GROUP=$group SLOW=$slow WORK=$work PROGRAM=$program /usr/bin/time -f '%e' -o "$work/one" sh -c \
        'for group in $GROUP $SLOW; do echo $$ >"$group/cgroup.procs"; done; '"$2" >"$work/out" 2>"$work/err" || true
    tail -n 1 "$work/one" >>"$work/$name"
}
i=0
# shellcheck disable=SC2016
while [ $i -lt "$runs" ]; do
    once cp 'cp -a "$WORK/card" "$WORK/dest" && sync -f "$WORK/dest"'
    once offload '"$PROGRAM" offload "$WORK/card" "$WORK/dest" --copies 1'
    grep -q '^The card may be wiped' "$work/out" || { cat "$work/out" "$work/err"; exit 1; }
    i=$((i + 1))
done
median() { sort -n "$work/$1" | awk '{ t[NR] = $1 } END { print t[int((NR + 1) / 2)] }'; }
limited="no limit"
[ -z "$group" ] || limited="limit $limit MB"
[ -z "$device" ] || limited="$limited, card held to $CARD_MB_S MB/s"
echo "card: $((bytes / 1000000)) MB, $limited, medians of $runs"
echo "cp and sync                          $(median cp) s ($(sort -n "$work/cp" | tr '\n' ' '))"
echo "offload, checked and read back       $(median offload) s ($(sort -n "$work/offload" | tr '\n' ' '))"
awk -v a="$(median offload)" -v b="$(median cp)" 'BEGIN { printf "ratio %.2f\n", a / b }'

command -v strace >/dev/null 2>&1 || { echo "no strace: what was read from the card is not counted"; exit 0; }
rm -rf "$work/dest"
strace -f -y -s 0 -e trace=read,pread64,readv,preadv,mmap,sendfile,copy_file_range,splice -o "$work/trace" \
    "$program" offload "$work/card" "$work/dest" --copies 1 --quiet >/dev/null || true
awk -v card="$work/card/" -v want="$bytes" '
    # A call that another thread interrupts is told in two lines of one thread: join them.
    /<unfinished \.\.\.>$/ { head[$1] = $0; next }
    / resumed>/ { $0 = head[$1] " " $0; delete head[$1] }
    index($0, "<" card) == 0 { next }
    / mmap\(/ { mapped++ }
    match($0, / = [0-9]+$/) { got += substr($0, RSTART + 3); calls++ }
    END { printf "strace: %d reads of the card, %.0f bytes of %.0f, %d mappings: %s\n", calls, got, want, mapped,
          got == want && !mapped ? "each byte once" : "NOT each byte once"; exit !(got == want && !mapped) }' "$work/trace"
