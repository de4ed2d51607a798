printf "[format]\nsample_rate = 48000\nbit_depth = 25bit\n\n[levels]\n[level]\nworking_level_min_dbfs = -90\n" >day.ini
takeproof spec day.ini
