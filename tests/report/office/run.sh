#!/bin/sh
# SPDX-License-Identifier: MIT
# tests/report/office/run.sh MAKE_TABLES FOLDER: opens report.csv and findings.csv in LibreOffice without a screen, and
# compares every cell with what Python's csv module reads. Needs soffice and python3: .ci/deps office.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
make_tables=$1 folder=$2
rm -rf "$folder" && mkdir -p "$folder/tables" "$folder/plain" "$folder/text"
"$make_tables" "$folder/tables"
printf 'a,b\r\n=1+1,2\r\n' >"$folder/tables/formula.csv"

# Separator ",", quote '"', UTF-8, from the first line; then the form of each column: by itself, or 2 = text.
open_in_office() { # WAY FILTER FILE...
    to=$folder/$1 filter=$2
    shift 2
    soffice "-env:UserInstallation=file://$folder/profile" --headless "--infilter=CSV:44,34,76,1$filter" --convert-to fods \
        --outdir "$to" "$@" >"$to/said" 2>&1 || { cat "$to/said"; exit 1; }
}
all_text=$(seq 1 40 | sed 's|$|/2|' | paste -s -d / -)
open_in_office plain "" "$folder"/tables/[!o]*.csv
open_in_office text ",$all_text" "$folder"/tables/*.csv

failed=0 compared=0
for way in plain text; do
    for table in "$folder"/tables/*.csv; do
        name=$(basename "$table" .csv)
        case $way-$name in *-formula | plain-odd-*) continue ;; esac
        python3 "$here/compare.py" "$table" "$folder/$way/$name.fods" "$way" >"$folder/$way/$name.said" ||
            { failed=1; cat "$folder/$way/$name.said"; }
        compared=$((compared + 1))
    done
done
# This way of looking does see a formula, and a text that became a number.
sees() { # TABLE WORDS
    python3 "$here/compare.py" "$folder/tables/$1.csv" "$folder/plain/$1.fods" text >"$folder/seen" || true
    grep -q "$2" "$folder/seen" ||
        { echo "a table with $1 was not found out" >&2; failed=1; }
}
sees formula "is a formula"
sees sample-report "became a float"
[ "$compared" -gt 80 ] || { echo "only $compared tables were compared" >&2; failed=1; }
echo "$compared tables opened as written, $(cat "$folder"/*/*.said | awk '/ cells, / { sum += $1 } END { print sum }') cells"
exit $failed
