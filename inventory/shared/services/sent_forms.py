"""Remember the forms whose acts are recorded, for as long as one may come again."""

from datetime import timedelta

from django.utils import timezone

from inventory.shared.models import SentForm
from inventory.shared.people import Person

# As long as the API keeps its answers. The books keep the keys for ever: a form that comes later
# than that is refused by its act.
KEPT_FOR = timedelta(days=90)


def keep(*, person: Person, key: str, address: str, next_url: str) -> SentForm:
    """Remember a form, in the transaction of its act; `next_url` is the page after the act.

    Raises `IntegrityError` when the same form was recorded at the same moment: the transaction,
    and with it the act, is rolled back.
    """
    return SentForm.objects.create(person=person, key=key, address=address, next_url=next_url)


def forget_old() -> int:
    """Delete what was kept long enough; return how many."""
    old = SentForm.objects.filter(sent_at__lt=timezone.now() - KEPT_FOR)
    return old.delete()[0]
