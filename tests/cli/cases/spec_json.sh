takeproof spec --json >all.json && head -n 18 all.json && echo whole
