#!/bin/sh
# SPDX-License-Identifier: MIT
# tests/report/browser/run.sh MAKE_REPORTS FOLDER: makes the pages, fetches the pinned npm packages once into FOLDER, validates the
# HTML and runs the tests in headless Chromium. Needs chromium, node, npm, pdfinfo and pdftotext (Debian: chromium nodejs
# npm poppler-utils).
set -eu
here=$(cd "$(dirname "$0")" && pwd)
make_reports=$1 folder=$2
for command in node npm "${CHROMIUM:-chromium}" pdfinfo pdftotext; do
    command -v "$command" >/dev/null 2>&1 || {
        echo "not installed: $command (Debian: sudo apt-get install chromium nodejs npm poppler-utils)" >&2
        exit 1
    }
done
mkdir -p "$folder/pages"
cp "$here/package.json" "$here/package-lock.json" "$here/htmlvalidate.json" "$folder/"
[ "$folder/node_modules" -nt "$folder/.installed" ] && cmp -s "$here/package-lock.json" "$folder/.installed" ||
    (cd "$folder" && npm ci --no-audit --no-fund --loglevel=error && cp package-lock.json .installed && touch node_modules)
rm -f "$folder"/pages/*
"$make_reports" "$folder/pages"
# Roles are repeated on purpose: a narrow screen lays the table out as blocks, and browsers then drop the roles of its parts.
# large.html is sample.html many times over, and the validator takes minutes for it.
valid=$(ls "$folder"/pages/*.html | grep -v large)
(cd "$folder" && ./node_modules/.bin/html-validate --config htmlvalidate.json $valid)
echo "$(echo "$valid" | wc -l) pages are valid HTML"
node "$here/report.mjs" "$folder/pages" "$folder"
