takeproof spec --keys
