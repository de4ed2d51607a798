takeproof spec --checklist >printed; head -n 12 printed; takeproof spec --checklist --json >json; head -n 7 json
