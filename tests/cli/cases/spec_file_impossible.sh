printf "[level]\nworking_level_min_dbfs = -10\nworking_level_max_dbfs = -14\n" >day.ini
takeproof spec day.ini
