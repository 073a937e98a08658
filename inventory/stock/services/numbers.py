"""Whole numbers in series: of lots, runs, orders and invoices."""

from inventory.stock.models import Counter


def next_number(series: str) -> int:
    """Return the next whole number of a series; none is missed, because it is taken under lock."""
    Counter.objects.get_or_create(series=series)
    counter = Counter.objects.select_for_update().get(series=series)
    counter.last += 1
    counter.save(update_fields=["last"])
    return counter.last
