mkdir card; takeproof check card -o new/../card/report; ls
