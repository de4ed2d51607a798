takeproof explain
