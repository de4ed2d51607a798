takeproof explain --list
