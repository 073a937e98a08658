"""Read JSON that comes from outside, without what readers of JSON take differently.

What is read can be kept in a database: PostgreSQL takes neither half of a character, nor a null
character, nor a number that is none, and no database nests without end.
"""

import json
import math
from collections.abc import Callable, Iterator
from typing import Any, Never

from django.utils.translation import gettext as _

from inventory.shared.plain_text import plain

# The deepest body has lists in the lines of a list.
LEVELS_MAX = 20


class UnreadableJson(ValueError):
    """This is no JSON, or more than one reader would make the same of; the text says why."""


def read(
    text: str | bytes,
    *,
    as_object: Callable[[list[tuple[str, Any]]], Any] | None = None,
    may_have_null: bool = False,
) -> Any:
    """Return what a text in JSON says. Raises `UnreadableJson`.

    NaN, numbers too large for any, half of a character, and more than `LEVELS_MAX` levels are
    refused, and null characters where whoever asks does not look for them. `as_object` makes an
    object out of its pairs.
    """
    try:
        found = json.loads(
            text, object_pairs_hook=as_object, parse_constant=_no_number, parse_float=_number
        )
    except RecursionError:
        raise _too_deep() from None
    except UnreadableJson:
        raise
    except ValueError as error:
        raise UnreadableJson(
            _("The request is not JSON that can be read: %(reason)s") % {"reason": error}
        ) from None
    for level, part in _parts(found):
        if level > LEVELS_MAX:
            raise _too_deep()
        if isinstance(part, str) and not _is_whole(part):
            raise UnreadableJson(
                _("A text has half of a character in it (an unpaired surrogate). Send it whole.")
            )
        if isinstance(part, str) and "\x00" in part and not may_have_null:
            raise UnreadableJson(_("A text has a null character in it. Send it without."))
    return _plain(found)


def _parts(found: Any) -> Iterator[tuple[int, Any]]:
    """Yield each part of what was read, names too, with the number of levels it is in."""
    waiting = [(found, 1)]
    while waiting:
        part, level = waiting.pop()
        yield level, part
        if isinstance(part, dict):
            waiting += [(each, level + 1) for pair in part.items() for each in pair]
        elif isinstance(part, list):
            waiting += [(each, level + 1) for each in part]


def _plain(found: Any) -> Any:
    """Return what was read, its texts without marks that nobody sees; names stay."""
    if isinstance(found, dict):
        return {name: _plain(each) for name, each in found.items()}
    if isinstance(found, list):
        return [_plain(each) for each in found]
    return plain(found) if isinstance(found, str) else found


def _number(text: str) -> float:
    number = float(text)
    return number if math.isfinite(number) else _no_number(text)


def _no_number(text: str) -> Never:
    raise UnreadableJson(_("%(text)s is no number. Send a figure.") % {"text": text[:40]})


def _too_deep() -> UnreadableJson:
    return UnreadableJson(_("The request has too many nested levels to be read."))


def _is_whole(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
