#!/bin/bash
# SPDX-License-Identifier: MIT
# The completion scripts, asked by the shells themselves: every command, option, value and finding code is offered.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/release/takeproof}
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
export HOME=$scratch XDG_CONFIG_HOME=$scratch XDG_DATA_HOME=$scratch PATH="$(dirname "$program"):$PATH"
cd "$scratch" && mkdir card && touch day.ini
for shell in bash zsh fish; do "$program" completion $shell >takeproof.$shell || exit 1; done

commands() { "$program" --help | awk '/^Commands:/ { on = 1; next } /^$/ { on = 0 } on && $1 != "help" { print $1 }'; }
options() { "$program" "$1" --help | grep -oE '^ +(-., )?--[a-z-]+' | grep -oE -- '--[a-z-]+'; }
codes() { "$program" explain --list | cut -d ' ' -f 1; }

# What a shell offers for the words typed so far; the last one is being completed.
offers_bash() {
    bash -c '. ./takeproof.bash; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); compopt() { :; }
        _takeproof; printf "%s\n" "${COMPREPLY[@]}"' bash - "$@"
}
offers_fish() { fish -c 'source takeproof.fish; complete -C "$argv"' -- "$*" | cut -f 1; }

checks=0 failed=0
offered() { # SHELL EXPECTED WORDS...
    local shell=$1 expected=$2
    shift 2
    checks=$((checks + 1))
    offers_$shell "$@" | grep -qxF -e "$expected" || { echo "$shell does not offer '$expected' after '$*'"; failed=$((failed + 1)); }
}

for shell in bash fish; do
    for command in $(commands); do
        offered $shell "$command" takeproof "${command:0:2}"
        for option in $(options "$command"); do offered $shell "$option" takeproof "$command" "${option:0:4}"; done
    done
    offered $shell help takeproof he
    offered $shell always takeproof check --colour a
    offered $shell fish takeproof completion f
done
all=$(offers_bash takeproof explain '')
for code in $(codes); do
    checks=$((checks + 1))
    grep -qxF -e "$code" <<<"$all" || { echo "bash does not offer $code"; failed=$((failed + 1)); }
done
offered fish both-clipped takeproof explain both
offered bash day.ini takeproof check --spec d
offered bash card takeproof check -o c
offered fish day.ini takeproof check --spec d

# zsh completes only on a terminal: its script must load, and hold every word.
zsh -n takeproof.zsh || { echo "zsh cannot read its script"; failed=$((failed + 1)); }
for command in $(commands); do
    for word in "'$command:" $(options "$command"); do
        checks=$((checks + 1))
        grep -qF -e "$word" takeproof.zsh || { echo "zsh: $word is missing"; failed=$((failed + 1)); }
    done
done
for code in $(codes); do
    checks=$((checks + 1))
    grep -qwF -e "$code" takeproof.zsh || { echo "zsh: $code is missing"; failed=$((failed + 1)); }
done
echo "$((checks - failed)) of $checks completions were right"
[ $failed = 0 ] && [ $checks -gt 100 ]
