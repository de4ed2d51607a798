takeproof spec >/dev/full
