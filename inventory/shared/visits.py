"""How often one visitor of a public page may ask.

The counts are in this process's memory. The known libraries for Django want a cache server for
that, which a house on one machine has no other use for.
"""

import time
from ipaddress import IPv6Address, ip_address

from django.core.cache import cache


def seconds_to_wait(address: str, *, visits_max: int, seconds: int) -> int:
    """Count a visit from an IP address; return 0, or how long to wait before the next one.

    Each address has `visits_max` visits in every span of so many seconds.
    """
    now = int(time.time())
    span, passed = divmod(now, seconds)
    key = f"visits:{visitor(address)}:{seconds}:{span}"
    cache.add(key, 0, timeout=seconds)
    try:
        visits = cache.incr(key)
    except ValueError:
        # The count was dropped between the two lines, to make room for others.
        return 0
    return seconds - passed if visits > visits_max else 0


def visitor(address: str) -> str:
    """Return what stands for one visitor: an IPv4 address, or the /64 network of an IPv6 one.

    A network at home is a /64, and each of its machines may take any address of it.
    """
    try:
        known = ip_address(address)
    except ValueError:
        return "unknown"
    if isinstance(known, IPv6Address):
        if known.ipv4_mapped:
            return str(known.ipv4_mapped)
        return f"{IPv6Address(int(known) >> 64 << 64)}/64"
    return str(known)
