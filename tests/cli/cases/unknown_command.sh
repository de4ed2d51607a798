takeproof chek card
