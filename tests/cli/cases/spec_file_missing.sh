takeproof spec no-such.ini
