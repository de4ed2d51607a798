#!/bin/bash
# SPDX-License-Identifier: MIT
# Findings about names, clocks, notes and copies, over the whole program, on recordings that FFmpeg and SoX write (FFmpeg's
# muxer writes the bext chunk with its time_reference; Debian packages ffmpeg and sox).
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
export PATH="$(dirname "${TAKEPROOF:-$tree/build/release/takeproof}"):$PATH" LC_ALL=C
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cd "$scratch" || exit 1
voice=/usr/share/sounds/alsa/Front_Center.wav
checks=0 failed=0

# NAME SECONDS-SINCE-MIDNIGHT: 10 s of speech over a little noise, 24 bit, 48 kHz, with a bext chunk.
record() {
    mkdir -p "$(dirname "$1")"
    sox -R -n -r 48000 -b 24 -c 1 noise.wav synth 10 whitenoise vol -66dB
    sox -R -m "|sox $voice -r 48000 -p pad 2 repeat 2" noise.wav -b 24 mixed.wav trim 0 10
    ffmpeg -v error -y -i mixed.wav -c:a pcm_s24le -write_bext 1 -metadata origination_date=2031-05-04 \
        -metadata origination_time=10:00:00 -metadata time_reference=$(($2 * 48000)) "$1" </dev/null || exit 1
    rm -f noise.wav mixed.wav
}
holds() { # WORDS COMMAND...
    local words=$1
    shift
    checks=$((checks + 1))
    "$@" >out.txt 2>&1 || { echo "not so: $words"; failed=$((failed + 1)); }
}
# Whether CODE is, or is not, among the findings of `takeproof ARGUMENTS...`.
finds() { takeproof check --json "${@:2}" 2>/dev/null | grep -qE "\"code\": ?\"$1\""; }
finds_not() { takeproof check --json "${@:2}" >all.json 2>err.txt; [ $? -le 2 ] && ! grep -qE "\"code\": ?\"$1\"" all.json; }

record card/12A-T01.wav 36000
record card/12A-T02.wav 36060
record card/12A-T03.wav 36120
printf '[names]\npattern = {scene}-T{take}\n' >good.ini
printf '[names]\npattern = {scene}_{take}\n' >other.ini
holds "names as agreed are no finding" finds_not name-off-pattern card --spec good.ini
holds "names off the pattern are found" finds name-off-pattern card --spec other.ini

holds "takes one after another do not overlap" finds_not timecode-overlap card
holds "takes one after another are no jump" finds_not clock-jump card
cp -r card overlap && record overlap/12A-T04.wav 36125
holds "a take that begins inside another is found" finds timecode-overlap overlap
cp -r card jump && record jump/12A-T04.wav 3600
holds "a clock set back is found" finds clock-jump jump

printf 'scene,take,file,good\n12A,1,12A-T01.wav,ok\n12A,2,12A-T02.wav,ng\n' >notes.csv
holds "a take that the notes miss is found" finds file-not-in-log card --log notes.csv
printf '12A,3,12A-T03.wav,ok\n' >>notes.csv
holds "complete notes are no finding" finds_not file-not-in-log card --log notes.csv

holds "the second opinion is asked and agrees" finds second-opinion card/12A-T01.wav --second-opinion
holds "and is not asked without the option" finds_not second-opinion card/12A-T01.wav

takeproof check card -o report >/dev/null
cp -r card copy && rm copy/12A-T02.wav && cp card/12A-T01.wav copy/late.wav && printf 'x' >>copy/late.wav
compared() { takeproof compare report/report.json copy --json 2>/dev/null | grep -qE "\"$1\""; }
holds "a missing copy is found" compared copy-missing
holds "a file that was not delivered is found" compared copy-extra

echo "$((checks - failed)) of $checks findings about names, clocks, notes and copies are right"
[ $failed = 0 ] && [ $checks -gt 10 ]
