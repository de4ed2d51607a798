mkdir card; ln -s card link; takeproof check card -o link/report; ls -R card
