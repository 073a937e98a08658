"""What one piece, one case and one pound cost the buyer on a day. Prices are before sales tax."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import BulkPrice, ContainerPrice
from inventory.models import ContainerSize, Lot
from inventory.physics.grading import GRADE_MOISTURE_UP_TO

FOUR_PLACES = Decimal("0.0001")
# Limits of the United States grades in percent (see `grading`), and what stands for any moisture.
USUAL_STEPS = frozenset([*(Decimal(str(limit)) for limit in GRADE_MOISTURE_UP_TO), Decimal(30)])


@dataclass(frozen=True)
class PieceOffer:
    """The price of one piece and, where there is one, of a whole case."""

    piece_cents: int
    case_cents: int | None


@dataclass(frozen=True)
class SizePrices:
    """The rows in force for one size in one tier, by pieces, fewest first."""

    container: ContainerSize
    breaks: tuple[ContainerPrice, ...]

    @property
    def base(self) -> ContainerPrice | None:
        """The row for a single piece, or None while there is no such price."""
        return next((row for row in self.breaks if row.min_pieces == 1), None)

    @property
    def quantity_breaks(self) -> tuple[ContainerPrice, ...]:
        return tuple(row for row in self.breaks if row.min_pieces > 1)

    def offer(self, pieces: int = 1) -> PieceOffer | None:
        """Return what a piece and a case cost when so many are taken, or None without a price.

        Of the rows that are reached, the one with the most pieces that names a price counts: a
        quantity price for pieces leaves the price of a case as it is.
        """
        reached = [row for row in self.breaks if row.min_pieces <= pieces]
        if not reached:
            return None
        cases = [row.case_cents for row in reached if row.case_cents is not None]
        return PieceOffer(reached[-1].piece_cents, cases[-1] if cases else None)

    def unit_price(self, pieces: int) -> Decimal | None:
        """Return the price of one of `pieces`, to four places; the stand's figures.js agrees.

        Whole cases go at the case price, shared out over their pieces, unless the piece price for
        so many is lower still; anything else goes at the piece price. Four places lose at most a
        cent in a hundred pieces.
        """
        offer = self.offer(pieces)
        if offer is None:
            return None
        each = (Decimal(offer.piece_cents) / 100).quantize(FOUR_PLACES)
        per_case = self.container.pieces_per_case
        if offer.case_cents is None or pieces % per_case:
            return each
        return min(each, (Decimal(offer.case_cents) / 100 / per_case).quantize(FOUR_PLACES))


@dataclass(frozen=True)
class PriceList:
    """The prices of every size in use for one tier on one day."""

    tier: str
    on: date
    sizes: tuple[SizePrices, ...]

    def of(self, container: ContainerSize) -> SizePrices:
        """Return the prices of one size; without any when it is not on the list."""
        for prices in self.sizes:
            if prices.container.pk == container.pk:
                return prices
        return SizePrices(container, ())


@dataclass(frozen=True)
class BulkList:
    """The bulk prices in force on one day."""

    on: date
    rows: tuple[BulkPrice, ...]

    def row_for(
        self, *, colour_class: str | None, moisture_percent: Decimal, floral_source: str = ""
    ) -> BulkPrice | None:
        """Return the most particular row that fits such honey, or None when none does."""
        colour, source = _plain(colour_class), _plain(floral_source)
        fitting = [
            row
            for row in self.rows
            if _plain(row.colour_class) in ("", colour)
            and _plain(row.floral_source) in ("", source)
            and row.moisture_percent_max >= moisture_percent
        ]
        return min(fitting, key=_particularity, default=None)

    def step_for(self, moisture_percent: Decimal) -> Decimal:
        """Return the lowest moisture limit in use, or usual, that covers such honey."""
        steps = USUAL_STEPS.union(row.moisture_percent_max for row in self.rows)
        return min(step for step in steps if step >= moisture_percent)

    def price_per_pound(self, lot: Lot) -> Decimal | None:
        """Return the price a pound of a lot, or None when no row fits it."""
        row = self.row_for(
            colour_class=lot.colour_class,
            moisture_percent=lot.moisture_percent,
            floral_source=lot.floral_source,
        )
        return None if row is None else row.price_per_pound


def price_for(
    *, container: ContainerSize, tier: str, on: date, pieces: int = 1
) -> PieceOffer | None:
    """Return what a piece and a case cost when so many pieces are taken, or None without a price.

    Of rows for the same pieces, the one with the latest day up to `on` holds, then the one entered
    last; which of those for fewer and for more counts, see `SizePrices.offer`.
    """
    return _size_prices(container, tier, on).offer(pieces)


def piece_price_cents(
    *, container: ContainerSize, tier: str, on: date, pieces: int = 1
) -> int | None:
    """Return the price of one piece in cents when so many are taken, or None without a price."""
    offer = price_for(container=container, tier=tier, on=on, pieces=pieces)
    return None if offer is None else offer.piece_cents


def line_unit_price(
    *, container: ContainerSize, tier: str, on: date, pieces: int
) -> Decimal | None:
    """Return the price of one piece of an order line, to four places; see `SizePrices`."""
    return _size_prices(container, tier, on).unit_price(pieces)


def price_list(tier: str, on: date) -> PriceList:
    """Return the prices of every size in use for one tier, in two queries."""
    return price_lists([tier], on)[tier]


def price_lists(tiers: Iterable[str], on: date) -> dict[str, PriceList]:
    """Return the price lists of several tiers, in two queries."""
    containers = list(ContainerSize.objects.filter(is_active=True))
    rows = ContainerPrice.objects.filter(valid_from__lte=on, container__in=containers)
    by_size: dict[tuple[str, int], list[ContainerPrice]] = {}
    for row in rows.order_by("min_pieces", "-valid_from", "-id"):
        by_size.setdefault((row.tier, row.container_id), []).append(row)
    return {
        tier: PriceList(
            tier,
            on,
            tuple(
                SizePrices(container, _in_force(by_size.get((tier, container.pk), [])))
                for container in containers
            ),
        )
        for tier in tiers
    }


def all_price_lists(on: date) -> dict[str, PriceList]:
    """Return the price list of every tier, in two queries."""
    return price_lists(Customer.Tier.values, on)


def bulk_list(on: date) -> BulkList:
    """Return the bulk prices in force on a day, in one query."""
    newest: dict[tuple, BulkPrice] = {}
    for row in BulkPrice.objects.filter(valid_from__lte=on).order_by("-valid_from", "-id"):
        key = (_plain(row.colour_class), row.moisture_percent_max, _plain(row.floral_source))
        newest.setdefault(key, row)
    rows = [row for row in newest.values() if row.price_per_pound is not None]
    return BulkList(on, tuple(sorted(rows, key=_particularity)))


def bulk_price_per_pound(*, lot: Lot, on: date) -> Decimal | None:
    """Return the price a pound of a lot in drums, or None when no row fits it.

    Floral source before any, colour before any, then the lowest moisture limit that still covers
    the lot, then the latest day. For many lots take `bulk_list` once and ask it.
    """
    return bulk_list(on).price_per_pound(lot)


def history(container: ContainerSize) -> list[ContainerPrice]:
    """Return every price a size ever had, newest first."""
    return list(container.prices.order_by("-valid_from", "-id"))


def _size_prices(container: ContainerSize, tier: str, on: date) -> SizePrices:
    rows = ContainerPrice.objects.filter(container=container, tier=tier, valid_from__lte=on)
    return SizePrices(container, _in_force(rows.order_by("min_pieces", "-valid_from", "-id")))


def _in_force(rows: Iterable[ContainerPrice]) -> tuple[ContainerPrice, ...]:
    """Keep the newest row of each number of pieces, where it has a price.

    The rows come by pieces, the newest of each first.
    """
    newest: dict[int, ContainerPrice] = {}
    for row in rows:
        newest.setdefault(row.min_pieces, row)
    return tuple(row for row in newest.values() if row.piece_cents is not None)


def _particularity(row: BulkPrice) -> tuple:
    return (not row.floral_source, not row.colour_class, row.moisture_percent_max)


def _plain(word: str | None) -> str:
    return " ".join((word or "").casefold().split())
