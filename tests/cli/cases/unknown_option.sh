takeproof check --spce x card
