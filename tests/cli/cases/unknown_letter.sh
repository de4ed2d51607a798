takeproof check -z card
