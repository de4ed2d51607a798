takeproof explain hum --list | head -n 3; takeproof explain -- --list
