#!/bin/sh
# SPDX-License-Identifier: MIT
# tests/e2e/test_faults.sh [POINTS]: the hand-off under faults (tests/handoff/faults.c), a few points of each kind. In memory
# where the system has a file system for that: the faults are the same and the flushes cost nothing; `make check-faults`
# takes more points on the disk.
set -u
build=${TAKEPROOF_BUILD:-build/release}
case $build in
*/release | */debug | */coverage) ;;
*)
    # The sanitizers replace the same calls as the library of faults.
    echo "0 of 0 faults: not with $build"
    exit 0
    ;;
esac
[ -d /dev/shm ] && [ -w /dev/shm ] && TMPDIR=/dev/shm && export TMPDIR
exec "$build/tests/handoff/faults" "$build/tests/handoff/faultio.so" "${1:-4}"
