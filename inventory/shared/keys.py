"""Keys of the parts of an act, made from the act's own key, so that a repeat finds them all."""

import hashlib

LENGTH_MAX = 100
# The name of a part is no longer than this.
ROOM = 30


def part(key: str, name: object) -> str:
    """Return the key of one part of an act, never longer than a key may be.

    >>> part("sale-1", "receipt")
    'sale-1:receipt'
    """
    whole = f"{key}:{name}"
    if len(whole) <= LENGTH_MAX:
        return whole
    return f"{hashlib.sha256(key.encode()).hexdigest()}:{name}"


def with_room(key: str) -> str:
    """Return a key that is short enough for its parts to begin with it as it is."""
    return key if len(key) <= LENGTH_MAX - ROOM else hashlib.sha256(key.encode()).hexdigest()
