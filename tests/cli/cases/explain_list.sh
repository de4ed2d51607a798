takeproof explain --list >printed; head -n 12 printed
