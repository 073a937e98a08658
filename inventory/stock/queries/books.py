"""Check the stock ledger: recalculate everything from its lines and report differences."""

from collections import Counter
from collections.abc import Iterator

from django.db.models import Count, F, Q, Sum

from inventory.stock.models import Balance, Lot, LotParent, Place, Posting, PostingLine, Shortage
from inventory.stock.queries import average_closings


def faults() -> Iterator[str]:
    """Yield one sentence for each way in which the stored books break a law of the ledger."""
    yield from _crooked_postings()
    yield from _wrong_balances()
    yield from _impossible_balances()
    yield from _crooked_reversals()
    yield from _wrong_parents()
    yield from _mixed_owners()
    yield from _wrong_shortages()
    yield from average_closings.faults()


def _crooked_postings() -> Iterator[str]:
    for row in (
        PostingLine.objects.values("posting", "item__name")
        .order_by("posting", "item__name")
        .annotate(total=Sum("quantity"))
        .exclude(total=0)
    ):
        yield f"Posting {row['posting']}: {row['item__name']} adds up to {row['total']}, not zero."
    for posting in (
        Posting.objects.annotate(count=Count("lines")).filter(count__lt=2).order_by("id")
    ):
        yield f"Posting {posting.pk} has {posting.count} lines; it needs two or more."


def _wrong_balances() -> Iterator[str]:
    sums: dict[tuple[int, int, int | None], int] = {
        (row["item"], row["place"], row["lot"]): row["total"]
        for row in PostingLine.objects.values("item", "place", "lot")
        .order_by()
        .annotate(total=Sum("quantity"))
    }
    for balance in Balance.objects.select_related("item", "place", "lot").order_by("id"):
        key = (balance.item_id, balance.place_id, balance.lot_id)
        total = sums.pop(key, 0)
        if total != balance.quantity:
            yield (
                f"{balance.item} of lot {balance.lot or 'none'} at {balance.place}: "
                f"the lines add up to {total}, the balance says {balance.quantity}."
            )
        kind = (balance.place.is_physical, balance.place.is_vessel)
        if kind != (balance.is_physical, balance.is_vessel):
            yield f"Balance {balance.pk} no longer agrees with the kind of {balance.place}."
    for (item, place, lot), total in sorted(sums.items(), key=str):
        if total:
            yield f"Item {item}, lot {lot}, place {place}: lines add up to {total}, no balance."


def _impossible_balances() -> Iterator[str]:
    """Database constraints also prevent these; a backup restored by hand may lack them."""
    for balance in Balance.objects.filter(
        Q(is_physical=True, quantity__lt=0)
        | Q(reserved__lt=0)
        | Q(is_physical=True, reserved__gt=F("quantity"))
        | Q(is_physical=False, reserved__gt=0)
    ).order_by("id"):
        yield f"{balance}: {balance.reserved} reserved can't be."
    for row in (
        Balance.objects.filter(is_vessel=True, quantity__gt=0)
        .values("place__name")
        .order_by("place__name")
        .annotate(count=Count("id"))
        .filter(count__gt=1)
    ):
        yield f"{row['place__name']} has {row['count']} lots in it at once."


def _crooked_reversals() -> Iterator[str]:
    for reversal in (
        Posting.objects.filter(reverses__isnull=False)
        .prefetch_related("lines", "reverses__lines", "reverses__corrections__lines")
        .order_by("id")
    ):
        if reversal.reverses is None:
            continue
        undone: Counter[tuple] = Counter()
        for entry in (reversal.reverses, *reversal.reverses.corrections.all()):
            for line in entry.lines.all():
                undone[_line_key(line)] -= line.quantity
        undone = Counter({key: quantity for key, quantity in undone.items() if quantity})
        if {_line_key(line): line.quantity for line in reversal.lines.all()} != undone:
            yield f"Posting {reversal.pk} does not undo posting {reversal.reverses_id} exactly."


def _line_key(line: PostingLine) -> tuple:
    return (line.item_id, line.place_id, line.lot_id)


def _wrong_parents() -> Iterator[str]:
    for lot in (
        Lot.objects.filter(kind=Lot.Kind.BLEND)
        .annotate(grams=Sum("parent_links__grams"))
        .exclude(grams=F("quantity_made"))
        .exclude(grams=None, quantity_made=0)
        .order_by("id")
    ):
        yield f"Blend {lot.code} weighs {lot.quantity_made} g, its parents {lot.grams} g."


def _wrong_shortages() -> Iterator[str]:
    """What came from "to be settled" is what the open shortages say."""
    sums: dict[tuple[int, int | None], int] = {
        (row["item"], row["lot"]): row["total"]
        for row in Shortage.objects.open()
        .order_by()
        .values("item", "lot")
        .annotate(total=Sum("quantity"))
    }
    for balance in Balance.objects.filter(place__kind=Place.Kind.TO_SETTLE).select_related("item"):
        missing = sums.pop((balance.item_id, balance.lot_id), 0)
        if missing != -balance.quantity:
            yield (
                f"{balance.item}, lot {balance.lot_id}: {-balance.quantity} came from “to be "
                f"settled”, the open shortages add up to {missing}."
            )
    for (item, lot), missing in sorted(sums.items(), key=str):
        yield f"Item {item}, lot {lot}: {missing} is short and came from nowhere."


def _mixed_owners() -> Iterator[str]:
    """What was bought from its owner has a parent of theirs; nothing else changes hands."""
    links = LotParent.objects.filter(Q(lot__owner__isnull=False) | Q(parent__owner__isnull=False))
    links = links.exclude(lot__kind=Lot.Kind.BOUGHT).select_related("lot", "parent")
    for link in links.order_by("lot_id", "parent_id"):
        if link.lot.owner_id != link.parent.owner_id:
            yield f"Lot {link.lot} was made of lot {link.parent}, which belongs to somebody else."
