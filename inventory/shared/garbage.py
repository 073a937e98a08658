"""How often Python looks for objects that can be let go; it imports nothing of Django.

Starting makes very many objects that stay. To look through them takes a quarter of its time.
"""

import gc


def look_seldom() -> None:
    """Look less often than Python usually does, so that a program starts and ends sooner."""
    gc.set_threshold(100_000, 20, 20)


def keep_what_is_there() -> None:
    """Never look again through what was made until now: call it where answering begins.

    What comes after that is looked through more often, since a program that answers runs for days.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


def leave_the_rest() -> None:
    """Look through nothing any more: the program ends, and all of it goes."""
    gc.freeze()
