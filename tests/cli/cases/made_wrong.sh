SOURCE_DATE_EPOCH=yesterday takeproof check .
