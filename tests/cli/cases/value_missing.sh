takeproof check card --spec
