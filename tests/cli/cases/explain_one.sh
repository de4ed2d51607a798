takeproof explain clipped
