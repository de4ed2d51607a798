#!/bin/bash
# SPDX-License-Identifier: MIT
# Where people who use the program for the first time stumble: what it says there, and what it does not do.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/takeproof}
build=${TAKEPROOF_BUILD:-$tree/build/release}
scratch=$(mktemp -d) || exit 1
trap 'rm -rf "$scratch"' EXIT
export LC_ALL=C SOURCE_DATE_EPOCH=2000000000
cd "$scratch" || exit 1
"$build/tests/demo/demo_card" card >/dev/null || exit 1
count=0 failed=0
# expect STATUS WORDS COMMAND...: all words are said on stdout or stderr (laid out in any width).
expect() {
    local status=$1 words=$2 got
    shift 2
    "$@" >out 2>err
    got=$?
    count=$((count + 1))
    if [ $got != "$status" ] || ! cat out err | tr -s ' \n' ' ' | grep -qF -e "$words"; then
        echo "status $got, expected $status and \"$words\": $*"
        cat out err
        failed=$((failed + 1))
    fi
}
never() { # WORDS: not in what the last command said
    count=$((count + 1))
    if cat out err | tr -s ' \n' ' ' | grep -qF -e "$1"; then
        echo "said: $1"
        failed=$((failed + 1))
    fi
}
is() { # WORDS COMMAND...
    local words=$1
    shift
    count=$((count + 1))
    "$@" || { echo "not so: $words"; failed=$((failed + 1)); }
}
not() { ! "$@"; }

# Salvage keeps off the card, and says how when there is none.
expect 3 'is the folder of the recording itself' "$program" salvage card/S01/15-T01.wav -o card/S01 --not-on-card
for folder in card/S01/rescued card/rescued card; do
    expect 3 'a card is never written to' "$program" salvage card/S01/15-T01.wav -o $folder
done
is "nothing was made on the card" test ! -e card/rescued -a ! -e card/S01/rescued
expect 1 'card/rescued/15-T01-salvaged.wav' "$program" salvage card/S01/15-T01.wav -o card/rescued --not-on-card
rm -r card/rescued
expect 3 "'card' is a folder: name the files to salvage. 'takeproof check' tells which need it" "$program" salvage card -o rescued
is "and nothing is made" test ! -e rescued
expect 1 'rescued/15-T01-salvaged.wav' "$program" salvage card/S01/15-T01.wav -o rescued

# So does everything else that writes, also when single files of the card are given.
for folder in card/S01/clean card/clean card; do
    expect 3 'a card is never written to' "$program" splice card/S01/16-T01.wav -o $folder
    expect 3 'a card is never written to' "$program" check card/S01/16-T01.wav -o $folder
    expect 3 'a card is never written to' "$program" check elsewhere.wav card/S01/16-T01.wav -o $folder
done
expect 3 'is the folder of the recording itself' "$program" splice card/S01/16-T01.wav -o card/S01 --not-on-card
expect 3 'is the folder of the recording itself' "$program" check card/S01/16-T01.wav -o card/S01 --not-on-card
"$program" check -q card/S01/16-T02.wav -o single >/dev/null
expect 3 'a card is never written to' "$program" report single/report.json -o card/report
expect 0 '' "$program" report single/report.json -o again1
is "nothing was made on the card" test ! -e card/clean -a ! -e card/S01/clean -a ! -e card/report -a ! -e card/report.json
cp -r card copy
expect 0 '1 track written' "$program" splice copy/S01/16-T01.wav -o copy/clean --not-on-card
expect 0 '' "$program" check copy/S01/16-T02.wav -o copy/report --not-on-card
rm -r copy single again1

# A report of another card is not replaced unseen, and no record of an offload stays beside another card's report.
mkdir day clean0 && cp card/S01/16-T02.wav clean0 && cp -r card/S01 day/A && mkdir day/B && cp card/S01/12A-T01.wav day/B/T9.wav
expect 3 '' "$program" offload day/A one -o report
grep -q '"card": "day/A"' report/offload.json || { echo "no record"; failed=$((failed + 1)); }
cp -r report before
for card in day/B; do
    expect 3 "'report/report.json' is there already and tells of other recordings, those of 'day/A'" "$program" check $card -o report
    expect 3 'give each card a folder of its own, or say --replace' "$program" offload $card two -o report
    rm report/report.json
    expect 3 "'report/offload.json' is there already and tells of other recordings" "$program" check $card -o report
    cp before/report.json report
done
is "nothing was copied" test ! -e two/T9.wav
is "what was there is as it was" diff -r before report
expect 2 '' "$program" check day/A -o report
expect 0 '' "$program" check day/B -o report --replace
is "the record of the other card's offload is gone" test ! -e report/offload.json
is "the report is the new card's" grep -q '"day/B"' report/report.json
expect 0 '' "$program" check day/B -o report
"$program" check -q day/A clean0 -o pair >/dev/null
is "two sources have two manifests" test -s pair/manifest-1.sha256 -a -s pair/manifest-2.sha256
expect 0 '' "$program" check day/B -o pair --replace
is "none of which stays" test "$(cd pair && echo *)" = 'findings.csv manifest.sha256 report.csv report.html report.json'
cp card/S01/12A-T02.wav day/B/T10.wav
expect 1 '' "$program" check day/B -o report
rm day/B/* && cp card/S01/16-T02.wav day/B/T9.wav
expect 3 "tells of other recordings, those of 'day/B'" "$program" check day/B -o report
mkdir foreign && echo '{"tests": 3}' >foreign/report.json
expect 3 "'foreign/report.json' is there already and is no file of takeproof's" "$program" check day/B -o foreign
expect 3 "tells of other recordings" "$program" report before/report.json -o report
expect 2 '' "$program" report before/report.json -o before
expect 2 '' "$program" compare before day/B -o found0
expect 2 '' "$program" compare before day/B -o found0
expect 3 "'found0/compare.json' is there already and tells of other recordings" "$program" compare before day/A -o found0
expect 3 "'found0/compare.json' is there already and tells of other recordings" "$program" check day/A -o found0
expect 1 '' "$program" compare before day/A -o found0 --replace
rm -r one day report before foreign found0 clean0 pair

# The status of an offload and its last line are one.
mkdir -p clean/S01 && cp card/S01/12A-T01.wav card/S01/16-T02.wav clean/S01
expect 3 'Do NOT wipe the card yet: each file has 1 verified copy and 2 are wanted' "$program" offload clean one
expect 0 'The card may be wiped' "$program" offload clean one --copies 1
expect 0 'The card may be wiped' "$program" offload clean one two
printf 'xxx' | dd of=one/S01/16-T02.wav bs=1 seek=2000000 conv=notrunc status=none
expect 3 "another file is already there as 'one/S01/16-T02.wav' (as long as the card's, alike up to about 1.0 MB)" "$program" offload clean one two
expect 3 'Give this card a folder of its own, or use --set-aside' "$program" offload clean one two
is "the conflict is told once, and what it comes to in the last line" test "$(grep -c 'already there as' out)" = 1
expect 3 'another file has its name already; give this card a folder of its own, or use --set-aside' "$program" offload -q clean one two
printf 'xxx' | dd of=one/S01/16-T02.wav bs=1 seek=2000 conv=notrunc status=none
expect 3 "(as long as the card's, different from the start on)" "$program" offload clean one two
head -c 1000 clean/S01/16-T02.wav >one/S01/16-T02.wav
expect 3 "(1000 bytes, the card's has 2881478)" "$program" offload clean one two

# Others' files at a destination are told, and are no failure.
mkdir -p shared/notes && echo 1 >shared/notes/a.txt && echo 2 >shared/b.wav
expect 0 "'shared' already holds 2 files that are not this card's" "$program" offload clean shared fresh -o report_shared
never "'fresh' already holds"
expect 0 "'shared' already holds 2 files that are not this card's" "$program" offload clean shared fresh
is "and the note does not take the green mark from a card that may be wiped" \
    grep -q '<div class="half pass">' report_shared/report.html
is "it stands beside it" grep -q '<b>Note:</b> .*already holds 2 files that are not this card' report_shared/report.html
rm -r shared fresh report_shared

# The name of a test recording is not judged.
printf '[names]\npattern = {scene}-T{take}\n' >names.ini
cp card/S01/16-T02.wav names_test.wav
printf '[take]\nduration_min_s = 1\n' >any_name.ini
"$program" linecheck names_test.wav --spec any_name.ini >plain
"$program" linecheck names_test.wav --spec names.ini >out
is "linecheck does not mind the name" cmp plain out
expect 2 'does not follow the pattern' "$program" check names_test.wav --spec names.ini

# Float beyond full scale. SoX writes it: a voice at +6 dB, and the same cut off at full scale before.
mkdir float && printf '[format]\nencoding = float\nbit_depth = 32\n[level]\nworking_level_max_dbfs = 0\n' >float.ini
sox -R /usr/share/sounds/alsa/Front_Center.wav -e floating-point -b 32 voice.wav norm -0.1 repeat 4
sox -R -n -r 48000 -e floating-point -b 32 -c 1 hiss.wav synth "$(soxi -D voice.wav)" whitenoise vol -70dB
sox -R -m -v 1 voice.wav -v 1 hiss.wav -e floating-point -b 32 loud.wav 2>/dev/null
python3 - <<'END'
import struct
data = open('loud.wav', 'rb').read()
at = data.index(b'data') + 8
samples = struct.unpack('<%df' % ((len(data) - at) // 4), data[at:at + (len(data) - at) // 4 * 4])
for name, cut in (('whole', 9.0), ('cut', 1.0)):
    out = [max(-cut, min(cut, 2 * s)) for s in samples]
    open('float/%s.wav' % name, 'wb').write(data[:at] + struct.pack('<%df' % len(out), *out))
END
expect 1 'This is float: the peaks are whole, not cut off. Lower the recording by' "$program" check float/whole.wav --spec float.ini
expect 2 'runs of samples at full scale' "$program" check float/cut.wav --spec float.ini
# What must be done comes first, with the track's name; then one line a channel. -q keeps what must be done.
"$program" linecheck float/whole.wav --spec float.ini >out
is "what to change comes before what is ready" test "$(sed -n 2p out | cut -c 3-8)" = adjust
is "one line a channel" test "$(grep -c "^  [a-z ]*1: speech" out)" = 1
expect 1 'Lower the gain' "$program" linecheck -q float/whole.wav --spec float.ini
never 'ready'
expect 1 'no spec says what was agreed' "$program" linecheck float/whole.wav
never 'will overload'
expect 1 'float keeps them whole' "$program" linecheck float/whole.wav --spec float.ini
# Without a spec nothing was agreed: float is told once for the card; with one, of each take.
mkdir float_card && cp float/whole.wav float_card/T001.wav && sox -R loud.wav float_card/T002.wav vol 0.9
expect 1 "All 2 recordings of 'float_card' are 32-bit float" "$program" check float_card
never 'The samples are'
printf '[format]\nencoding = pcm\n' >agreed.ini
expect 2 'The samples are 32-bit float; agreed is pcm' "$program" check float_card --spec agreed.ini
never 'no spec'
sox -R loud.wav -e signed-integer -b 24 float_card/T003.wav vol 0.9
expect 2 'The samples are 24-bit pcm; the others of the card have float' "$program" check float_card
expect 0 'nothing is missing: lower the recording before PCM is made of it' "$program" explain clipped

# What salvage wrote is no card, and is named after the recording.
printf '[format]\nencoding = any\nbit_depth = any\n[names]\npattern = T{take}\n' >t.ini
mkdir broken && python3 - <<'END'
data = bytearray(open('float_card/T003.wav', 'rb').read())
at = data.index(b'data') + 4
data[at:at + 4] = bytes(4)
open('broken/T7.wav', 'wb').write(data)
END
expect 1 'T7-salvaged.wav' "$program" salvage broken/T7.wav -o saved
expect 1 '' "$program" check saved --spec t.ini
never 'wipe'
never 'pattern'
cp saved/T7-salvaged.wav saved/X7-salvaged.wav
expect 2 'does not follow the pattern' "$program" check saved --spec t.ini

# Splicing: no made-up timecode, a list that forgets nothing, only what needs it, and a word about the rate.
mkdir bare && sox card/S01/12A-T02.wav bare/REC1.wav
expect 0 '' "$program" splice bare -o bare_clean
expect 1 '' "$program" check bare_clean
never 00:00:00
is "no timecode in the list either" not grep -q '00:00:0' bare_clean/splices.csv
expect 0 '2 tracks written' "$program" splice card/S01/12A-T02.wav card/S01/16-T01.wav -o clean_tracks
expect 0 'recorded at 44100 Hz, agreed is 48000 Hz' "$program" splice card/S01/12B-T02.wav -o clean_tracks
is "and in the list" grep -q 'recorded at 44100 Hz' clean_tracks/splices.csv
takes() { tail -n +2 clean_tracks/splices.csv | cut -d, -f1 | sort -u | tr '\n' ' '; }
is "a later run adds to the list" test "$(takes)" = '12A-T02 12B-T02 16-T01 '
cp clean_tracks/splices.csv before.csv
expect 0 '1 track written' "$program" splice card/S01/16-T01.wav -o clean_tracks --replace
is "--replace keeps the other rows" test "$(takes)" = '12A-T02 12B-T02 16-T01 '
is "and doubles none" cmp <(sort before.csv) <(sort clean_tracks/splices.csv)
echo mine >other_list && mkdir own && mv other_list own/splices.csv
expect 3 'is no list of splices' "$program" splice card/S01/16-T01.wav -o own --replace
is "somebody else's file is left alone" test "$(cat own/splices.csv)" = mine
expect 0 '14-T01: no track: the main is undamaged' "$program" splice card/S01/14-T01.wav card/S01/16-T01.wav -o needed --only-damaged
is "only the damaged one has a track" test "$(cd needed && echo *.wav)" = 16-T01_clean.wav
expect 2 'too little sound to tell' "$program" splice card/S01/16-WT01.wav -o nothing

# What was checked against, what was not checked, what the files are called, which channel.
expect 2 'Spec: the built-in one' "$program" check card
expect 2 "'S01/notes.txt': not a WAV file by its name" "$program" check card
never 'the report says which'
expect 2 'Spec: card/spec.ini' "$program" check card --spec card/spec.ini
mkdir crowd && cp clean/S01/16-T02.wav crowd && touch crowd/{a,b,c,d,e,f,g}.txt
expect 0 'and 2 more in the report (-o DIR writes one)' "$program" check crowd
# Of files alone, of several reports together and of a folder in the edit bay nothing is said of wiping.
title() { xmllint --html --nowarning --xpath "normalize-space(//*[@id='verdict-title'])" "$1/report.html" 2>/dev/null; }
expect 0 'Every take passes.' "$program" check clean/S01/12A-T01.wav clean/S01/16-T02.wav
never wipe
never 'takeproof offload'
expect 2 '1 take fails.' "$program" check card/S01/15-T01.wav -o alone
never wipe
is "nor in the page" not grep -q -e 'wipe' -e 'takeproof offload' alone/report.html
is "its title is about the take" test "$(title alone)" = '1 take fails'
"$program" check -q clean -o one_card >/dev/null
expect 2 '1 of 3 takes fails.' "$program" report alone/report.json one_card/report.json -o merged
never wipe
is "nor in the merged page" not grep -q -e 'wipe' -e 'takeproof offload' merged/report.html
is "its title is about the takes" test "$(title merged)" = '1 of 3 takes fails'
expect 2 '1 of 3 takes fails.' "$program" report merged/report.json -o merged_again
is "written again it is the same" cmp merged/report.html merged_again/report.html
# Every row of the demonstration, one of them of two tracks too quiet to tell what they are.
"$program" check --quiet card --spec card/spec.ini -o whole >/dev/null 2>&1
is "the page tells of quiet tracks" grep -q 'too quiet to tell' whole/report.html
"$program" report --quiet whole/report.json -o whole_again >/dev/null 2>&1
for name in report.html report.csv findings.csv report.json; do
    is "$name written again is the same" cmp "whole/$name" "whole_again/$name"
done
expect 0 'Do not wipe these cards before' "$program" check clean crowd
expect 1 'channel 1, 0:00.0 to 0:19.8: 50 Hz mains hum' "$program" check card/S01/15-T03.wav
expect 1 'Likewise channel 2.' "$program" check card/S01/15-T03.wav
expect 1 '0.025 s to cover in all' "$program" check card/S01/16-T01.wav
never '0.02 s'
expect 0 'too quiet to tell whether they are main and safety' "$program" check card/S01/16-WT01.wav
printf '[pair]\npair = required\n' >required.ini
expect 1 'Too little sound to tell whether these channels are main and safety' "$program" check card/S01/16-WT01.wav --spec required.ini
cp clean/S01/16-T02.wav 16-WT2.wav && expect 2 'The agreement asks for main and safety' "$program" check clean/S01/16-T02.wav --spec required.ini
"$program" check card -o report >/dev/null
is "the report has advice for post in its first part" \
    test "$(sed -n '/id="attention"/,/<\/section>/p' report/report.html | grep -c '<b>In post:</b>')" -ge 8

# Comparing: saved for people and scripts, and a hint when one level or one argument is off.
"$program" check --quiet clean -o set >/dev/null
mkdir up && cp -r clean up/delivered
expect 1 "Compare with 'up/delivered'" "$program" compare set/manifest.sha256 up -o found
expect 1 "Compare with 'up/delivered'" "$program" compare set/manifest.sha256 up
is "the text is saved as it was said" cmp out found/compare.txt
is "and the JSON" grep -q '"renamed": 2' found/compare.json
expect 1 'FOLDER seems to be too low' "$program" compare set/manifest.sha256 clean/S01
expect 0 'This is what left the set' "$program" compare set/manifest.sha256 up/delivered
expect 3 "the list comes first, then the folder: takeproof compare 'set/manifest.sha256' 'clean'" "$program" compare clean set/manifest.sha256
expect 3 "takeproof compare 'set' 'clean'" "$program" compare clean set
expect 3 'it lies inside the source' "$program" compare set clean -o clean/found
rm up/delivered/S01/16-T02.wav
cp -r up/delivered up/moved && mv up/moved/S01/12A-T01.wav up/moved/S01/X.wav && echo 1 >up/moved/y && echo 2 >up/moved/z
expect 2 'This is NOT what left the set: of 2 listed files 1 missing, 0 changed, 0 unreadable, 1 renamed; 2 extra.' "$program" compare set up/moved
expect 2 'copy-missing' "$program" compare set up/delivered --measure --json -o found2
is "the findings are in the report set" grep -q "fail,copy-missing,.*'S01/16-T02.wav': it is not there" found2/findings.csv
is "which is headed by the comparison" test "$(title found2)" = 'NOT what left the set: 1 missing'
is "and speaks of no card" not grep -q -e 'wipe' -e 'takeproof offload' <(sed '/id="attention"/,$d' found2/report.html)
expect 2 'NOT what left the set: 1 missing. Every take passes.' "$program" report found2/report.json -o found2_again
is "written again it is the same" cmp found2/report.html found2_again/report.html
expect 0 'This is what left the set' "$program" compare set clean --measure -o found3
never wipe
never 'takeproof offload'
is "all there is said, too" test "$(title found3)" = 'Everything that left the set is here, unchanged'
is "in the HTML too" grep -q "S01/16-T02.wav" found2/report.html

# Reports given twice.
cp -r set again
expect 3 'would count double' "$program" report set/report.json again/report.json

# A track does not mend what else a take fails for; the sum counts every take.
mkdir short && head -c 4000000 card/S01/12A-T02.wav >short/12A-T02.wav
expect 0 '12A-T02_clean.wav: main, as recorded; the take fails: truncated' "$program" splice short -o short_clean
is "in the list too" grep -q ',the take fails: truncated' short_clean/splices.csv
expect 2 "3 tracks written to 'all'; 8 pairs need none; 1 pair without a clean track; 3 takes without a pair." "$program" splice card --only-damaged -o all
is "the takes stand in order" test "$(sed '$d; s/[_:].*//' out)" = "$(sed '$d; s/[_:].*//' out | LC_ALL=C sort)"
is "each take is told" test "$(sed '$d' out | wc -l)" = 15

# The line check of what is no whole recording says that and nothing else.
printf 'just some text, and no sound at all in it' >text.wav
: >empty.wav
for file in short/12A-T02.wav text.wav empty.wav; do
    expect 2 'NOT READY: 1 thing to put right' "$program" linecheck $file
done
expect 2 'Copy the test again from the card' "$program" linecheck short/12A-T02.wav
expect 2 'Name a WAV file' "$program" linecheck text.wav

# An empty file is advised about that, not about its name; what has no timecode has no rate; a value has a unit.
printf '[names]\npattern = {scene}-T{take}\n' >pattern.ini
mkdir void && : >void/wrong.wav
"$program" check void --spec pattern.ini -o void_report >out 2>err
is "the first advice is about the empty file" grep -q '^<p class="advice"><b>Empty file. Now:' <(grep -m 1 'class="advice"' void_report/report.html)
"$program" check bare short -o bare_report >out 2>err
is "no timecode, no rate" python3 - bare_report <<'END'
import csv, sys
takes = list(csv.DictReader(open(sys.argv[1] + "/report.csv", encoding="utf-8", newline="")))
findings = list(csv.DictReader(open(sys.argv[1] + "/findings.csv", encoding="utf-8", newline="")))
assert all((t["start_timecode"] == "") == (t["timecode_rate"] == "") for t in takes), takes
assert {t["timecode_rate"] == "" for t in takes} == {True, False}
assert findings and all((f["value"] + f["limit"] != "") == (f["unit"] != "") for f in findings), findings
assert all(not f["message"][0].islower() for f in findings)
assert [f["unit"] + f["value"] for f in findings if f["code"] == "truncated"] == ["bytes3489588"]
END

# Notes.
printf 'scene,take,start\n12A,1,25:99:00\n' >wrong.csv
expect 3 "'wrong.csv' line 2: '25:99:00' is no time of day" "$program" check clean --log wrong.csv
printf 'scene,take\n3,1\n' >slate.csv
expect 2 "1 of 1 recordings carry no scene and take: name them in a column 'file'" "$program" check bare --log slate.csv
printf 'scene,take,file\n3,1,\n3,2,\n' >blank.csv
expect 2 "1 of 1 recordings carry no scene and take: fill the column 'file'" "$program" check bare --log blank.csv
is "once" test "$(tr -s ' \n' ' ' <out | grep -o "fill the column" | wc -l)" = 1
expect 0 '12A,1,T001.wav,good' "$program" spec --log

# The verdict alone; options mistyped.
"$program" linecheck -q card/S01/15-T02.wav >out
is "linecheck -q is the verdict and what must be done" test "$(grep -cv '^  ' out)$(grep -c '^  ready' out)" = 10
expect 3 "there is no option '--spce'; did you mean '--spec'?" "$program" check --spce x card
expect 3 "'--copies' here: it belongs to 'takeproof offload'" "$program" check --copies 2 card
expect 3 "'--json' takes no value" "$program" check --json=yes card
expect 3 "could be --output or --only-damaged" "$program" splice --o x card
expect 0 'print the help of takeproof' "$program" help
expect 0 'Options:' "$program" help spec
never '--jobs' # of no use there, and taken all the same
expect 0 'sample_rate_hz' "$program" spec --jobs 2
expect 3 "there is no command 'chek'; did you mean 'check'?" "$program" chek card

echo "$((count - failed)) of $count stumbling blocks are gone"
[ $failed = 0 ] && [ $count -gt 70 ]
