printf "[production]\ntitle = Harbour Lights\n[format]\nbit_depth = 32\nencoding = float\n[level]\nworking_level_min_dbfs = -18\n" >day.ini
takeproof spec day.ini >printed; head -n 12 printed
takeproof spec --quiet day.ini
