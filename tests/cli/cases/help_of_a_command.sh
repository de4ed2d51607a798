takeproof help explain && takeproof explain --help | cmp - <(takeproof help explain)
