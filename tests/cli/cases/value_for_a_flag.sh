takeproof check --json=yes card
