"""The bottling plan: how much honey to bottle, in which products, and how much to sell in drums."""
