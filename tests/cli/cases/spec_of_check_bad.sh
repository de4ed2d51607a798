mkdir card; echo "[format" >day.ini; takeproof check card --spec day.ini
