#!/bin/sh
# SPDX-License-Identifier: MIT
# tests/report/browser/run.sh MAKE_REPORTS DEMO_CARD TAKEPROOF FOLDER: makes the pages, fetches the pinned npm packages once
# into FOLDER, validates the HTML and runs the tests in headless Chromium. Needs chromium, node (18 or later), npm, pdfinfo
# and pdftotext: .ci/deps browser.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
make_reports=$1 demo_card=$2 takeproof=$3 folder=$4
mkdir -p "$folder/pages"
cp "$here/package.json" "$here/package-lock.json" "$here/htmlvalidate.json" "$folder/"
[ "$folder/node_modules" -nt "$folder/.installed" ] && cmp -s "$here/package-lock.json" "$folder/.installed" ||
    (cd "$folder" && npm ci --no-audit --no-fund --loglevel=error && cp package-lock.json .installed && touch node_modules)
rm -f "$folder"/pages/*
"$make_reports" "$folder/pages"

# A report that stands beside its sound, in a folder whose name needs care in a link; and one that has lost it.
rm -rf "$folder/sound" && mkdir -p "$folder/sound/lost/alone"
card="$folder/sound/card #1 50%? \"café\" & co"
"$demo_card" "$card" >"$folder/sound/said"
"$takeproof" check "$card" -o "$folder/sound/report" --quiet >>"$folder/sound/said" || [ $? -le 2 ]
cp "$folder/sound/report/report.html" "$folder/sound/lost/alone/"
# Roles are repeated on purpose: a narrow screen lays the table out as blocks, and browsers then drop the roles of its parts.
# large.html is sample.html many times over, and the validator takes minutes for it.
valid=$(ls "$folder"/pages/*.html | grep -v large)
(cd "$folder" && ./node_modules/.bin/html-validate --config htmlvalidate.json $valid)
echo "$(echo "$valid" | wc -l) pages are valid HTML"
node "$here/report.mjs" "$folder/pages" "$folder" "$folder/sound"
