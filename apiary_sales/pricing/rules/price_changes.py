"""A change of whole price lists by percent: what each price becomes, and how it is rounded."""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import cast

from django.db.models import TextChoices
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import PiecePrice
from apiary_sales.pricing.rules.prices import PriceList, PricesOfProduct
from apiary_sales.pricing.sales_sources import SoldRow
from inventory.bottling.models import Product
from inventory.shared.errors import Problems

PERCENT_MAX = Decimal(100)


class Ending(TextChoices):
    """The cents a price may end in after a change by percent."""

    CENT = "cent", gettext_lazy("any cent")
    WHOLE = "00", gettext_lazy(".00")
    QUARTER = "25", gettext_lazy(".00, .25, .50 or .75")
    FORTY_NINE = "49", gettext_lazy(".49 or .99")
    NINETY_NINE = "99", gettext_lazy(".99")


# A price may end in `offset` and every `step` cents from there.
_ENDINGS = {
    Ending.CENT: (1, 0),
    Ending.WHOLE: (100, 0),
    Ending.QUARTER: (25, 0),
    Ending.FORTY_NINE: (50, 49),
    Ending.NINETY_NINE: (100, 99),
}


@dataclass(frozen=True)
class PriceChange:
    """One price before and after a change by percent; without a new price, it ends that day."""

    tier: str
    product: Product
    min_pieces: int
    piece_cents: int
    new_piece_cents: int | None
    case_cents: int | None
    new_case_cents: int | None
    # Rounding alone would have made the case dearer than its pieces.
    is_case_capped: bool

    @property
    def tier_label(self) -> str:
        return str(Customer.Tier(self.tier).label)

    @property
    def is_different(self) -> bool:
        return (self.piece_cents, self.case_cents) != (self.new_piece_cents, self.new_case_cents)

    @property
    def piece_percent(self) -> Decimal | None:
        """By how much the price of one really changes; None where it ends or was zero."""
        return real_percent(self.piece_cents, self.new_piece_cents)

    @property
    def case_percent(self) -> Decimal | None:
        """The same of the price of a case; None where there is none."""
        return real_percent(self.case_cents, self.new_case_cents)


@dataclass(frozen=True)
class TotalChange:
    """What the pieces of a past time would bring at the list prices before and after a change."""

    pieces: int
    before: Decimal
    after: Decimal

    @property
    def percent(self) -> Decimal | None:
        """By how much prices really change, weighted by these pieces; None without any."""
        return real_percent(self.before, self.after)


def changes(lists: Mapping[str, PriceList], *, percent: Decimal, ending: str) -> list[PriceChange]:
    """Work out every price of these price lists, by tier, before and after a change by percent.

    A case never costs more than its pieces alone; a quantity price that is no lower than what
    fewer cost ends. Raises `BadValue` at `percent`, or at `tiers` without a price list.
    """
    problems = Problems()
    if percent == 0:
        problems.add("percent", _("Enter by how much the prices go up or down."))
    elif not -PERCENT_MAX < percent <= PERCENT_MAX:
        problems.add(
            "percent",
            _("Prices can go up by 100 percent at most, and down by less than 100 percent."),
        )
    if not lists:
        problems.add("tiers", _("Choose at least one price list."))
    problems.raise_any()
    factor = 1 + percent / 100
    return [
        change
        for tier, prices in lists.items()
        for product in prices.products
        for change in changes_of(tier, product, factor, ending)
    ]


def changes_of(tier: str, each: PricesOfProduct, factor: Decimal, ending: str) -> list[PriceChange]:
    """Work out the prices of one product in one tier, each times a factor; see `changes`."""
    made: list[PriceChange] = []
    fewer_cents: int | None = None
    for row in each.breaks:
        # A row in force has a price of a piece.
        before_cents = cast(int, row.piece_cents)
        piece_cents = rounded(before_cents * factor, ending)
        case_cents = row.case_cents and rounded(row.case_cents * factor, ending)
        alone_cents = piece_cents * each.product.pieces_per_case
        is_dearer = case_cents is not None and case_cents > alone_cents
        if is_dearer:
            case_cents = highest(alone_cents, ending)
        ends = fewer_cents is not None and piece_cents >= fewer_cents
        if not ends:
            fewer_cents = piece_cents
        made.append(
            PriceChange(
                tier=tier,
                product=each.product,
                min_pieces=row.min_pieces,
                piece_cents=before_cents,
                new_piece_cents=None if ends else piece_cents,
                case_cents=row.case_cents,
                new_case_cents=None if ends else case_cents,
                is_case_capped=is_dearer and not ends,
            )
        )
    return made


def rows_after(table: Iterable[PriceChange]) -> list[PiecePrice]:
    """Return the prices in force after these changes, as rows that are not saved."""
    return [
        PiecePrice(
            tier=change.tier,
            product=change.product,
            min_pieces=change.min_pieces,
            piece_cents=change.new_piece_cents,
            case_cents=change.new_case_cents,
        )
        for change in table
        if change.new_piece_cents is not None
    ]


def total_change(
    lists: Mapping[str, PriceList], table: Iterable[PriceChange], sold: Iterable[SoldRow]
) -> TotalChange:
    """Work out what sold pieces bring at the prices of these lists, and after the changes.

    Each sale goes at the price for so many pieces. Those without a price on these lists are left
    out.
    """
    before = {
        (tier, each.product.pk): each for tier, prices in lists.items() for each in prices.products
    }
    rows: dict[tuple[str, int], list[PiecePrice]] = defaultdict(list)
    for row in rows_after(table):
        rows[row.tier, row.product_id].append(row)
    pieces, old, new = 0, Decimal(0), Decimal(0)
    for sale in sold:
        key = (sale.price_list, sale.product_id)
        was = before.get(key)
        old_price = was.unit_price(sale.pieces_a_sale) if was else None
        if was is None or old_price is None:
            continue
        new_price = replace(was, breaks=tuple(rows[key])).unit_price(sale.pieces_a_sale)
        pieces += sale.pieces
        old += old_price * sale.pieces
        # A price that is changed by percent never ends for a single piece.
        new += cast(Decimal, new_price) * sale.pieces
    return TotalChange(pieces, old, new)


def days_of_later_prices(lists: Mapping[str, PriceList], day: date) -> list[date]:
    """Return the day of each price of these lists that was set before for after `day`, in order.

    They come into force as they were set, whatever is changed on `day`.
    """
    return sorted(
        row.valid_from
        for prices in lists.values()
        for each in prices.products
        for row in each.coming
        if row.valid_from > day
    )


def real_percent(before: Decimal | int | None, after: Decimal | int | None) -> Decimal | None:
    """Return by how many percent one price is above another, to two decimals.

    >>> real_percent(849, 899), real_percent(849, 849), real_percent(0, 99)
    (Decimal('5.89'), Decimal('0.00'), None)
    """
    if not before or after is None:
        return None
    exact = (Decimal(after) - before) * 100 / before
    return exact.quantize(Decimal("0.01"), ROUND_HALF_UP)


def fingerprint(table: Iterable[PriceChange]) -> str:
    """Return a short text that differs when any price of the table does."""
    figures = [
        (
            change.tier,
            change.product.pk,
            change.min_pieces,
            change.piece_cents,
            change.new_piece_cents,
            change.case_cents,
            change.new_case_cents,
        )
        for change in table
    ]
    return hashlib.sha256(repr(figures).encode()).hexdigest()[:32]


def rounded(cents: Decimal, ending: str) -> int:
    """Return the price with a wanted ending that is nearest to `cents`; halfway goes up.

    A price above zero never becomes zero: the least is the lowest price with that ending that is
    above zero.

    >>> rounded(Decimal("872.4"), Ending.FORTY_NINE), rounded(Decimal("875"), Ending.WHOLE)
    (849, 900)
    """
    below, above = _around(cents, ending)
    nearest = above if above - cents <= cents - below else below
    if nearest <= 0 < cents:
        step, offset = _ENDINGS[Ending(ending)]
        return offset or step
    return max(nearest, 0)


def highest(cents: int, ending: str) -> int:
    """Return the highest price with a wanted ending up to `cents`; `cents` where there is none.

    >>> highest(5988, Ending.NINETY_NINE), highest(40, Ending.NINETY_NINE)
    (5899, 40)
    """
    below, _above = _around(Decimal(cents), ending)
    return below if below > 0 else cents


def _around(cents: Decimal, ending: str) -> tuple[int, int]:
    """Return the prices with a wanted ending next to `cents`, below and above."""
    step, offset = _ENDINGS[Ending(ending)]
    steps = (cents - offset) / step
    return (
        int(steps.to_integral_value(ROUND_FLOOR)) * step + offset,
        int(steps.to_integral_value(ROUND_CEILING)) * step + offset,
    )
