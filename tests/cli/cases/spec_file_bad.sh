printf "[format]\nsample_rate = 48000\nbit_depth = 25bit\n\n[levels]\n[level]\nworking_level_min_dbfs = -90\nsafty_below_min_db = 6\nxyz = 1\n" >day.ini
takeproof spec day.ini
