mkdir day.ini; takeproof spec day.ini
