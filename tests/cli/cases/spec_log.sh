takeproof spec --log && takeproof spec --log --json && takeproof spec --log --keys
