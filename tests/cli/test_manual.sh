#!/bin/bash
# SPDX-License-Identifier: MIT
# tests/cli/test_manual.sh [--update]: the parts of the manual that repeat the program's tables are printed by the program and
# compared with what stands between `.\" generated NAME ARGUMENT` and `.\" end` in man/. --update writes them.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/release/takeproof}

roff='function plain(s) { gsub(/\\/, "\\e", s); gsub(/-/, "\\-", s); return s }
function line(s) { if (s ~ /^[.\x27]/) s = "\\&" s; print plain(s) }'

# Name and one line, as man and apropos want it.
name() {
    "$program" --help | awk -v command="$1" "$roff"' $1 == command && /^  / {
        sub(/^  [a-z]+ +/, ""); print ".SH NAME\ntakeproof\\-" command " \\- " plain($0) }'
}
synopsis() {
    printf '.SH SYNOPSIS\n'
    "$program" "$1" --help | awk "$roff"' NR == 1 { sub(/^Usage: takeproof [a-z]+ ?/, "")
        print ".B takeproof '"$1"'"; if ($0 != "") line($0) }'
}
description() {
    printf '.SH DESCRIPTION\n'
    "$program" "$1" --help | awk "$roff"' NR > 2 && /^$/ { exit } NR > 2 { line($0) }'
}
options() {
    printf '.SH OPTIONS\n'
    "$program" "$1" --help | awk "$roff"'
    function flush_one() { if (head != "") { print ".TP\n.B " plain(head); line(text) } head = "" }
    /^Options:/ { on = 1; next }
    /^$/ { if (on) flush_one(); on = 0 }
    on && (/^  -/ || /^      --/) { flush_one(); head = $0; text = ""
        if (substr($0, 23, 2) == "  " || length($0) < 24) { text = substr($0, 25); head = substr($0, 1, 24) }
        gsub(/^ +| +$/, "", head); next }
    on { sub(/^ +/, ""); text = text (text == "" ? "" : " ") $0 }'
}
commands() {
    "$program" --help | awk "$roff"' /^Commands:/ { on = 1; next } /^$/ { on = 0 }
        on { name = $1; sub(/^  [a-z]+ +/, "")
            print ".TP\n" (name == "help" ? ".B takeproof help" : ".BR takeproof\\-" name " (1)"); line($0) }'
}
findings() {
    "$program" explain --list | awk "$roff"' { title = $0; sub(/^[^ ]+ +[^ ]+ +[^ ]+ +/, "", title)
        print ".TP\n.BR " plain($1) " \" (" $2 ", " $3 ")\""; line(title) }'
}
keys() {
    "$program" spec | awk "$roff"' /^\[/ { print ".SS " $0; next }
        /^# Values: / { sub(/^# Values: /, ""); values = $0; next }
        /^# / { sub(/^# /, ""); comment = $0; next }
        / =/ { key = $1; value = $0; sub(/^[^=]+= ?/, "", value)
            print ".TP\n.B " plain(key); line(comment)
            line("Values: " values (value == "" ? "" : " Built in: " value ".")) }'
}
checklist() {
    "$program" spec --checklist | awk "$roff"' /^[A-Z]/ { if (text != "") line(text); text = ""; print ".SS " $0; next } /^$/ { next }
        /^  \[ \]/ { if (text != "") line(text); print ".IP \\(bu 2"; text = substr($0, 7); next }
        { sub(/^ +/, ""); text = text " " $0 } END { line(text) }'
}
file() { awk "$roff"' { line($0) }' "$tree/$1"; }

# The page with its generated parts as the program prints them now.
rebuilt() {
    while IFS= read -r text; do
        printf '%s\n' "$text"
        case $text in
        '.\" generated '*)
            set -- ${text#'.\" generated '}
            case $1 in
            name | synopsis | description | options)
                "$program" "$2" --help >/dev/null || { echo "the program has no command $2"; return 1; } ;;
            esac
            case $1 in name | synopsis | description | options | commands | findings | keys | checklist | file) "$1" "${2:-}" ;; *) echo "unknown part $1" ;; esac
            while IFS= read -r text && [ "$text" != '.\" end' ]; do :; done
            echo '.\" end'
            ;;
        esac
    done <"$1"
}

count=0 failed=0
for page in "$tree"/man/*.[1-8]; do
    fresh=$(mktemp)
    count=$((count + 1))
    if ! rebuilt "$page" >"$fresh"; then
        echo "man/$(basename "$page") cannot be compared"
        failed=$((failed + 1))
    elif [ "${1:-}" = --update ]; then
        cp "$fresh" "$page"
    elif ! diff -u "$page" "$fresh"; then
        echo "man/$(basename "$page") and the program differ: tests/cli/test_manual.sh --update"
        failed=$((failed + 1))
    fi
    rm -f "$fresh"
done
# Every command has its page, which is laid out without a complaint.
for command in $("$program" --help | awk '/^Commands:/ { on = 1; next } /^$/ { on = 0 } on && $1 != "help" { print $1 }'); do
    [ -e "$tree/man/takeproof-$command.1" ] || { echo "man/takeproof-$command.1 is missing"; failed=$((failed + 1)); }
done
# The first page leads to all others.
for page in "$tree"/man/*.[1-8]; do
    name=$(basename "$page")
    grep -qF -e ".BR $(sed 's/-/\\-/g; s/\.\([1-8]\)$/ (\1)/' <<<"$name")" <(sed '1,/^.SH SEE ALSO/d' "$tree/man/takeproof.1") || [ "$name" = takeproof.1 ] ||
        { echo "man/takeproof.1 does not lead to $name"; failed=$((failed + 1)); }
done
for page in "$tree"/man/*.[1-8]; do
    complaints=$(LC_ALL=C.UTF-8 man --warnings -E UTF-8 -l -Tutf8 -Z "$page" 2>&1 >/dev/null)
    [ -z "$complaints" ] || { echo "$complaints"; failed=$((failed + 1)); }
done
echo "$((count - failed)) of $count manual pages agree with the program"
[ $failed = 0 ] && [ $count -gt 0 ]
