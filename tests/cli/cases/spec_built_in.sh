takeproof spec
