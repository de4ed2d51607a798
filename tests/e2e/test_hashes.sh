#!/bin/bash
# SPDX-License-Identifier: MIT
# Each choice of `check --hash`: what is computed is what sha256sum and xxhsum compute, the manifest is one they accept, the
# findings do not depend on it, and a copy is held to it. xxhsum 0.8.1 prints XXH3 as "XXH3 (name) = digits" alone.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
program=${TAKEPROOF:-$tree/build/release/takeproof}
build=${TAKEPROOF_BUILD:-$tree/build/release}
scratch=$(mktemp -d) || exit 1
trap 'rm -rf "$scratch"' EXIT
cd "$scratch" || exit 1
export SOURCE_DATE_EPOCH=1768658400
. "$tree/tests/support/expect.sh"

holds() { # WORDS COMMAND…
    count=$((count + 1))
    "${@:2}" || { echo "not so: $1" && failed=$((failed + 1)); }
}

# The recordings of the demonstration card, one of them under names that a line of text could get wrong.
"$build/tests/demo/demo_card" card >/dev/null || exit 1
find card -type f \( -path '*/.*' -o ! -name '*.wav' \) -delete
first=$(cd card && find . -name '*.wav' | LC_ALL=C sort | sed -n '1s|^\./||p')
mkdir card/again
for name in 'a) = b.wav' 'back\slash.wav' ' leading.wav' $'cr\r.wav' $'bytes \xff.wav'; do cp "card/$first" "card/again/$name"; done
declare -A options=([sha256]=both [xxh64]=xxh64 [xxh3]=xxh3) tools=([sha256]=sha256sum [xxh64]=xxhsum [xxh3]='xxhsum -H3')
declare -A titles=([sha256]=SHA-256 [xxh64]=XXH64 [xxh3]=XXH3)

expect 2 '' "$program" check card -o default
expect 3 'both|xxh64|xxh3' "$program" check card --hash md5
for hash in sha256 xxh64 xxh3; do
    expect 2 '' "$program" check card --hash "${options[$hash]}" -o "$hash"
    manifest=$hash/manifest.$hash
    # One manifest, of the hash asked for, of every recording.
    holds "the folder holds manifest.$hash" test "$(cd $hash && echo *)" = "findings.csv manifest.$hash report.csv report.html report.json"
    holds "the manifest lists every recording" test "$(find card -type f -printf x | wc -c)" = "$(wc -l <"$manifest")"
    # xxhsum 0.8.1 knows no escapes, which XXH64 has for the name with CR.
    if [ $hash = xxh64 ]; then LC_ALL=C grep -av '^\\' "$manifest"; else cat "$manifest"; fi >list
    expect 0 '' env -C card ${tools[$hash]} --check --strict ../list
    [ $hash = xxh3 ] && expect 0 '' env -C card xxhsum --check --strict ../list
    # A copy is what left the set, by the manifest, the folder of reports or the JSON; and is not, with one bit changed.
    rm -rf copy
    cp -a card copy
    expect 0 'This is what left the set' "$program" compare "$manifest" copy
    expect 0 'This is what left the set' "$program" compare $hash copy
    expect 0 'This is what left the set' "$program" compare $hash/report.json copy
    mv "copy/$first" "copy/${first%.wav}-renamed.wav"
    expect 1 'renamed ' "$program" compare "$manifest" copy
    mv "copy/${first%.wav}-renamed.wav" "copy/$first"
    size=$(stat -c %s "copy/$first")
    python3 -c 'import sys; f = open(sys.argv[1], "r+b"); f.seek(int(sys.argv[2])); b = f.read(1); f.seek(int(sys.argv[2])); f.write(bytes([b[0] ^ 1]))' \
        "copy/$first" $((size / 2))
    expect 2 'changed ' "$program" compare "$manifest" copy
    expect 2 'changed ' "$program" compare $hash/report.json copy
    # The page shows what was computed, and says of no file that was read that it has no checksum.
    expect 0 "${titles[$hash]} <code>" grep -a '<p class="hash">' $hash/report.html
    expect 1 '' grep -aq 'No checksum' $hash/report.html
done
# Today's default has not changed.
for name in report.json report.html manifest.sha256; do expect 0 '' cmp default/$name sha256/$name; done
# Rendered again from the JSON, the reports are the same.
expect 2 '' "$program" report xxh3/report.json -o rendered
for name in report.json manifest.xxh3; do expect 0 '' cmp xxh3/$name rendered/$name; done
# One card's two reports, of two hashes, are still about one card.
expect 3 'would count double' "$program" report sha256/report.json xxh3/report.json -o twice
# Reports of different hashes can be merged; each source's manifest is of what is known of it.
mkdir -p other && cp "card/$first" other/x.wav
"$program" check other -o others >/dev/null
"$program" report xxh3/report.json others/report.json -o merged >/dev/null
expect 0 'manifest-1.xxh3' bash -c 'ls merged/manifest*'
expect 0 'manifest-2.sha256' bash -c 'ls merged/manifest*'
expect 0 '' env -C card xxhsum -H3 --check --strict ../merged/manifest-1.xxh3
expect 0 '' env -C other sha256sum --check --strict ../merged/manifest-2.sha256
# --replace leaves none of them beside another card's.
mkdir third && head -c 100000 "card/$first" >third/y.wav
"$program" check third -o merged --hash xxh64 --replace >/dev/null
holds "--replace leaves the new manifest alone" test "$(cd merged && echo manifest*)" = manifest.xxh64

python3 - "$program" <<'END'
import json, os, subprocess, sys

checks = failed = 0
def check(good, words):
    global checks, failed
    checks += 1
    if not good:
        failed += 1
        print(words)

reports = {kind: json.load(open(kind + "/report.json")) for kind in ("sha256", "xxh64", "xxh3")}
tools = {"sha256": ["sha256sum"], "xxh64": ["xxhsum", "-H64"], "xxh3": ["xxhsum", "-H3"]}
computed = {"sha256": ("sha256", "xxh64"), "xxh64": ("xxh64",), "xxh3": ("xxh3",)}
for kind, report in reports.items():
    for file in report["files"]:
        path = bytes.fromhex(file["path_hex"]) if "path_hex" in file else file["path"].encode()
        check(list(file["hashes"]) == ["sha256", "xxh64", "xxh3"], "the keys of the hashes are %s" % list(file["hashes"]))
        for key, value in file["hashes"].items():
            if key not in computed[kind]:
                check(value is None, "%s: %s is %s" % (kind, key, value))
                continue
            with open(os.path.join(b"card", path), "rb") as source:
                words = subprocess.run(tools[key], stdin=source, capture_output=True, text=True, check=True).stdout.split()
            check(value in words, "%s of %s: %s, not %s" % (key, path, value, words))
    # All else is the same, whatever was hashed.
    for holder in report["files"] + report["others"]:
        holder["hashes"] = None
check(reports["sha256"] == reports["xxh64"], "the report depends on --hash xxh64")
check(reports["sha256"] == reports["xxh3"], "the report depends on --hash xxh3")
codes = [finding["code"] for finding in reports["xxh3"]["findings"]]
check("duplicate-content" in codes, "the recording that is there twice is not found: %s" % codes)
print(checks - failed, "of", checks, "values of hashes agree with the tools")
sys.exit(1 if failed or checks < 50 else 0)
END
[ $? = 0 ] || failed=$((failed + 1))
echo "$((count - failed)) of $count things about hashes hold"
[ $failed = 0 ]
