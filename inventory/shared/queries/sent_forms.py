"""Whether a form was sent before, and its act recorded."""

from inventory.shared import keys
from inventory.shared.models import SentForm
from inventory.shared.people import Person


def find(*, person: Person, key: str, address: str) -> SentForm | None:
    """Return the form that this person sent from this page with this key, None where none is.

    A key that somebody else sent, or that was sent from another page, is not found: it tells
    nothing.
    """
    key = key.strip()
    # No form has such a key, and PostgreSQL raises an error for the character.
    if not 1 <= len(key) <= keys.LENGTH_MAX or "\x00" in key:
        return None
    return SentForm.objects.filter(key=key, person=person, address=address).first()


def is_of_another(*, person: Person, key: str, address: str) -> bool:
    """Tell whether somebody else sent this key, or this person from another page."""
    same = SentForm.objects.filter(key=key)
    return same.exclude(person=person, address=address).exists()
