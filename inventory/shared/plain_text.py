"""Typed text without marks that nobody sees.

A mark of writing direction makes "cod.exe" look like "exe.doc", and a control character or a second
way of writing "é" makes two names that look the same. Such text comes by pasting. It is put right
where it comes in, so that a name is the same wherever it is looked for.
"""

import re
import unicodedata

from django.http import QueryDict

# Control characters but tab, the ends of lines, and null, which fields refuse; marks of direction
# (Unicode, UAX #9, "Directional Formatting Characters"); the mark of byte order; ends of lines and
# paragraphs that only some programs know.
UNSEEN = re.compile(
    r"[\x01-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff"
    r"\u2028\u2029]"
)


def plain(text: str) -> str:
    """Return a text without marks that are not seen, each letter written in one way (NFC)."""
    return unicodedata.normalize("NFC", UNSEEN.sub("", text))


def plain_form(sent: QueryDict) -> QueryDict:
    """Return what a form sent, with plain texts; passwords stay as they were typed."""
    found = sent.copy()
    for name, values in sent.lists():
        if "password" not in name:
            found.setlist(name, [plain(value) for value in values])
    return found
