takeproof check --colour blue card
