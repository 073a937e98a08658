"""What a body may be: JSON that says one thing, nested no deeper than a reader can follow."""

import json
import math
from typing import Any, Never

from django.utils.translation import gettext as _
from rest_framework import parsers
from rest_framework.exceptions import ParseError

# The deepest body has lists in the lines of a list.
LEVELS_MAX = 20


class JSONParser(parsers.JSONParser):
    """JSON in UTF-8, without what readers of JSON take differently.

    A name that comes twice in an object, NaN, a number too large for any, and half of a character
    are refused.
    """

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        try:
            body = json.loads(
                stream.read().decode(),
                object_pairs_hook=_object,
                parse_constant=_no_number,
                parse_float=_number,
            )
            _check(body)
        except RecursionError:
            raise _too_deep() from None
        except ValueError as error:
            raise ParseError(
                _("The request is not JSON that can be read: %(reason)s") % {"reason": error}
            ) from None
        return body


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _value in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ParseError(
            _("The name %(name)s comes twice in one object. Send it once.")
            % {"name": json.dumps(twice)}
        )
    return found


def _number(text: str) -> float:
    number = float(text)
    return number if math.isfinite(number) else _no_number(text)


def _no_number(text: str) -> Never:
    raise ParseError(_("%(text)s is no number. Send a figure.") % {"text": text[:40]})


def _too_deep() -> ParseError:
    return ParseError(_("The request has too many nested levels to be read."))


def _check(body: Any) -> None:
    """Raise `ParseError` for too many levels, and for text with half of a character in it."""
    waiting = [(body, 1)]
    while waiting:
        part, level = waiting.pop()
        if level > LEVELS_MAX:
            raise _too_deep()
        if isinstance(part, dict):
            waiting += [(each, level + 1) for pair in part.items() for each in pair]
        elif isinstance(part, list):
            waiting += [(each, level + 1) for each in part]
        elif isinstance(part, str) and not _is_whole(part):
            raise ParseError(
                _("A text has half of a character in it (an unpaired surrogate). Send it whole.")
            )


def _is_whole(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
