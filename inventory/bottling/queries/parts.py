"""Packaging parts: what is there, what it cost, how fast it goes, and what to order."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

from django.db.models import Q, Sum, prefetch_related_objects
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, PackagingPart, parts_of_products
from inventory.bottling.part_prices import PartPrices, part_prices
from inventory.bottling.rules.figures import decimal_of
from inventory.shared import words
from inventory.shared.tags import Tag
from inventory.stock.models import Balance, Item, Place, Posting, PostingLine
from inventory.stock.queries import corrections, honey

# Use is averaged over so many days back.
USE_DAYS = 90
# What uses parts up.
USING_PARTS = (Posting.Kind.BOTTLING, Posting.Kind.LABELLING, Posting.Kind.BOXING)


@dataclass(frozen=True)
class PartStock:
    """One packaging part on the shelves: pieces, cost, use and what planned runs want of it."""

    part: PackagingPart
    on_hand: int
    places: tuple[Balance, ...]
    prices: PartPrices
    used: int
    planned: int

    @property
    def unit_cost_cents(self) -> Fraction | None:
        """What one costs in the books, on average, in cents."""
        return self.prices.average

    @property
    def value_cents(self) -> int | None:
        if self.unit_cost_cents is None:
            return None if self.on_hand else 0
        return round(self.unit_cost_cents * self.on_hand)

    @property
    def used_per_day(self) -> Fraction:
        return Fraction(self.used, USE_DAYS)

    @property
    def pieces_per_day(self) -> Decimal:
        """Use a day to a tenth, for display."""
        return decimal_of(self.used_per_day, "0.1")

    @property
    def unit_price(self) -> Decimal | None:
        """Average cost of one, in units of currency, to four places."""
        return _price(self.unit_cost_cents)

    @property
    def last_price(self) -> Decimal | None:
        """What one cost when it came in last, in units of currency, to four places."""
        return _price(self.prices.last.unit_cents if self.prices.last else None)

    @property
    def days_of_cover(self) -> int | None:
        """Whole days that the pieces last at the recent rate; None while none are used."""
        return int(self.on_hand / self.used_per_day) if self.used else None

    @property
    def cover(self) -> str | None:
        """The days of cover in words; None while none are used."""
        return None if self.days_of_cover is None else words.days(self.days_of_cover)

    @property
    def short(self) -> int:
        """Pieces that the planned runs need beyond what is there."""
        return max(0, self.planned - self.on_hand)

    @property
    def is_low(self) -> bool:
        return self.on_hand < self.part.reorder_point

    @property
    def tag(self) -> Tag | None:
        """Say in a word that a part in use is short or low; None when there is enough."""
        if not self.part.is_active:
            return None
        if self.short:
            return Tag(_("short"), "bad")
        return Tag(_("low"), "warn") if self.is_low else None

    @property
    def warning(self) -> str:
        """Say what to order, and why; empty when there is enough."""
        figures = {
            "part": self.part.name,
            "there": words.pieces(self.on_hand),
            "planned": words.pieces(self.planned),
            "short": words.pieces(self.short),
            "point": words.pieces(self.part.reorder_point),
        }
        if self.short:
            return (
                _(
                    "%(part)s: planned runs need %(planned)s. In stock: %(there)s. "
                    "Missing: %(short)s."
                )
                % figures
            )
        if self.is_low:
            return (
                _("%(part)s: %(there)s in stock. Order more: the limit you set is %(point)s.")
                % figures
            )
        return ""


def uses_of(run: BottlingRun) -> list[PostingLine]:
    """Return the lines by which the parts of a recorded run came into it, with its corrections."""
    posting = honey.posting(run.posting_id) if run.posting_id else None
    if posting is None:
        return []
    lines = [
        line
        for line in corrections.lines_now(posting)
        if line.item.kind == Item.Kind.PART and line.quantity > 0
    ]
    prefetch_related_objects(lines, "item__part")
    return lines


def stock(*, only: PackagingPart | None = None, with_prices: bool = True) -> list[PartStock]:
    """Return every part in use, or still there, with its stock; in a constant number of queries.

    Without prices where nobody asks what parts cost: the average is worked out from movements.
    """
    parts = PackagingPart.objects.select_related("item")
    if only is not None:
        parts = parts.filter(pk=only.pk)
    balances: dict[int, list[Balance]] = defaultdict(list)
    for balance in (
        Balance.objects.in_stores().filter(item__part__isnull=False).select_related("place", "item")
    ):
        balances[balance.item_id].append(balance)
    prices = part_prices(only=only) if with_prices else {}
    used, planned = _used(), _planned()
    return [
        PartStock(
            part=part,
            on_hand=sum(balance.quantity for balance in balances[part.item_id]),
            places=tuple(balances[part.item_id]),
            prices=prices.get(part.pk, PartPrices()),
            used=used.get(part.item_id, 0),
            planned=planned.get(part.pk, 0),
        )
        for part in parts
        if part.is_active or balances[part.item_id] or only is not None
    ]


def short() -> list[PartStock]:
    """Return the parts to order: short for planned runs, or below their reorder point."""
    return [row for row in stock(with_prices=False) if row.part.is_active and row.warning]


def _price(cents: Fraction | None) -> Decimal | None:
    return None if cents is None else decimal_of(cents / 100, "0.0001")


def _used() -> dict[int, int]:
    """Pieces of each part that were used in the last days, by item.

    Corrections count with what they correct; what was undone is left out.
    """
    since = timezone.now() - timedelta(days=USE_DAYS)
    return dict(
        PostingLine.objects.standing()
        .filter(
            Q(posting__kind__in=USING_PARTS) | Q(posting__corrects__kind__in=USING_PARTS),
            # Found by the index on kind and day.
            posting__kind__in=(*USING_PARTS, Posting.Kind.CORRECTION),
            item__kind=Item.Kind.PART,
            place__kind=Place.Kind.PACKING,
            posting__occurred_at__gte=since,
        )
        .values_list("item")
        .annotate(total=Sum("quantity"))
        .order_by()
    )


def _planned() -> dict[int, int]:
    """Pieces of each part that the planned runs need, by part."""
    wanted: dict[int, int] = defaultdict(int)
    runs = BottlingRun.objects.filter(status=BottlingRun.Status.PLANNED)
    for run in runs.select_related("product__size").prefetch_related(
        *parts_of_products("product__")
    ):
        for use in run.product.uses():
            wanted[use.part_id] += use.used_by(filled=run.pieces_planned)
    return wanted
