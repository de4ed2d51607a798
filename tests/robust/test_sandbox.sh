#!/bin/sh
# SPDX-License-Identifier: MIT
# While hostile bytes are read nothing can be written but the reports: tried from inside, where the kernel can hold it.
set -u
case $TAKEPROOF_BUILD in
*/release) ;;
*) echo "0 of 0 tried: the library is preloaded into the release build alone" && exit 0 ;;
esac
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
library=$TAKEPROOF_BUILD/tests/robust/libfailwrite.so
mkdir "$work/card" "$work/report" "$work/copy"
cp fixtures/fuzz/fuzz_check/bext_ixml_cue.wav "$work/card/T001.wav"
before=$(sha256sum <"$work/card/T001.wav")
tried=0 failed=0
must() { # must OWN WORDS COMMAND...: what the attack tells while the command runs
    own=$1 words=$2
    shift 2
    tried=$((tried + 1))
    rm -f "$own"
    FAILWRITE_SOURCE=$work/card/T001.wav FAILWRITE_OWN=$own LD_PRELOAD=$library "$@" >"$work/stdout" 2>"$work/stderr"
    told=$(grep '^landlock ' "$work/stderr")
    case $told in
    "landlock -1: "*) echo "0 of 0 tried: this kernel has no Landlock" && exit 0 ;;
    *": $words") ;;
    *) echo "$*: '$told' instead of '$words'" && failed=$((failed + 1)) ;;
    esac
    [ "$(sha256sum <"$work/card/T001.wav")" = "$before" ] || { echo "$*: the card was changed" && failed=$((failed + 1)); }
}
must "$work/report/own" 'source 13, own 0, program 13' "$TAKEPROOF" check "$work/card" -o "$work/report"
must "$work/report/own" 'source 13, own 13, program 13' "$TAKEPROOF" check "$work/card"
must "$work/report/own" 'source 13, own 13, program 13' "$TAKEPROOF" linecheck "$work/card/T001.wav"
must "$work/copy/own" 'source 13, own 0, program 13' "$TAKEPROOF" offload "$work/card" "$work/copy"
must "$work/copy/own" 'source 13, own 13, program 13' "$TAKEPROOF" compare "$work/copy" "$work/card"
must "$work/report/own" 'source 13, own 0, program 13' "$TAKEPROOF" salvage "$work/card/T001.wav" -o "$work/report"
must "$work/report/own" 'source 13, own 0, program 13' "$TAKEPROOF" splice "$work/card" -o "$work/report"
"$TAKEPROOF" check "$work/card" -o "$work/first" >/dev/null 2>&1
must "$work/report/own" 'source 13, own 0, program 13' "$TAKEPROOF" report "$work/first/report.json" -o "$work/report"
# A spec or a list may come from elsewhere, too: the first bytes that are read are theirs.
"$TAKEPROOF" spec >"$work/day.ini"
must "$work/report/own" 'source 13, own 13, program 13' "$TAKEPROOF" spec "$work/day.ini"
must "$work/report/own" 'source 13, own 13, program 13' "$TAKEPROOF" check "$work/card" --spec "$work/day.ini"
must "$work/report/own" 'source 13, own 13, program 13' "$TAKEPROOF" linecheck "$work/card/T001.wav" --spec "$work/day.ini"
must "$work/report/own" 'source 13, own 0, program 13' "$TAKEPROOF" splice "$work/card" --spec "$work/day.ini" -o "$work/report"
[ -s "$work/report/report.html" ] || { echo "no report was written" && failed=$((failed + 1)); }
echo "$((tried - failed)) of $tried commands cannot write where they should not"
[ "$failed" -eq 0 ]
