"""Whole numbers in series: of lots, runs, orders and invoices."""

from django.db import connection, transaction
from django.utils.translation import gettext as _

from inventory.shared.errors import BadValue
from inventory.stock.models import Counter

# A series has as many digits as its numbers are printed with, and a few more.
NUMBER_MAX = 9_999_999
# Begins a series or goes on with it, in one statement that locks it.
TABLE = f'"{Counter._meta.db_table}"'
NEXT = f"""INSERT INTO {TABLE} (series, last, first) VALUES (%s, 1, 1)
    ON CONFLICT (series) DO UPDATE SET last = {TABLE}.last + 1 RETURNING last"""


def next_number(series: str) -> int:
    """Return the next whole number of a series; none is missed, because it is taken under lock."""
    with connection.cursor() as cursor:
        cursor.execute(NEXT, [series])
        number: int = cursor.fetchone()[0]
    return number


@transaction.atomic
def begin_at(series: str, *, number: int) -> Counter:
    """Let a series that has no number yet begin at this one, where the house goes on from another.

    Raises `BadValue` once a number was given: what is printed stays what it is.
    """
    if not 1 <= number <= NUMBER_MAX:
        raise BadValue(
            _("Enter the first number, from 1 to %(most)s.") % {"most": NUMBER_MAX},
            parameter="number",
        )
    Counter.objects.get_or_create(series=series)
    counter = Counter.objects.select_for_update().get(series=series)
    if counter.last >= counter.first:
        raise BadValue(
            _("Number %(last)s of this series was given already, so it goes on with %(next)s.")
            % {"last": counter.last, "next": counter.last + 1},
            parameter="number",
        )
    counter.first, counter.last = number, number - 1
    counter.save(update_fields=["first", "last"])
    return counter
