#!/bin/bash
# SPDX-License-Identifier: MIT
# How the program behaves as a process: signals, progress on a terminal only, colour, closed pipes, and stdout kept to the result.
# script(1), which gives it a terminal, is util-linux's.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/release/takeproof}
demo_card=${TAKEPROOF_BUILD:-$tree/build/release}/tests/demo/demo_card
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
export LC_ALL=C TERM=xterm SOURCE_DATE_EPOCH=2000000000
unset NO_COLOR
cd "$scratch" || exit 1
"$demo_card" card >/dev/null || exit 1
mkdir many && for i in 1 2 3 4 5 6; do cp -r card many/$i; done
checks=0 failed=0
holds() { # WORDS COMMAND...
    local words=$1
    shift
    checks=$((checks + 1))
    "$@" || { echo "not so: $words"; failed=$((failed + 1)); }
}
not() { ! "$@"; }
has() { grep -qF -e "$1" "$2"; }
on_terminal() { script -qec "$1" /dev/null </dev/null >"$2"; }

# Signals: a report half done is no report.
for signal in INT TERM; do
    (trap - EXIT && exec env --default-signal=INT "$program" check --jobs 1 many -o stopped >out 2>err) &
    until [ "$(cat /proc/$!/comm)" = takeproof ]; do sleep 0.02; done
    sleep 0.2
    kill -s $signal $!
    wait $!
    status=$?
    holds "SIG$signal gives status 3 (it was $status)" test $status = 3
    holds "SIG$signal says how far it came" grep -qE 'stopped on request: [0-9]+ of [0-9]+ files had been read, no report was written' err
    holds "SIG$signal leaves no report" test ! -e stopped/report.html
    holds "SIG$signal prints no verdict" test ! -s out
done

# Progress and colour.
"$program" check card >out 2>err
holds "no progress where stderr is no terminal" test ! -s err
holds "no colour where stdout is no terminal" not has $'\033[' out
on_terminal "'$program' check many" terminal
holds "progress on a terminal" has ' files  ' terminal
holds "the line of progress is removed" has $'\r\033[K' terminal
holds "colour on a terminal" grep -q $'\033\[[0-9;]*m' terminal
on_terminal "'$program' check --quiet many" terminal
holds "no progress when quiet" not has ' files  ' terminal
on_terminal "NO_COLOR=1 '$program' check card" terminal
holds "NO_COLOR is honoured" not grep -q $'\033\[[0-9;]*m' terminal
on_terminal "NO_COLOR=1 '$program' check --colour always card" terminal
holds "--colour always wins over NO_COLOR" grep -q $'\033\[[0-9;]*m' terminal
"$program" check --colour never card >plain
"$program" check --colour always card | sed 's/\x1b\[[0-9;]*m//g' >uncoloured
holds "colour changes no word" cmp plain uncoloured

# stdout carries the result and nothing else; the same for any number of jobs.
for jobs in 1 2 7; do "$program" check --json --jobs $jobs card >$jobs.json 2>err; done
holds "JSON on stdout begins with it and ends with it" test "$(head -c 1 1.json)$(tail -n 1 1.json)" = '{}'
holds "the same result with 1 and 2 jobs" cmp 1.json 2.json
holds "the same result with 1 and 7 jobs" cmp 1.json 7.json
for jobs in 1 2; do "$program" check --jobs $jobs card -o report$jobs >/dev/null; done
holds "the same report set, to the byte, with 1 and 2 jobs" diff -r report1 report2
before=$(find card -printf '%p %s %T@ %A@\n' | sort | sha256sum)
"$program" check card >/dev/null
holds "the source is untouched, its access times too" test "$before" = "$(find card -printf '%p %s %T@ %A@\n' | sort | sha256sum)"

# What cannot be written is said.
"$program" check card >/dev/full 2>err
holds "a full disk behind stdout gives status 3" test $? = 3
holds "and a sentence" has 'cannot write the result to standard output: No space left on device' err
{ "$program" check --json card 2>err; echo $? >status; } | true
holds "a pipe that nobody reads ends it as any program" test "$(cat status)" = 141
holds "without a word" test ! -s err
for command in "check card" "explain clipped" "spec --checklist" "linecheck card/$(cd card && find . -name '*.wav' | sort | head -n 1)" "check --json card"; do
    { sleep 1; "$program" $command 2>err; echo $? >status; } | true
    holds "so does $command" test "$(cat status)" = 141 -a ! -s err
done
{ sleep 1; "$program" check card -o unread 2>err; echo $? >status; } | true
holds "the report is written all the same" test -s unread/report.html -a -s unread/manifest.sha256
"$program" check card >&- 2>err
holds "a closed stdout gives status 3" test $? = 3
"$program" check card -o /proc/takeproof >/dev/null 2>err
holds "a report that cannot be written gives status 3" test $? = 3

# splice writes beside, never over.
"$program" splice card -o tracks >/dev/null 2>err
"$program" splice card -o tracks >/dev/null 2>err
holds "splice keeps what is there" test $? = 3
"$program" splice card -o tracks --replace >/dev/null 2>err
holds "splice --replace replaces it" test $? -le 2
"$program" splice card -o pcm --headroom >/dev/null 2>err
holds "splice writes tracks" test -n "$(find pcm -name '*.wav' -size +100k)"
holds "splice --headroom stays PCM" test -z "$(for f in pcm/*.wav; do soxi -e "$f" 2>/dev/null; done | grep -v 'Signed Integer PCM')"
# Recordings that lost their header: only the person knows what they were, but where a sample begins the sound tells.
sox -R -n -r 48000 -b 32 -c 1 noise.wav synth 5 whitenoise vol -60dB # every bit of a real recording moves
sox -R -m /usr/share/sounds/alsa/Front_Center.wav noise.wav -e floating-point -b 32 voice.wav
for kind in 'f32 -e floating-point -b 32' 's24 -e signed-integer -b 24' 's16 -e signed-integer -b 16'; do
    read -r type encoding <<<"$kind"
    bits=${encoding##* }
    for cut in 4096 4097 4098 4099; do # how much of the beginning is gone
        sox -R voice.wav -t $type $encoding whole.raw
        { head -c $cut /dev/zero; tail -c +$((cut + 1)) whole.raw; } >lost.wav
        rm -rf saved
        "$program" salvage lost.wav -o saved --not-on-card --bits $bits --channels 1 $([ $type = f32 ] && echo --float) >/dev/null 2>err
        holds "salvage of $type without its first $cut bytes calls it so" test "$(soxi -b saved/lost-salvaged.wav)" = $bits
        pad=$(($(soxi -s saved/lost-salvaged.wav) * bits / 8 % 2))
        whole_frames=$(($(stat -c %s whole.raw) / (bits / 8) * (bits / 8)))
        holds "and keeps every sample behind it ($type, $cut)" cmp <(tail -c $((100000 + pad)) saved/lost-salvaged.wav | head -c 100000) <(head -c $whole_frames whole.raw | tail -c 100000)
    done
done

echo "$((checks - failed)) of $checks things about the process hold"
[ $failed = 0 ] && [ $checks -gt 25 ]
