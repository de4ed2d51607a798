takeproof --help | grep -v "^  [a-z]"
