#!/bin/sh
# SPDX-License-Identifier: MIT
# Every single allocation of tests/robust/test_alloc.sh, which tries some of them only.
ALLOC_STEP=1 exec tests/robust/test_alloc.sh
