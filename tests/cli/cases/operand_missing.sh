takeproof check
