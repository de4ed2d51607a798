takeproof spec --checklist | head -n 12; takeproof spec --checklist --json | head -n 7
