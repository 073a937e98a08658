"""What a password may not be: little more than the names that everybody here knows.

With Django's own checks (length, common passwords, digits alone, one's own name) it follows what
NIST SP 800-63B advises: long rather than mixed, compared with common passwords and with the words
of the place, and changed when there is a reason rather than by the calendar.
"""

import unicodedata
from collections.abc import Iterable, Iterator

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from apiary_sales.accounts.models import User
from inventory.shared.models import House

# What the program calls itself, in the languages that it speaks.
PRODUCT_NAMES = ("honey house", "casa de la miel")
# Shorter ones are in many words.
NAME_LETTERS_MIN = 3
# So many letters must be left of a password without the names in it.
LETTERS_LEFT_MIN = 6


class HouseNamesValidator:
    """Refuse a password that is made of the names of the house, its people and the program."""

    def validate(self, password: str, user: User | None = None) -> None:
        typed = plain(password)
        left = typed
        for name in sorted(set(_names(user)), key=lambda name: (-len(name), name)):
            left = left.replace(name, " ")
        if left != typed and sum(letter.isalpha() for letter in left) < LETTERS_LEFT_MIN:
            raise ValidationError(
                _(
                    "This is little more than the name of the house or of somebody here, which is "
                    "tried first. Add two or three words that have nothing to do with them."
                ),
                code="password_of_names",
            )

    def get_help_text(self) -> str:
        return _("Your password can't be made of the names of the house and its people.")


def plain(text: str) -> str:
    """Return the letters and digits of a text, small and without accents."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in parts if letter.isalnum())


def _names(user: User | None) -> Iterator[str]:
    """Yield each name and each word of it, plain, if it is long enough to be looked for."""
    people = User.objects.values_list("username", "first_name", "last_name")
    own = [(user.username, user.first_name, user.last_name)] if user else []
    texts: Iterable[str] = (text for row in (*people, *own) for text in row)
    for text in (*texts, House.current().name, *PRODUCT_NAMES):
        for part in (text, *text.replace("-", " ").replace("_", " ").split()):
            if len(name := plain(part)) >= NAME_LETTERS_MIN:
                yield name
