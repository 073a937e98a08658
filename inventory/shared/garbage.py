"""How often Python looks for objects that can be let go; it imports nothing of Django."""

import gc


def look_seldom() -> None:
    """Look less often than Python usually does.

    Starting makes very many objects that stay, and looking through them takes a quarter of its
    time.
    """
    gc.set_threshold(20_000, 20, 20)
