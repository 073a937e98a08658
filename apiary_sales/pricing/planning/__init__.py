"""The bottling plan: what to bottle and what to sell in drums, so that the honey earns most."""
