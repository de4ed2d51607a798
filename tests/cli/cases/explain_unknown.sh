takeproof explain clip
