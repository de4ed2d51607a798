mkdir -p card/sub; takeproof check card -o card/sub/new/report; takeproof check card -o card; takeproof check . -o report; ls -R card
