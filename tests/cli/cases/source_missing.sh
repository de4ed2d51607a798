takeproof check no-such-card
