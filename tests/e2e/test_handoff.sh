#!/bin/bash
# SPDX-License-Identifier: MIT
# From the card to the edit bay with the program as it is: offload, other people's tools on what it wrote, compare.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/release/takeproof}
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
cd "$scratch" || exit 1
. "$tree/tests/support/expect.sh"

# Two takes that pass nothing in particular, and names to trip over.
mkdir -p card/S01/deep "card/no takes yet" || exit 1
sox -n -r 48000 -b 24 -c 2 card/S01/12A-T001.wav synth 2 sine 300 sine 400 gain -14
sox -n -r 48000 -b 24 -c 1 card/S01/deep/12A-T002.wav synth 2 pinknoise gain -20
printf 'notes' >$'card/new\nline.txt'
printf 'x' >$'card/bytes \xff\xfe.bin'
printf 'y' >'card/back\slash & <angle> "quote".txt'
printf 'z' >$'card/cr\r.txt'
: >card/empty.wav
touch -d '2026-01-15 13:00:00.25 UTC' card/S01/12A-T001.wav card/S01
# The verdict is that of the check; these takes are not within the built-in spec.
expect 2 'The card may be wiped: each of its 7 files' "$program" offload card one two -o report
expect 0 '' diff -r card one --exclude=ascmhl
expect 0 '' diff -r card two --exclude=ascmhl
expect 0 '' cmp <(cd card && find . -mindepth 1 -printf '%P %y %s %T@\n' | sed '/ d [0-9]* /s/ d [0-9]* / d /' | LC_ALL=C sort) \
    <(cd one && find . -mindepth 1 ! -path './ascmhl*' -printf '%P %y %s %T@\n' | sed '/ d [0-9]* /s/ d [0-9]* / d /' | LC_ALL=C sort)
expect 1 '' test -e one/.takeproof-offload

# The report has the sound of the same spots as that of a check.
mkdir loud && sox -R /usr/share/sounds/alsa/Front_Center.wav -b 24 loud/T001.wav gain 12 2>/dev/null
expect 2 '' "$program" check loud -o loud_checked
expect 2 '' "$program" offload loud loud_one loud_two -o heard
sounds() { grep -o 'src="data:audio/flac;base64,[^"]*"' "$1/report.html" 2>/dev/null; }
expect 0 'data:audio/flac' sounds heard
expect 0 '' cmp <(sounds heard) <(sounds loud_checked)
expect 2 '' "$program" offload loud loud_one loud_two -o mute --excerpts none
expect 1 '' sounds mute

# Other people's tools.
expect 0 '' env -C one sha256sum --quiet --strict --check ../report/manifest.sha256
expect 0 7 grep -c . report/manifest.sha256
for folder in one two; do
    expect 0 '' xmllint --noout --nonet --schema "$tree/fixtures/ascmhl/hashlist.xsd" "$folder"/ascmhl/*.mhl
    expect 0 '' xmllint --noout --nonet --schema "$tree/fixtures/ascmhl/chain.xsd" "$folder/ascmhl/ascmhl_chain.xml"
done
expect 0 "$(xxhsum -H64 card/S01/12A-T001.wav | cut -c 1-16)" cat one/ascmhl/*.mhl
expect 0 "$(sha256sum card/S01/12A-T001.wav | cut -c 1-64)" cat report/offload.json
# The schema must be able to refuse: an element out of order.
sed 's|<process>transfer</process>|<process>carried</process>|' one/ascmhl/*.mhl >wrong.mhl
expect 3 'fails to validate' xmllint --noout --nonet --schema "$tree/fixtures/ascmhl/hashlist.xsd" wrong.mhl

# Again: nothing is copied, all is proven, and the history grows.
expect 2 'one: 0 copied, 7 there already, 0 not there' "$program" offload card one two
expect 0 'action="verified"' cat one/ascmhl/0002_*.mhl

# The report beside the offload says the same as its last line, and the takes have their own.
heading() { xmllint --html --nowarning --xpath "normalize-space(//*[@id='verdict-title'])" "$1/report.html" 2>/dev/null; }
box() { xmllint --html --nowarning --xpath "string(//section[contains(@class,'verdict')]/@class)" "$1/report.html" 2>/dev/null; }
expect 0 'The card may be wiped' heading report
expect 0 'verdict two fail' box report
expect 0 'Each of its 7 files has at least 2 verified copies.' cat report/report.html
expect 0 'take report: The card may be wiped; 1 of 3 takes fails, 2 must be heard</title>' cat report/report.html
# At the head of each printed page; one space ends the number of a character, the next is the text's (CSS Syntax 3, 4.3.7).
expect 0 'The card may be wiped\00003B  1 of 3 takes fails\00002C  2 must be heard"' cat report/report.html
expect 0 '<p class="order">1 of 3 takes fails, 2 must be heard</p>' cat report/report.html
expect 1 '' grep -q 'takeproof offload' report/report.html
expect 2 'The card may be wiped: each of its 7 files has at least 2 verified copies.' "$program" report report/report.json -o rendered
expect 0 '' cmp report/report.html rendered/report.html
expect 0 '' cmp report/report.json rendered/report.json
# Both channels of one take are too noisy; the take table names that once.
expect 0 2 grep -c 'data-label="Notes">Loud background\. *</td>' report/report.html
# No card of a merged report may be wiped by its word.
"$program" check --quiet card/S01 -o other >/dev/null
expect 2 'takes fail' "$program" report report/report.json other/report.json -o merged
expect 3 'would count double' "$program" report report/report.json report/report.json -o twice
expect 1 '' grep -rq 'may be wiped' merged

# In the edit bay.
(cd card && find . -type f -print0 | xargs -0 sha256sum) >theirs.sha256
: >none.sha256
for list in report/manifest.sha256 report/offload.json one/ascmhl one one/ascmhl/ascmhl_chain.xml one/ascmhl/0001_*.mhl; do
    expect 0 'all 7 listed files are here' "$program" compare "$list" two
done
# What an offload reports lists every file with its hash; a check reads recordings only.
expect 0 'all 7 listed files are here' "$program" compare report/report.json two
expect 2 '' "$program" check card -o checked
expect 1 'has no hash of it' "$program" compare checked/report.json two
for name in 'back\slash & <angle> "quote".txt' $'cr\r.txt' empty.wav; do
    expect 0 "$(sha256sum <"card/$name" | cut -c 1-64)" cat report/report.json
done
expect 0 'all 7 listed files are here' "$program" compare theirs.sha256 two
expect 2 'all 7 listed files are here' "$program" compare report/manifest.sha256 two --measure -o again
expect 0 '' test -e again/report.html
cp -a two three
mv three/S01/12A-T001.wav three/S01/renamed.wav
expect 1 'renamed     S01/12A-T001.wav' "$program" compare report/manifest.sha256 three
printf x >>three/S01/renamed.wav
expect 2 'missing     S01/12A-T001.wav' "$program" compare report/manifest.sha256 three
printf x >three/extra.wav
expect 2 'extra       extra.wav' "$program" compare report/manifest.sha256 three
printf x | dd of=three/S01/deep/12A-T002.wav bs=1 seek=100000 conv=notrunc status=none
expect 2 'changed     S01/deep/12A-T002.wav' "$program" compare one/ascmhl three
expect 2 "the right copy has sha256 $(sha256sum two/S01/deep/12A-T002.wav | cut -c 1-64)" "$program" compare report/manifest.sha256 three
expect 2 'Next: delete nothing.' "$program" compare report/manifest.sha256 three
expect 2 '"code": "copy-changed"' "$program" compare one/ascmhl three --json
expect 3 'lists no file' "$program" compare none.sha256 three
expect 3 'cannot open' "$program" compare nothing three
expect 3 'cannot list' "$program" compare report/manifest.sha256 nothing
expect 0 'This is what left the set' "$program" compare report two
expect 3 'without an ASC MHL history' "$program" compare card three
expect 3 'goes with --measure' "$program" compare report/manifest.sha256 three --spec day.ini

# What must be refused before anything is written.
before=$(find card -printf '%p %s %T@\n' | LC_ALL=C sort | sha256sum)
expect 3 'lies inside the card' "$program" offload card card/copy
expect 3 'lies inside the source' "$program" offload card four -o card/report
expect 1 '' test -e four
expect 3 'lies inside the destination' "$program" offload card .
expect 3 'the same or lie inside' "$program" offload card four four/
expect 3 'cannot find the card' "$program" offload nothing four
expect 3 'is no folder' "$program" offload card/empty.wav five
expect 3 'missing' "$program" offload card
[ "$before" = "$(find card -printf '%p %s %T@\n' | LC_ALL=C sort | sha256sum)" ] || { echo "the card was touched"; failed=$((failed + 1)); }

# One copy, a differing file, and what to do about it.
expect 3 'Do NOT wipe the card yet: each file has 1 verified copy and 2 are wanted' "$program" offload card six -o short
expect 0 'Do not wipe this card' heading short
expect 0 'Each file has 1 verified copy and 2 are wanted.' cat short/report.html
expect 0 'run takeproof offload again' cat short/report.html
expect 1 '' grep -q 'may be wiped' short/report.html
expect 2 'The card may be wiped' "$program" offload card six --copies 1
printf 'N' | dd of=$'six/new\nline.txt' bs=1 conv=notrunc status=none
expect 3 'another file is already there as' "$program" offload card six --copies 1 -o differs
expect 0 'Give this card a folder of its own, or use --set-aside' cat differs/offload.json
expect 0 'Do not wipe this card' heading differs
expect 0 '6 of 7 files verified' cat differs/report.html
expect 1 '' grep -q 'may be wiped' differs/report.html
expect 2 'The card may be wiped' "$program" offload card six --copies 1 --set-aside
expect 0 Notes cat $'six/new\nline.txt.differs'
# A history that was tampered with is not built upon, and the copies are proven all the same.
printf ' ' >>"$(ls six/ascmhl/0001_*.mhl)"
expect 3 'not what the chain says' "$program" offload card six --copies 1
expect 2 'The card may be wiped' "$program" offload card six --copies 1 --no-history

echo "$((count - failed)) of $count steps of the hand-off went as they should"
[ $failed = 0 ] && [ $count -gt 40 ]
