#!/bin/sh
# SPDX-License-Identifier: MIT
# The hand-off under faults, 50 points of each kind, on the disk.
set -u
build=${TAKEPROOF_BUILD:-build/release}
exec "$build/tests/handoff/faults" "$build/tests/handoff/faultio.so" "${FAULT_POINTS:-50}"
