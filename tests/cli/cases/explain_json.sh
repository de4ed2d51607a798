takeproof explain --json dc-offset
