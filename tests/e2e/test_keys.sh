#!/bin/bash
# SPDX-License-Identifier: MIT
# man/takeproof-report.5 names every key of report.json, as the installed schema has them, and every key and column of what
# the commands write; and none that is not there.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/takeproof}
build=${TAKEPROOF_BUILD:-$tree/build/release}
scratch=$(mktemp -d) || exit 1
trap 'rm -rf "$scratch"' EXIT
cd "$scratch" || exit 1
"$build/tests/demo/demo_card" card >/dev/null || exit 1
name=$'card/na\xffme.txt'
printf 'x' >"$name"
"$program" check --quiet card -o report >/dev/null
"$program" splice --quiet card -o tracks >/dev/null
"$program" splice --json card/S01/12A-T02.wav -o tracks2 >splice.json
"$program" offload --json card one --copies 1 -o offloaded >offload.json
"$program" compare --json offloaded/offload.json one >compare.json
"$program" compare --json --measure offloaded/offload.json one >measured.json
"$program" linecheck --json card/S01/12A-T01.wav >linecheck.json
printf x >$'card/empty\xff.wav'
"$program" salvage --json card/S01/15-T01.wav card/S01/12A-T01.wav $'card/empty\xff.wav' -o saved >salvage.json 2>/dev/null
python3 - "$tree/man/takeproof-report.5" "$tree/include/takeproof/report.schema.json" <<'END'
import csv, json, sys

sections, title, waiting = {}, None, False
for line in open(sys.argv[1], encoding="utf-8"):
    line = line.rstrip("\n").replace("\\-", "-")
    if line.startswith((".SH ", ".SS ")):
        title = line[4:]
        sections[title] = []
    elif line == ".TP":
        waiting = True
    elif waiting and line.startswith(".B "):
        sections[title].append(line[3:])
        waiting = False
checks = failed = 0
def check(good, words):
    global checks, failed
    checks += 1
    if not good:
        failed += 1
        print(words)

# The section of each object of the schema.
schema = json.load(open(sys.argv[2]))
titles = {
    "": "report.json", ".production": "production", ".spec": "spec", ".summary": "summary", "handoff": "handoff",
    ".compared": "compared", "handoff.destinations": "handoff.destinations[]", "take": "takes[]", "use": "use", "signal": "signals[]",
    "reference": "of, main, safety, copy, dead_partner, same_as", "pair": "pair", "pair.splices": "pair.splices[]",
    "finding": "findings[]", "file": "files[]", "hashes": "hashes", "file.programme": "programme",
    "channel": "channels[]", "runs": "clips[], flat_tops[]", "channel.waveform": "waveform", "bext": "bext",
    "ixml": "ixml", "ixml.tracks": "ixml.tracks[]", "ixml.sync_points": "ixml.sync_points[]",
    "ixml.extras": "ixml.extras[]", "file.chunks": "chunks[]", "file.cues": "cues[]", "file.infos": "infos[]",
    "other": "others[]", "excerpt": "excerpts[]"}
def compare(path, keys):
    check(path in titles, "the schema has an object '%s' that this test knows no section of" % path)
    told = sections.get(titles.get(path), [])
    for key in keys:
        check(key in told, "report.json: %s of '%s' is not in the manual" % (key, path))
    for key in told:
        check(key in keys, "the manual tells of %s in '%s', which the schema has not" % (key, path))
def walk(part, path):
    if "properties" in part:
        compare(path, part["properties"])
        for key, value in part["properties"].items():
            walk(value, path + "." + key)
    if isinstance(part.get("items"), dict):
        walk(part["items"], path)
walk(schema, "")
for name, part in schema["$defs"].items():
    walk(part, name)

for path, name in (("report/report.csv", "report.csv"), ("report/findings.csv", "findings.csv"), ("tracks/splices.csv", "splices.csv")):
    columns = next(csv.reader(open(path, newline="", encoding="utf-8")))
    check(columns == sections.get(name), "%s: columns %s, manual %s" % (name, columns, sections.get(name)))

def keys_of(value, skip=()):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            if key not in skip:
                yield from keys_of(inner, skip)
    elif isinstance(value, list):
        for inner in value:
            yield from keys_of(inner, skip)
columns = sections["splices.csv"]
for path, names in (("offload.json", ("offload.json", "offload destinations[]", "offload files[]")),
                    ("compare.json", ("compare.json", "compare files[], counts")),
                    ("measured.json", ("compare.json", "compare files[], counts")),
                    ("linecheck.json", ("takeproof linecheck --json",)),
                    ("splice.json", ("takeproof splice --json", "splices.csv")),
                    ("salvage.json", ("takeproof salvage --json", "findings[]"))):
    told = [key for name in names for key in sections.get(name, [])]
    found = set(keys_of(json.load(open(path)), skip=("report",)))
    check(len(found) > 5, "%s holds nothing" % path)
    for key in sorted(found):
        check(key in told, "%s: %s is not in the manual" % (path, key))
print(checks - failed, "of", checks, "things about keys and columns hold")
sys.exit(1 if failed or checks < 400 else 0)
END
