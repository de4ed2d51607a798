mkdir card; touch report; takeproof check card -o report; takeproof check card -o report/more
