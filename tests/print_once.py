"""Set each paper in print once, in tests that open the same papers by many addresses.

A page and the API lead to the same paper, and each role that may open it. Its HTML says all of it:
the same HTML gives the same bytes, which `tests/billing/test_documents.py` checks.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from unittest import mock

from inventory.shared import print_room


@contextmanager
def each_paper_once() -> Iterator[None]:
    """Take a paper of the same HTML over from the first time that it was asked for."""
    set_in_print, made = print_room.printed, {}

    def printed(make: Callable[..., bytes], html: str, **named: object) -> bytes:
        asked = (make.__name__, html, repr(named))
        if asked not in made:
            made[asked] = set_in_print(make, html, **named)
        return made[asked]

    with mock.patch.object(print_room, "printed", printed):
        yield
