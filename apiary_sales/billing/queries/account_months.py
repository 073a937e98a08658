"""Prove the kept months of the accounts: work them out again from the lines of the book."""

from collections.abc import Iterator

from apiary_sales.billing.models import AccountMonth


def faults() -> Iterator[str]:
    """Yield a sentence for each kept month of an account that is not what its entries give.

    It takes as much memory as the kept months, however many entries there are.
    """
    until = AccountMonth.objects.last_entry()
    given = {month.key: month for month in AccountMonth.of_entries(after=0, until=until)}
    for kept in AccountMonth.objects.iterator():
        month = given.pop(kept.key, None)
        if month is None or (month.cents, month.last_entry_id) != (kept.cents, kept.last_entry_id):
            yield _fault(kept)
    for month in given.values():
        yield _fault(month)


def _fault(month: AccountMonth) -> str:
    return (
        f"What is kept of account {month.account} for {month.begins_on:%Y-%m} is not what its "
        "entries give. Run manage.py rebuild_derived."
    )
