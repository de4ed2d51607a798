takeproof explain hum safety-needed | grep -n "^[a-z]"
