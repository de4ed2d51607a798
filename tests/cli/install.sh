#!/bin/bash
# SPDX-License-Identifier: MIT
# Installs into a scratch folder and checks what an outsider gets: the program, the manual, completion, headers that stand alone
# in C and C++, a static and a shared library that show exactly the functions of the headers, the example of the manual built
# against both; and that uninstall leaves nothing.
set -u
tree=$(cd "$(dirname "$0")/../.." && pwd)
cd "$tree" || exit 1
stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT
compiler=${CC:-gcc}
checks=0 failed=0
holds() { # WORDS COMMAND...
    local words=$1
    shift
    checks=$((checks + 1))
    "$@" >"$stage.log" 2>&1 || { echo "not so: $words"; tail -n 12 "$stage.log"; failed=$((failed + 1)); }
    rm -f "$stage.log"
}
run_make() { make --no-print-directory BUILD="${BUILD:-build}" DESTDIR="$stage" PREFIX=/usr "$@"; }

run_make install >/dev/null || { echo "make install failed"; exit 1; }
lib=$stage/usr/lib
export PKG_CONFIG_PATH=$lib/pkgconfig PKG_CONFIG_SYSROOT_DIR=$stage LD_LIBRARY_PATH=$lib
cflags=$(pkg-config --cflags takeproof)
version=$(pkg-config --modversion takeproof)

holds "the installed program runs" "$stage/usr/bin/takeproof" --version
holds "program and pkg-config agree on the version" test "$("$stage/usr/bin/takeproof" --version)" = "takeproof $version"
for page in man/*.[1-8]; do holds "$page is installed" test -s "$stage/usr/share/$(dirname "$page")/man${page##*.}/$(basename "$page")"; done
holds "bash completion is installed" bash -n "$stage/usr/share/bash-completion/completions/takeproof"
holds "zsh completion is installed" test -s "$stage/usr/share/zsh/site-functions/_takeproof"
holds "fish completion is installed" test -s "$stage/usr/share/fish/vendor_completions.d/takeproof.fish"

for header in include/takeproof/*.h; do
    name=takeproof/$(basename "$header")
    echo "#include <$name>" >"$stage/alone.c"
    holds "<$name> stands alone in C" $compiler -std=c11 -Wall -Wextra -Wpedantic -Werror $cflags -fsyntax-only "$stage/alone.c"
    holds "<$name> stands alone in C++" ${CXX:-g++} -std=c++17 -Wall -Wextra -Werror $cflags -x c++ -fsyntax-only "$stage/alone.c"
done

# Functions that the headers promise, and what the libraries show.
promised=$(cat include/takeproof/*.h | tr '\n' ' ' | grep -oE 'TP_API [^;(]*\(' | grep -oE 'tp_[a-z0-9_]+ *\($' | tr -d ' (' | sort -u)
shown() { nm "$@" | awk 'NF >= 2 && $(NF-1) ~ /^[TDBRV]$/ { print $NF }' | grep -v '^_' | sort -u; }
shared=$lib/libtakeproof.so.$version
holds "the shared library shows exactly the functions of the headers" diff <(echo "$promised") <(shown -D --defined-only "$shared")
holds "its soname carries the ABI" grep -q 'SONAME.*libtakeproof\.so\.0' <(objdump -p "$shared")
holds "the static library shows exactly the functions of the headers" diff <(echo "$promised") <(shown -g --defined-only "$lib/libtakeproof.a")

example=tests/examples/verdict.c
card=$stage/card
"${TAKEPROOF_BUILD:-${BUILD:-build}/release}/tests/demo/demo_card" "$card" >/dev/null || { echo "no demonstration card"; exit 1; }
warnings="-std=c11 -Wall -Wextra -Werror"
holds "the example builds against the shared library" $compiler $warnings $example -o "$stage/shared" $cflags $(pkg-config --libs takeproof)
# The library alone is static here: not every distribution has static versions of what it needs.
private=$(pkg-config --print-requires-private takeproof)
holds "the example builds against the static library" $compiler $warnings $example -o "$stage/static" $cflags \
    "$lib/libtakeproof.a" $(env -u PKG_CONFIG_SYSROOT_DIR pkg-config --libs $private) -lm -pthread
for kind in shared static; do
    "$stage/$kind" "$card" >"$stage/$kind.txt" 2>&1
    status=$?
    "$stage/usr/bin/takeproof" check --quiet "$card" >/dev/null 2>&1
    holds "the $kind example gives the verdict of the program" test $? = $status
    holds "the $kind example names takes" grep -qE ': (pass|listen|fail)$' "$stage/$kind.txt"
done
holds "the static example needs no libtakeproof at run time" test -z "$(ldd "$stage/static" | grep takeproof)"

run_make uninstall >/dev/null
holds "uninstall leaves no file" test -z "$(find "$stage/usr" ! -type d)"
echo "$((checks - failed)) of $checks things about the installed tree hold"
[ $failed = 0 ]
