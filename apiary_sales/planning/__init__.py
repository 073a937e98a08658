"""The bottling plan: how much honey to bottle, in which sizes, and how much to sell in drums."""
