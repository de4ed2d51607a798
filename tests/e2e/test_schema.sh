#!/bin/bash
# SPDX-License-Identifier: MIT
# Every report validates against the installed JSON Schema (draft 2020-12, read by python3-jsonschema), made strict here: no
# key that the schema does not name, in any object. Reports: the demo card, an empty folder, a file that is no WAV, offloads.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/takeproof}
build=${TAKEPROOF_BUILD:-$tree/build/release}
scratch=$(mktemp -d) || exit 1
trap 'rm -rf "$scratch"' EXIT

"$build/tests/demo/demo_card" "$scratch/card" >/dev/null || exit 1
mkdir "$scratch/empty" "$scratch/odd"
printf 'RIFF\x24\0\0\0WAVE' >"$scratch/odd/broken.wav"
printf 'RIFF\x24\0\0\0WAVE' >"$scratch/odd/"$'na\xffme.wav'
cp "$tree/fixtures/fuzz/fuzz_check/bext_ixml_cue.wav" "$scratch/odd/"
printf 'x' >"$scratch/odd/"$'na\xffme.txt'
for source in card empty odd; do
    "$program" check --json --excerpts 5 "$scratch/$source" >"$scratch/$source.json"
    [ $? -le 2 ] || exit 1
done
for copies in 1 2; do
    "$program" offload --quiet "$scratch/odd" "$scratch/copy" --copies $copies -o "$scratch/offload" >"$scratch/words"
    status=$?
    # One DEST is a copy too few for --copies 2.
    [ $copies = 1 ] && [ $status -le 2 ] || [ $status = 3 ] || exit 1
    mv "$scratch/offload/report.json" "$scratch/offload-$copies.json"
done

python3 - "$tree/include/takeproof/report.schema.json" "$scratch"/*.json <<'END'
import copy, json, sys
import jsonschema

schema = json.load(open(sys.argv[1]))
jsonschema.Draft202012Validator.check_schema(schema)

def strict(part):
    if isinstance(part, dict):
        if "properties" in part:
            part["additionalProperties"] = False
        for value in part.values():
            strict(value)
    elif isinstance(part, list):
        for value in part:
            strict(value)

strict(schema)
validator = jsonschema.Draft202012Validator(schema)
wrong = 0
for path in sys.argv[2:]:
    report = json.load(open(path))
    for error in list(validator.iter_errors(report))[:5]:
        print(path, "/".join(map(str, error.absolute_path)), error.message[:200])
        wrong += 1
# The schema must be able to refuse: each of these is a report that a reader could not use.
card = json.load(open([path for path in sys.argv[2:] if path.endswith("/card.json")][0]))
assert card["takes"] and card["excerpts"] and any(take["pair"] for take in card["takes"])
spoils = [
    lambda r: r.update(format=2),
    lambda r: r["takes"][0].pop("use"),
    lambda r: r["takes"][0].update(verdict="fine"),
    lambda r: r["takes"][0]["use"].update(channel=0),
    lambda r: r["files"][0].update(bytes=-1),
    lambda r: r["files"][0]["hashes"].update(sha256="x"),
    lambda r: r["files"][0]["channels"][0].update(true_peak_dbtp="-inf"),
    lambda r: r["summary"].update(surprise=1),
    lambda r: r["excerpts"][0].update(mime="text/html"),
]
offloads = [json.load(open(path)) for path in sys.argv[2:] if "/offload-" in path]
assert [report["handoff"]["may_be_wiped"] for report in offloads] == [True, False]
assert card["handoff"] is None and card["others"] and card["others"][0]["hashes"]["sha256"] is None
assert all(other["hashes"]["sha256"] for other in offloads[0]["others"]) and offloads[0]["others"]
handoff_spoils = [
    lambda r: r.update(handoff="yes"),
    lambda r: r["handoff"].update(may_be_wiped=1),
    lambda r: r["handoff"].pop("words"),
    lambda r: r["handoff"].update(copies_wanted=0),
    lambda r: r["handoff"]["destinations"][0].update(readback="surely"),
    lambda r: r["handoff"]["destinations"][0].update(failed=-1),
    lambda r: r["others"][0]["hashes"].update(xxh64="x"),
    lambda r: r["others"][0]["hashes"].update(xxh3="x"),
]
cases = [(card, spoil) for spoil in spoils] + [(offloads[0], spoil) for spoil in handoff_spoils]
for number, (report, spoil) in enumerate(cases):
    spoiled = copy.deepcopy(report)
    spoil(spoiled)
    if validator.is_valid(spoiled):
        print("the schema accepts spoiled report", number)
        wrong += 1
checks = len(sys.argv) - 2 + len(cases)
print(max(checks - wrong, 0), "of", checks, "reports are taken for what they are")
sys.exit(1 if wrong else 0)
END
