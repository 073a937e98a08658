"""The invented house of `fixtures_demo/`: set up, a season's work, and what came of it.

Everything goes through the services that the screens use, each act with a key of its own, so
that doing it twice leaves what is there alone.
"""
