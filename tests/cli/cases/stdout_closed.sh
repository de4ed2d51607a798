takeproof spec >&-
