"""What a body may be: JSON that says one thing, nested no deeper than a reader can follow."""

import json
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import parsers
from rest_framework.exceptions import ParseError

from inventory.shared import json_texts


class JSONParser(parsers.JSONParser):
    """JSON in UTF-8, without what readers of JSON take differently.

    A name that comes twice in an object, NaN, a number too large for any, and half of a character
    are refused.
    """

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        try:
            # A field says itself that it takes no null character.
            return json_texts.read(stream.read().decode(), as_object=_object, may_have_null=True)
        except json_texts.UnreadableJson as error:
            raise ParseError(str(error)) from None
        except UnicodeDecodeError as error:
            raise ParseError(
                _("The request is not JSON that can be read: %(reason)s") % {"reason": error}
            ) from None


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise ParseError(
                _("The name %(name)s comes twice in one object. Send it once.")
                % {"name": json.dumps(name)}
            )
        found[name] = value
    return found
