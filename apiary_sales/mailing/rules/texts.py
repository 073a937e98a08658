"""Fill a text with the words it names, and find the names that no text may use."""

import re
from collections.abc import Iterable, Mapping

# What every text may use.
USUAL_NAMES = ("paper", "number", "customer", "contact", "house", "sender")
REMINDER_NAMES = ("customer", "contact", "house", "sender", "invoices", "owed")
REMINDERS = ("reminder-1", "reminder-2", "reminder-3")

_NAME = re.compile(r"\{([^{}\n]*)\}")


def fill(text: str, words: Mapping[str, str]) -> str:
    """Return the text with each name in braces replaced by its words; other names stay.

    What is put in is not looked at again, so that a customer called {sender} stays that.

    >>> fill("Invoice {number} from {house}", {"number": "2026-00012", "house": "Hollow Oak"})
    'Invoice 2026-00012 from Hollow Oak'
    """
    return _NAME.sub(lambda found: words.get(found[1], found[0]), text)


def unknown_names(text: str, known: Iterable[str]) -> list[str]:
    """Return the names in braces that are not known, in the order of the text.

    >>> unknown_names("{number} {numer}", ["number"])
    ['numer']
    """
    known = set(known)
    return [name for name in _NAME.findall(text) if name not in known]


def one_line(text: str) -> str:
    """Return a text on one line, as a header of an e-mail has to be.

    >>> one_line("Invoice 12\\r\\nBcc: all@mail.example")
    'Invoice 12 Bcc: all@mail.example'
    """
    return " ".join(text.split())
