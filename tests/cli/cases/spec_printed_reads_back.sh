takeproof spec >day.ini && takeproof spec --keys day.ini | diff - <(takeproof spec --keys)
