"""The answer to a tried price: the lines it is worked out from, and what they come to."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from apiary_sales.planning.queries.price_books import PriceBooks, Sales
from apiary_sales.planning.rules import price_try
from apiary_sales.planning.rules.price_try import (
    PieceCosts,
    PriceTrial,
    Reaction,
    TriedLine,
    TriedPrices,
)
from apiary_sales.pricing.rules import price_changes
from apiary_sales.pricing.rules.costs import TIER_OF_CHANNEL, Channel, JarNetBack
from apiary_sales.pricing.rules.prices import PricesOfProduct
from inventory.shared.money import cents_half_up
from inventory.shared.weights import unit_grams

PARTS = ("part", "case", "broken")


@dataclass(frozen=True)
class PriceWish:
    """What the owner tries. No product and no channel means all of them.

    A new price of a piece goes with one product and one channel; else all change by a percent.
    """

    products: frozenset[int]
    channel: str
    percent: Decimal | None
    new_cents: int | None
    ending: str
    reaction: Reaction
    drum_price: Decimal | None
    # Honey that still comes in meanwhile; None for what earlier years tell.
    coming_grams: int | None

    def takes(self, product: int, channel: str) -> bool:
        is_product = not self.products or product in self.products
        return is_product and self.channel in ("", channel)


@dataclass(frozen=True)
class TriedRow:
    """One product and channel as the page shows it: its pieces today and most likely."""

    line: TriedLine
    now: int
    likely: int

    @property
    def now_price(self) -> Decimal:
        return price_try.to_decimal(self.line.prices.now)

    @property
    def tried_price(self) -> Decimal:
        return price_try.to_decimal(self.line.prices.tried)

    @property
    def percent(self) -> Decimal | None:
        return price_changes.real_percent(self.now_price, self.tried_price)

    @property
    def left_cents(self) -> int | None:
        """What a piece leaves at the tried price after all costs but its honey."""
        line = self.line
        return cents_half_up(line.left(line.prices.tried)) if line.is_known else None


@dataclass(frozen=True)
class PriceAnswer:
    """A trial with what it was worked out from."""

    wish: PriceWish
    books: PriceBooks
    trial: PriceTrial
    # A unit of weight in drums, None where there is no price.
    drum_price: Decimal | None
    drum_net: Decimal | None
    # Pieces that were sold without a price in today's list of their channel.
    unpriced_pieces: int
    # Honey for the chosen products, after what all others took.
    supply_grams: int
    # Of the honey that still comes in; None where that is not known.
    coming_grams: int | None

    @property
    def lines(self) -> tuple[TriedLine, ...]:
        return tuple(each.line for each in self.trial.now.lines)

    @property
    def rows(self) -> list["TriedRow"]:
        """Each product and channel, at today's prices and as is most likely."""
        return [
            TriedRow(now.line, now.pieces, likely.pieces)
            for now, likely in zip(self.trial.now.lines, self.trial.likely.lines, strict=True)
        ]

    @property
    def days_of_later_prices(self) -> list[date]:
        """The day of each price of these lines that is set for later already, in order."""
        lists = self.books.book.price_lists
        return sorted(
            row.valid_from
            for tier, product in {
                (TIER_OF_CHANNEL[Channel(line.channel)], line.product) for line in self.lines
            }
            for row in lists[tier].of(product).coming
        )

    @property
    def unknown_lines(self) -> list[TriedLine]:
        return [line for line in self.lines if not line.is_known]


def answer(books: PriceBooks, wish: PriceWish) -> PriceAnswer | None:
    """Work out what was asked; None where nothing of it was sold that has a price today."""
    chosen: list[TriedLine] = []
    others: list[TriedLine] = []
    unpriced = 0
    for (product, channel), sales in books.sold.items():
        is_chosen = wish.takes(product, channel)
        line = _line(books, wish, product, channel, sales)
        if line is None:
            unpriced += sum(sales.values()) if is_chosen else 0
        else:
            (chosen if is_chosen else others).append(line)
    if not chosen:
        return None
    chosen.sort(key=lambda line: (line.product.declared_grams, line.product.name, line.channel))
    lines, grams = _shared_out(books, chosen, others)
    coming = books.expected_grams if wish.coming_grams is None else wish.coming_grams
    supply = max(books.honey.grams + (coming or 0) - grams, 0)
    price = books.drum_price if wish.drum_price is None else wish.drum_price
    net = None if price is None else books.book.drum_net_back(price).per_pound
    return PriceAnswer(
        wish=wish,
        books=books,
        trial=price_try.try_prices(
            lines,
            wish.reaction,
            supply_grams=supply,
            drum_net_per_gram=None if net is None else Fraction(net) / Fraction(unit_grams()),
        ),
        drum_price=price,
        drum_net=net,
        unpriced_pieces=unpriced,
        supply_grams=supply,
        coming_grams=coming,
    )


def _line(
    books: PriceBooks, wish: PriceWish, product_id: int, channel: str, sales: Sales
) -> TriedLine | None:
    product = next(each for each in books.book.products if each.pk == product_id)
    net_back = books.book.net_back(product, channel)
    pieces = sum(sales.values())
    listed = books.book.price_lists[TIER_OF_CHANNEL[Channel(channel)]].of(product)
    now = _takings(listed, sales)
    if net_back is None or not now or pieces <= 0:
        return None
    factor = 1 + (wish.percent or Decimal(0)) / 100
    if wish.new_cents is not None and listed.base and listed.base.piece_cents:
        factor = Decimal(wish.new_cents) / listed.base.piece_cents
    changed = price_changes.changes_of(
        str(TIER_OF_CHANNEL[Channel(channel)]), listed, factor, wish.ending
    )
    tried = _takings(replace(listed, breaks=tuple(price_changes.rows_after(changed))), sales)
    return TriedLine(
        product=product,
        channel=channel,
        channel_label=net_back.channel_label,
        pieces=pieces,
        prices=TriedPrices(now / pieces, tried / pieces),
        costs=_costs(net_back),
        missing=tuple(net_back.missing),
        grams_each=Fraction(net_back.fill.drawn_grams),
        ready=0,
    )


def _takings(listed: PricesOfProduct, sales: Sales) -> Fraction:
    """Return what these sales bring, each at the list price for so many pieces."""
    return sum(
        (Fraction(listed.unit_price(each) or 0) * pieces for each, pieces in sales.items()),
        Fraction(0),
    )


def _costs(net_back: JarNetBack) -> PieceCosts:
    def cost(*kinds: str) -> Fraction | None:
        figures = [line.each for line in net_back.lines if line.kind in kinds]
        known = [figure for figure in figures if figure is not None]
        return -Fraction(sum(known, Decimal(0))) if len(known) == len(figures) else None

    return PieceCosts(
        kept_share=Fraction(net_back.kept_share),
        selling=cost("channel") or Fraction(0),
        parts=cost(*PARTS),
        labour=cost("labour"),
    )


def _shared_out(
    books: PriceBooks, chosen: list[TriedLine], others: list[TriedLine]
) -> tuple[list[TriedLine], int]:
    """Give each chosen line the jars ready for it; return with them the honey all others take."""
    ready = {product: max(pieces, 0) for product, pieces in books.ready.items()}

    def taken(lines: list[TriedLine]) -> Iterator[tuple[TriedLine, int]]:
        for line in lines:
            pieces = min(ready.get(line.product.pk, 0), line.pieces)
            ready[line.product.pk] = ready.get(line.product.pk, 0) - pieces
            yield line, pieces

    grams = sum(
        ((line.pieces - pieces) * line.grams_each for line, pieces in taken(others)), Fraction(0)
    )
    found = [replace(line, ready=pieces) for line, pieces in taken(chosen)]
    # What is left of the jars of a product is for the first of its lines.
    for index, line in enumerate(found):
        found[index] = replace(line, ready=line.ready + ready.pop(line.product.pk, 0))
    return found, int(grams)
