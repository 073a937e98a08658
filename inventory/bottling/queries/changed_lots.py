"""What the page of a lot in pieces says of how it came about: contents, unknown work, its code."""

from django.db.models import QuerySet

from inventory.bottling.models import BottlingRun, ChangedPieces, GoodsMade, JarChange
from inventory.stock.models import Lot, LotParent


def box_contents(lot: Lot) -> QuerySet[ChangedPieces]:
    """Return the pieces that went into the boxes of a lot, with the honey in them."""
    made = JarChange.objects.standing().filter(lot=lot, act=JarChange.Act.BOX)
    return (
        ChangedPieces.objects.filter(change__in=made)
        .select_related("lot__product__item")
        .order_by("id")
    )


def lacks_labour(lot: Lot) -> bool:
    """Tell whether the cost of a lot in pieces leaves out work that nobody entered.

    That is the work on it, and on the pieces that went into it: their cost is in its own. Honey
    that came out of jars has none of their work in its cost. In a constant number of queries.
    """
    family = _pieces_in(lot)
    return (
        BottlingRun.objects.filter(
            packed_lot__in=family, status=BottlingRun.Status.RECORDED, labour_cents=None
        ).exists()
        or JarChange.objects.standing()
        .filter(lot__in=family, act__in=JarChange.MAKES_PIECES, labour_cents=None)
        .exists()
        or GoodsMade.objects.filter(
            lot__in=family, labour_cents=None, posting__reversed_by__reverses=None
        ).exists()
    )


def code_on_jars(lot: Lot, ancestors: list[Lot]) -> str:
    """Return the code that jars bear where the books have a number behind it; else empty.

    Jars that go back to a product that they had before are a lot of their own in the books.
    """
    codes = [
        each.code
        for each in ancestors
        if each.product_id
        and lot.code.startswith(f"{each.code}-")
        and lot.code.removeprefix(f"{each.code}-").isdecimal()
    ]
    return min(codes, key=len, default="")


def _pieces_in(lot: Lot) -> set[int]:
    """Return the keys of a lot in pieces and of all that became it without a vessel between."""
    if lot.product_id is None:
        return set()
    pieces = {each.pk for each in lot.ancestors() if each.product_id} | {lot.pk}
    parents: dict[int, list[int]] = {}
    for child, parent in LotParent.objects.filter(lot__in=pieces, parent__in=pieces).values_list(
        "lot_id", "parent_id"
    ):
        parents.setdefault(child, []).append(parent)
    found: set[int] = set()
    waiting = [lot.pk]
    while waiting:
        key = waiting.pop()
        if key not in found:
            found.add(key)
            waiting += parents.get(key, [])
    return found
