"""Cash rounded to the smallest coin: where there are no cents, 10.02 is paid as 10.00.

To the nearest coin, half a coin up, as is done where the smallest coins are gone (Canada, Sweden,
Switzerland: from memory). What is paid by card or through a bank is never rounded.
"""

from inventory.shared import conventions


def to_coins(cents: int) -> int:
    """Return what of an amount can be paid in cash; money given back is rounded alike.

    >>> conventions.current().smallest_coin_cents
    1
    >>> to_coins(1003)
    1003
    """
    return nearest(cents, conventions.current().smallest_coin_cents)


def nearest(cents: int, coin_cents: int) -> int:
    """Return the nearest multiple of a coin, half a coin going away from nothing.

    >>> [nearest(cents, 5) for cents in (1002, 1003, 1005, 1007, 1008, -1003)]
    [1000, 1005, 1005, 1005, 1010, -1005]
    >>> nearest(1005, 10), nearest(2, 5), nearest(-1005, 10)
    (1010, 0, -1010)
    """
    coins = (2 * abs(cents) + coin_cents) // (2 * coin_cents)
    return coins * coin_cents if cents >= 0 else -coins * coin_cents
