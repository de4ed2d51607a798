takeproof explain --list | head -n 12
