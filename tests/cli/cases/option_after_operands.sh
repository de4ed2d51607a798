takeproof explain hum --list >printed; head -n 3 printed; takeproof explain -- --list
