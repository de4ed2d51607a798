takeproof spec --json | head -n 18; takeproof spec --json >all.json && echo whole
