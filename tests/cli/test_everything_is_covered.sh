#!/bin/bash
# SPDX-License-Identifier: MIT
# From the program's own tables: every command, option, finding code and spec key is in the manual, in explain and completion
# where it belongs, and is used by a test (not counting the tests that only list names).
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/release/takeproof}
cd "$tree" || exit 1
checks=0 failed=0
must() { # WORDS COMMAND...
    local words=$1
    shift
    checks=$((checks + 1))
    "$@" >/dev/null 2>&1 || { echo "$words"; failed=$((failed + 1)); }
}
plain=$(mktemp -d)
trap 'rm -rf "$plain"' EXIT
for page in man/*.[1-8]; do sed 's/\\-/-/g; s/\\e/\\/g' "$page" >"$plain/$(basename "$page")"; done
"$program" completion bash >"$plain/completion"
# What the tests are made of, without lists of names and without expected outputs.
find tests -type f \( -name '*.c' -o -name '*.sh' \) ! -name test_findings.c ! -name fault_tables.c -print0 | xargs -0 cat >"$plain/tests"
awk '/^\.EX/ { on = 1 } /^\.EE/ { on = 0 } on' man/*.[1-8] | sed 's/\\-/-/g' >>"$plain/tests" # these run too
awk '/^```/ { on = !on } on' README.md >>"$plain/tests"

for command in $("$program" --help | awk '/^Commands:/ { on = 1; next } /^$/ { on = 0 } on && $1 != "help" { print $1 }'); do
    must "$command: no manual page" test -s "$plain/takeproof-$command.1"
    must "$command: not in takeproof.1" grep -q "takeproof-$command (1)" "$plain/takeproof.1"
    must "$command: not completed" grep -qE "^    $command\)" "$plain/completion"
    must "$command: no test runs it" grep -qE "takeproof $command|\"$command\"" "$plain/tests"
    # Word for word: what the help says of the options is what the page says.
    must "$command: the options of its page are not those of --help" test "$("$program" "$command" --help |
        sed -n '/^Options:/,/^$/p' | tail -n +2 | tr -s ' \n' ' ')" = "$(sed -n '/^\.SH OPTIONS/,/^\.\\" end/p' "$plain/takeproof-$command.1" |
        sed '1s/.*/ /; /^\.TP/d; /^\.\\"/d; s/^\.B //' | tr -s ' \n' ' ')"
    for option in $("$program" "$command" --help | grep -oE '^(  -., |      )--[a-z-]+' | grep -oE -- '--[a-z-]+'); do
        must "$command $option: not in its manual page" grep -qE -e "$option( |\$)" "$plain/takeproof-$command.1"
        must "$command $option: not completed" grep -qE -e "$option[ ']" "$plain/completion"
        must "$command $option: no test uses it" grep -qE -e "$option([^a-z-]|\$)" "$plain/tests"
    done
done
while read -r code _; do
    must "$code: not in takeproof.1" grep -qF "$code" "$plain/takeproof.1"
    must "$code: not explained" "$program" explain "$code"
    must "$code: not completed" grep -qw -e "$code" "$plain/completion"
    constant=TP_CODE_$(tr 'a-z-' 'A-Z_' <<<"$code")
    must "$code: no test is about it" grep -qE -e "\b$constant\b|[\" ]$code([\" ]|\$)" "$plain/tests"
done < <("$program" explain --list)
while IFS=. read -r section rest; do
    key=${rest%% *}
    must "$key: not in takeproof-spec.5" grep -qE "^\.B $key\$" "$plain/takeproof-spec.5"
    must "$key: not printed by spec" grep -qE "^$key =" <("$program" spec)
    must "$key of [$section]: no test is about it" grep -qE "[.>\"n]$key\b" "$plain/tests"
done < <("$program" spec --keys)
echo "$((checks - failed)) of $checks things about commands, options, codes and keys hold"
[ $failed = 0 ] && [ $checks -gt 300 ]
