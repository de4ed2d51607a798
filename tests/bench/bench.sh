#!/bin/sh
# SPDX-License-Identifier: MIT
# Side by side in one run, from a warm page cache, medians: takeproof, and general tools over the same card.
# Usage: bench.sh BUILD_FOLDER [MEGABYTES] [RUNS]. Never fails on speed; prints what it finds.
set -eu
build=$1
megabytes=${2:-2000}
runs=${3:-5}
program=$build/takeproof
card=${BENCH_CARD:-$(mktemp -d /tmp/takeproof-bench-XXXXXX)}
out=$(mktemp -d)
trap 'rm -rf "$out"; [ -n "${BENCH_CARD:-}" ] || rm -rf "$card"' EXIT
[ -e "$card/12A-T001.wav" ] || "$build/tests/bench/bench_card" "$card" "$megabytes" 32
cat "$card"/*.wav > /dev/null
seconds_of_sound=$(( $(cat "$card"/*.wav | wc -c) / 288000 ))

# median NAME COMMAND…: medians of $runs runs, on the clock and of the processors, and the largest resident memory.
median() {
    name=$1; shift
    : > "$out/times"
    i=0
    while [ $i -lt "$runs" ]; do
        /usr/bin/time -f '%e %U %S %M' -o "$out/one" "$@" > /dev/null 2> "$out/err" || true
        tail -n 1 "$out/one" >> "$out/times"
        i=$((i + 1))
    done
    sort -n "$out/times" | awk -v name="$name" -v n="$runs" -v sound="$seconds_of_sound" '
        { wall[NR] = $1; cpu[NR] = $2 + $3; if ($4 > memory) memory = $4 }
        END { m = int((n + 1) / 2); t = wall[m] > 0 ? wall[m] : 0.001
              printf "%-44s %7.2f s %7.2f s of processors %6.0f x real time %6.1f MB\n", name, t, cpu[m], sound / t, memory / 1024
              printf "%s\t%.3f\n", name, t >> "'"$out"'/table" }'
}
ratio() { # ratio NAME OVER: how many times faster NAME is than OVER
    awk -F '\t' -v a="$1" -v b="$2" '$1 == a { x = $2 } $1 == b { y = $2 }
        END { if (x > 0 && y > 0) printf "%-31s is %6.1f x as fast as %s\n", a, y / x, b }' "$out/table"
}

grep -qw sha_ni /proc/cpuinfo 2>/dev/null || echo "this processor has no SHA instructions: SHA-256 costs about four times as much here"
echo "card: $seconds_of_sound s of sound, $(du -sm "$card" | cut -f1) MB, medians of $runs"
median "takeproof, 1 job" "$program" check "$card" --jobs 1 --quiet -o "$out/r1"
# SHA-256 is computed beside where a processor is left over; on a single one it cannot be.
command -v taskset > /dev/null &&
    median "takeproof, 1 job, 1 processor" taskset -c 0 "$program" check "$card" --jobs 1 --quiet -o "$out/r0"
median "takeproof, 2 jobs" "$program" check "$card" --jobs 2 --quiet -o "$out/r2"
if "$program" check --help | grep -q -- --hash; then
    median "takeproof, 1 job, xxh3 only" "$program" check "$card" --jobs 1 --quiet --hash xxh3 -o "$out/r3"
    median "takeproof, 2 jobs, xxh3 only" "$program" check "$card" --jobs 2 --quiet --hash xxh3 -o "$out/r4"
fi
median "cat" cat "$card"/*.wav
median "sha256sum" sha256sum "$card"/*.wav
if command -v openssl > /dev/null; then median "openssl dgst -sha256" openssl dgst -sha256 "$card"/*.wav; fi
runs_kept=$runs
runs=${SLOW_RUNS:-1}
median "libsndfile + libebur128 (I, LRA, true peak)" "$build/tests/bench/bench_reference" "$card"/*.wav
cat > "$out/ffmpeg" <<'END'
#!/bin/sh
filter=$1; shift
for f; do ffmpeg -nostdin -hide_banner -nostats -v error -i "$f" -af "$filter" -f null - ; done
END
cat > "$out/sox" <<'END'
#!/bin/sh
for f; do sox "$f" -n stats ; done
END
chmod +x "$out/ffmpeg" "$out/sox"
if command -v ffmpeg > /dev/null; then
    median "FFmpeg ebur128=peak=true" "$out/ffmpeg" ebur128=peak=true "$card"/*.wav
    median "FFmpeg ebur128=peak=true+sample" "$out/ffmpeg" ebur128=peak=true+sample "$card"/*.wav
    median "FFmpeg astats" "$out/ffmpeg" astats "$card"/*.wav
fi
if command -v sox > /dev/null; then median "SoX stats" "$out/sox" "$card"/*.wav; fi
runs=$runs_kept
echo
for reference in "FFmpeg ebur128=peak=true" "libsndfile + libebur128 (I, LRA, true peak)" "openssl dgst -sha256" "sha256sum" "FFmpeg astats" "SoX stats"; do
    ratio "takeproof, 1 job" "$reference"
    ratio "takeproof, 1 job, 1 processor" "$reference"
    ratio "takeproof, 1 job, xxh3 only" "$reference"
done
ratio "takeproof, 2 jobs" "takeproof, 1 job"
ratio "takeproof, 2 jobs, xxh3 only" "takeproof, 1 job, xxh3 only"

# How time grows. A card of its own for each line, in the memory of /dev/shm where there is one; user and system time.
room=/dev/shm
[ -d "$room" ] || room=$out
grow() { # grow WHAT MEGABYTES FILES CHANNELS [noise]: medians of 3
    what=$1 megabytes=$2; shift
    "$build/tests/bench/bench_card" "$room/takeproof-grow" "$@"
    : > "$out/grow"
    for i in 1 2 3; do
        rm -rf "$out/grown"
        /usr/bin/time -f '%U %S %M' -o "$out/one" "$program" check "$room/takeproof-grow" --jobs 1 --quiet --hash xxh3 \
            -o "$out/grown" > /dev/null 2> "$out/err" || true
        tail -n 1 "$out/one" >> "$out/grow"
    done
    library=""
    if [ "${4:-}" = noise ]; then
        /usr/bin/time -f '%U %S' -o "$out/one" "$build/tests/bench/bench_reference" "$room"/takeproof-grow/*.wav > /dev/null
        library=$(awk '{ printf "; libebur128: %.2f s", $1 + $2 }' "$out/one")
    fi
    sort -n "$out/grow" | awk -v what="$what" -v mb="$megabytes" -v library="$library" '
        { t[NR] = $1 + $2; if ($3 > memory) memory = $3 }
        END { s = t[int((NR + 1) / 2)]
              printf "%-44s %8.2f s %8.2f ms a MB %8.1f MB%s\n", what, s, 1000 * s / mb, memory / 1024, library }'
    rm -rf "$room/takeproof-grow"
}
echo
for files in 1 10 100 1000; do grow "$files files of 100 MB in all" 100 "$files" 2; done
for channels in 1 2 4 8 16 32; do grow "$channels channels, 100 MB" 100 1 "$channels"; done
grow "worst case: 32 channels of noise, 192 kHz" 200 1 32 noise
echo
"$build/tests/bench/bench_measure"
