takeproof spec a b
