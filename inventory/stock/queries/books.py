"""Check the stock ledger: recalculate everything from its lines and report differences."""

from collections.abc import Callable, Iterator

from django.db.models import Count, F, Q, Sum
from django.utils.timezone import localtime

from inventory.shared.proofs import unequal
from inventory.stock.models import (
    Balance,
    Item,
    Lot,
    LotParent,
    Place,
    Posting,
    PostingLine,
    Shortage,
)
from inventory.stock.queries import average_closings


def faults() -> Iterator[str]:
    """Yield one sentence for each way in which the stored books break a law of the ledger."""
    for proof in PROOFS:
        yield from proof()


def _told(posting: int) -> str:
    """Say which posting it is, so that a person finds it."""
    found = Posting.objects.filter(pk=posting).first()
    if found is None:
        return f"Posting {posting}"
    return (
        f"Posting {posting} ({found.get_kind_display()} of {localtime(found.occurred_at):%Y-%m-%d})"
    )


def _crooked_postings() -> Iterator[str]:
    for row in (
        PostingLine.objects.values("posting", "item__name")
        .order_by("posting", "item__name")
        .annotate(total=Sum("quantity"))
        .exclude(total=0)
        .iterator()
    ):
        yield f"{_told(row['posting'])}: {row['item__name']} adds up to {row['total']}, not zero."
    for posting, count in (
        Posting.objects.order_by("id")
        .values_list("id")
        .annotate(count=Count("lines"))
        .filter(count__lt=2)
        .iterator()
    ):
        yield f"{_told(posting)} has {count} lines; it needs two or more."


def _wrong_balances() -> Iterator[str]:
    lines = (
        PostingLine.objects.order_by()
        .values_list("item", "place", "lot")
        .annotate(total=Sum("quantity"))
    )
    balances = Balance.objects.values_list("item", "place", "lot", "quantity")
    for item, place, lot, total, quantity in unequal([lines], [balances], keys=3):
        balance = (
            Balance.objects.filter(item=item, place=place, lot=lot)
            .select_related("item", "place", "lot")
            .first()
        )
        if balance is None:
            yield f"Item {item}, lot {lot}, place {place}: lines add up to {total}, no balance."
        else:
            yield (
                f"{balance.item} of lot {balance.lot or 'none'} at {balance.place}: "
                f"the lines add up to {total}, the balance says {quantity}."
            )
    is_physical = Q(place__kind__in=Place.IN_HOUSE)
    is_vessel = Q(place__kind__in=Place.VESSELS)
    for balance in (
        Balance.objects.exclude(
            (is_physical & Q(is_physical=True)) | (~is_physical & Q(is_physical=False)),
            (is_vessel & Q(is_vessel=True)) | (~is_vessel & Q(is_vessel=False)),
        )
        .select_related("place")
        .order_by("id")
        .iterator()
    ):
        yield f"Balance {balance.pk} no longer agrees with the kind of {balance.place}."


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
    """An undoing is the opposite of its posting with the corrections of it, line by line."""
    columns = ("item", "place", "lot")
    undoing = PostingLine.objects.filter(posting__reverses__isnull=False).values_list(
        "posting__reverses", *columns, "quantity"
    )
    undone = PostingLine.objects.filter(posting__reversed_by__isnull=False).values_list(
        "posting", *columns, -F("quantity")
    )
    corrected = PostingLine.objects.filter(
        posting__corrects__reversed_by__isnull=False
    ).values_list("posting__corrects", *columns, -F("quantity"))
    told = None
    for posting, *_rest in unequal([undoing], [undone, corrected], keys=4):
        if posting == told:
            continue
        told = posting
        reversal = Posting.objects.get(reverses=posting)
        yield f"{_told(reversal.pk)} does not undo posting {posting} exactly."


def _wrong_parents() -> Iterator[str]:
    for lot in (
        Lot.objects.filter(kind=Lot.Kind.BLEND)
        .annotate(grams=Sum("parent_links__grams"))
        .exclude(grams=F("quantity_made"))
        .exclude(grams=None, quantity_made=0)
        .order_by("id")
        .iterator()
    ):
        yield f"Blend {lot.code} weighs {lot.quantity_made} g, its parents {lot.grams} g."


def _wrong_shortages() -> Iterator[str]:
    """What came from "to be settled" is what the open shortages say."""
    came = Balance.objects.filter(place__kind=Place.Kind.TO_SETTLE).values_list(
        "item", "lot", -F("quantity")
    )
    short = Shortage.objects.open().values_list("item", "lot", "quantity")
    for item, lot, quantity, missing in unequal([came], [short], keys=2):
        yield (
            f"{Item.objects.get(pk=item)}, lot {lot}: {quantity} came from “to be settled”, the "
            f"open shortages add up to {missing}."
        )


def _mixed_owners() -> Iterator[str]:
    """What was bought from its owner has a parent of theirs; nothing else changes hands."""
    links = LotParent.objects.filter(Q(lot__owner__isnull=False) | Q(parent__owner__isnull=False))
    links = links.exclude(lot__kind=Lot.Kind.BOUGHT).select_related("lot", "parent")
    for link in links.order_by("lot_id", "parent_id").iterator():
        if link.lot.owner_id != link.parent.owner_id:
            yield f"Lot {link.lot} was made of lot {link.parent}, which belongs to somebody else."


PROOFS: tuple[Callable[[], Iterator[str]], ...] = (
    _crooked_postings,
    _wrong_balances,
    _impossible_balances,
    _crooked_reversals,
    _wrong_parents,
    _mixed_owners,
    _wrong_shortages,
    average_closings.faults,
)
