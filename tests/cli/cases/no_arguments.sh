takeproof 2>all; status=$?; grep -v "^  [a-z]" all >&2; exit $status
