for n in 0 257 4294967297 -1 two ""; do takeproof check card --jobs="$n"; done
