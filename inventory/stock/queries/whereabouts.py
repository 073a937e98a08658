"""What became of lots, from the lines of the ledger: made, on hand, in other lots, gone otherwise.

Places say what a line means, not the kinds of postings: what is added later is counted too. What
was posted and undone leaves no trace here, and an entry counts together with its corrections.
Every function takes the keys of the lots to count, as `Lot.objects.family_keys` gives them, and
asks a constant number of questions.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from inventory.shared import asked_together
from inventory.stock.models import Balance, Lot, LotParent, Place, Posting, PostingLine
from inventory.stock.models.lots import LotKeys

# Outside places from which lots come. What goes to one of these is used for another lot.
SOURCES = (Place.Kind.HARVEST, Place.Kind.SUPPLIER, Place.Kind.PACKING)


@dataclass(frozen=True)
class CountDifference:
    """What counts found missing of a lot, and what they found beyond the books, never set off.

    A count is of one place: a surplus in one place does not make up for a loss in another.
    """

    lost: int = 0
    found: int = 0

    def with_count(self, change: int) -> "CountDifference":
        """Add a count: what went to the place of the differences, or came from it."""
        return CountDifference(self.lost + max(change, 0), self.found + max(-change, 0))


@dataclass
class LotTally:
    """What the ledger says of one lot, in grams or pieces.

    `ways_out` is net, by the kind of the outside place; customers are among them, an owner to whom
    it was handed back is not.
    """

    lot: Lot
    # The grams of honey of other lots in it; None where it was not made of any.
    grams_of_parents: int | None
    came_in: int = 0
    on_hand: int = 0
    reserved: int = 0
    into_lots: int = 0
    handed_back: int = 0
    ways_out: dict[str, int] = field(default_factory=dict)
    counted: CountDifference = CountDifference()


def tallies(family: LotKeys, *, holding: Iterable[Balance] | None = None) -> list[LotTally]:
    """Return the tally of each lot of the family.

    `holding` is where the family is now, where it was read already.
    """
    of_parents = LotParent.objects.filter(lot=OuterRef("pk"))
    lots = (
        Lot.objects.filter(pk__in=family)
        .annotate(grams_of_parents=asked_together.total(of_parents, "grams"))
        .select_related("product__item", "product__size")
        .order_by("id")
    )
    found = {lot.pk: LotTally(lot, lot.grams_of_parents) for lot in lots}
    lines = (
        PostingLine.objects.standing()
        .filter(lot__in=family)
        .annotate(
            act=Coalesce("posting__corrects", "posting"),
            act_kind=Coalesce("posting__corrects__kind", "posting__kind"),
        )
        .order_by()
    )
    for key, kind, plus, minus, sold, unboxed in _outside(lines):
        tally = found[key]
        if kind in SOURCES:
            tally.came_in -= minus - unboxed
            tally.into_lots += plus + unboxed
        elif kind == Place.Kind.OWNER:
            tally.came_in -= minus
            tally.into_lots += sold
            tally.handed_back += plus - sold
        elif plus + minus:
            tally.ways_out[kind] = tally.ways_out.get(kind, 0) + plus + minus
    # Honey that is mixed changes its lot where it is: only there a lot's own lines leave a rest.
    for key, change, counted in (
        lines.values("lot", "act")
        .annotate(
            change=Sum("quantity"),
            counted=Sum("quantity", filter=Q(place__kind=Place.Kind.COUNT_DIFFERENCE), default=0),
        )
        .exclude(change=0, counted=0)
        .values_list("lot", "change", "counted")
    ):
        # A count with its corrections is one count.
        found[key].counted = found[key].counted.with_count(counted)
        if change > 0:
            found[key].came_in += change
        else:
            found[key].into_lots -= change
    for balance in here(family) if holding is None else holding:
        tally = found[balance.honey_lot.pk]
        tally.on_hand += balance.quantity
        tally.reserved += balance.reserved
    return list(found.values())


def _outside(lines: Any) -> Iterator[tuple[int, str, int, int, int, int]]:
    """Yield what came from and went to each kind of outside place, by lot.

    The lot, the kind, what went there (plus) and came from there (minus), what of the first was
    sold by its owner and what of the second came out of boxes. What was never corrected is added
    up in the database; of the rest there is a row for each entry.
    """
    outside = lines.exclude(place__kind__in=Place.IN_HOUSE)
    # What comes out of a box came in before it went into one.
    is_unboxing = Q(act_kind=Posting.Kind.UNBOXING)
    # An owner's place is a source for what comes in, and a way out for what goes back; a purchase
    # from them makes another lot of it.
    is_sale = Q(act_kind=Posting.Kind.PURCHASE)
    is_corrected = Exists(Posting.objects.filter(corrects=OuterRef("act")))
    yield from (
        outside.exclude(is_corrected)
        .values("lot", "place__kind")
        .annotate(
            plus=Sum("quantity", filter=Q(quantity__gt=0), default=0),
            minus=Sum("quantity", filter=Q(quantity__lt=0), default=0),
            sold=Sum("quantity", filter=Q(quantity__gt=0) & is_sale, default=0),
            unboxed=Sum("quantity", filter=Q(quantity__lt=0) & is_unboxing, default=0),
        )
        .values_list("lot", "place__kind", "plus", "minus", "sold", "unboxed")
    )
    for lot, place, kind, total in (
        outside.filter(is_corrected)
        .values("lot", "place__kind", "act", "act_kind")
        .annotate(total=Sum("quantity"))
        .values_list("lot", "place__kind", "act_kind", "total")
    ):
        plus, minus = max(total, 0), min(total, 0)
        sold = plus if kind == Posting.Kind.PURCHASE else 0
        unboxed = minus if kind == Posting.Kind.UNBOXING else 0
        yield lot, place, plus, minus, sold, unboxed


def here(family: LotKeys) -> QuerySet[Balance]:
    """Return what of the family is in vessels and stores now, by place."""
    return (
        Balance.objects.filter(lot__in=family, is_physical=True, quantity__gt=0)
        .select_related("place", "item", "lot__product__item")
        .order_by("place__kind", "place__code", "lot_id")
    )


def came_back(family: LotKeys) -> QuerySet[PostingLine]:
    """Return the lines by which customers gave some of the family back, latest first.

    Each says where the goods went: to a shelf, into a drum, or straight to what is spoiled.
    """
    given_back = PostingLine.objects.filter(
        lot__in=family,
        place__kind=Place.Kind.CUSTOMER,
        quantity__lt=0,
        posting__reversed_by__reverses=None,
        # What is corrected of a sale did not come back.
        posting__corrects=None,
    )
    return (
        PostingLine.objects.filter(
            lot__in=family, quantity__gt=0, posting__in=given_back.values("posting")
        )
        .select_related("posting", "place", "lot__product__item")
        .order_by("-posting__occurred_at", "-id")
    )


def handed_back(family: LotKeys) -> list[tuple[PostingLine, int]]:
    """Return what of the family went back to its owner, latest first, with how much it was.

    The line says of which lot, to whom and when; the quantity counts corrections too.
    """
    lines = (
        PostingLine.objects.standing()
        .filter(lot__in=family, place__kind=Place.Kind.OWNER)
        .annotate(act_kind=Coalesce("posting__corrects__kind", "posting__kind"))
        .exclude(act_kind=Posting.Kind.PURCHASE)
        .select_related("posting", "lot__owner", "lot__product__item")
        .order_by("lot__owner__name", "-posting__occurred_at", "-id")
    )
    found: dict[tuple[int, int | None], tuple[PostingLine, int]] = {}
    for line in lines:
        key = (line.posting.corrects_id or line.posting_id, line.lot_id)
        first, quantity = found.get(key, (line, 0))
        found[key] = (first, quantity + line.quantity)
    return [(line, quantity) for line, quantity in found.values() if quantity > 0]
