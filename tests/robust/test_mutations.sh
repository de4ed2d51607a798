#!/bin/sh
# SPDX-License-Identifier: MIT
# A few of the mutations; `make mutations` runs 100,000 under the sanitizers.
exec "$TAKEPROOF_BUILD/tests/robust/mutations" "${MUTATIONS:-475}"
