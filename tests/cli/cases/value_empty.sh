takeproof check --output= card
