"""Keep what each account had in each month, so that nobody adds up all of a long history.

No act writes here: the work of each night goes on after the last entry that is in what is kept. A
reading adds what was entered since (`AccountMonth.objects.balances`).
"""

from django.db import transaction

from apiary_sales.billing.models import AccountMonth
from inventory.shared.models import House
from inventory.stock.services import seals


def renew() -> None:
    """Take the entries into the kept months that were made since they were kept last.

    What is being entered at this moment is left to the next time.
    """
    settled = seals.settled()
    if settled is not None:
        _take_in(until=settled["entry"])


@transaction.atomic
def rebuild() -> None:
    """Make all kept months anew."""
    AccountMonth.objects.all().delete()
    renew()


@transaction.atomic
def _take_in(*, until: int) -> None:
    # One at a time, so that no entry is taken in twice.
    House.lock()
    new = AccountMonth.of_entries(after=AccountMonth.objects.last_entry(), until=until)
    kept = {
        month.key: month
        for month in AccountMonth.objects.filter(begins_on__in={month.begins_on for month in new})
    }
    for month in new:
        before = kept.get(month.key)
        if before is not None:
            month.add(before.cents, before.last_entry_id)
    AccountMonth.objects.bulk_create(
        new,
        update_conflicts=True,
        unique_fields=["account", "begins_on", "detail"],
        update_fields=["cents", "last_entry"],
    )
