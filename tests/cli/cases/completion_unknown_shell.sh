takeproof completion tcsh
