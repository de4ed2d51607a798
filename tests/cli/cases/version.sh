takeproof --version; takeproof check -V; takeproof spec --version extra operands
