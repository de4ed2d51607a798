#!/bin/bash
# SPDX-License-Identifier: MIT
# Recordings under other names, in folders of a system and in parts: nothing that may be a take passes unseen, and what an
# operating system or takeproof itself leaves on a card is no alarm.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/takeproof}
build=${TAKEPROOF_BUILD:-$tree/build/release}
scratch=$(mktemp -d) || exit 1
trap 'rm -rf "$scratch"' EXIT
export LC_ALL=C SOURCE_DATE_EPOCH=2000000000 COLUMNS=10000
cd "$scratch" || exit 1
"$build/tests/demo/demo_card" made >/dev/null || exit 1
. "$tree/tests/support/expect.sh"
never() { # WORDS: not in what the last command said
    count=$((count + 1))
    if cat out err | tr -s ' \n' ' ' | grep -qF -e "$1"; then
        echo "said: $1"
        failed=$((failed + 1))
    fi
}
clean=made/S01/16-T02.wav
new_card() { rm -rf card && mkdir -p card/S01 && cp $clean card/S01/; }

new_card
expect 0 'Every take passes' "$program" check -q card
for name in 251126_017.TMP 12B-T05 12B-T04.wav.part .16-T03.wav; do
    new_card
    head -c 2000000 made/S01/12A-T01.wav >"card/S01/$name"
    expect 1 '' "$program" check -q card
    expect 1 "$name" "$program" check card
    expect 1 'begins like a WAV recording' "$program" check card
    expect 1 'begins like a WAV recording, by another name: not checked' "$program" check --json card
done
# RF64 and BW64 are of the family (EBU Tech 3306, ITU-R BS.2088); FFmpeg writes RF64.
new_card
ffmpeg -v error -i $clean -c copy -rf64 always -f wav card/S01/a.tmp </dev/null
expect 1 'begins like a WAV recording' "$program" check card
sed -i '1s/^RF64/BW64/' card/S01/a.tmp
expect 1 'begins like a WAV recording' "$program" check card

# An offload tells it too, from the read that makes the copies.
expect 1 'begins like a WAV recording' "$program" offload card one two
expect 1 'The card may be wiped' "$program" offload card one two

# What is no recording, was thrown away or is takeproof's own.
new_card
mkdir -p 'card/$RECYCLE.BIN/S-1' card/.Trashes/501 'card/System Volume Information' card/.takeproof-offload card/lost+found
cp $clean 'card/$RECYCLE.BIN/S-1/$I1.WAV' && cp $clean 'card/$RECYCLE.BIN/S-1/x'
cp $clean card/.Trashes/501/16-T09.wav && cp $clean card/.Trashes/501/16-T08.tmp
cp $clean card/.takeproof-offload/0.part
echo x >'card/System Volume Information/IndexerVolumeGuid'
echo notes >card/notes.txt && : >card/empty && printf 'RIFF' >card/short
ffmpeg -v error -f lavfi -i color=duration=0.1 -f avi card/clip.avi </dev/null
"$program" check -q card/S01 -o card/report --not-on-card >/dev/null
expect 0 'Every take passes' "$program" check -q card
expect 0 'in a wastebasket: not checked' "$program" check --json card
expect 0 'in a system folder: not checked' "$program" check --json card
never '"unreadable"'

# Pieces that a repair of the file system found, sound or not.
mkdir card/FOUND.000 && head -c 4096 /dev/zero >card/FOUND.000/FILE0000.CHK && : >card/FOUND.000/FILE0001.CHK
expect 1 "found 1 piece that belongs to no file, such as 'FOUND.000/FILE0000.CHK'" "$program" check --json card
cp $clean card/FOUND.000/FILE0000.CHK
expect 1 "'FOUND.000/FILE0000.CHK' begins like a WAV recording" "$program" check --json card

# As many as there are, each run ends with a bounded list.
new_card
for i in $(seq 60); do head -c 100 $clean >card/S01/$i.tmp; done
expect 1 '10 more of this kind.' "$program" check --json card
echo "$((count - failed)) of $count things about other names hold"
[ $failed = 0 ] && [ $count -gt 24 ]
