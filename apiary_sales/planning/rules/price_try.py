"""What another price is likely to bring: pieces, takings and margin as buyers react to it.

Buyers react with a constant elasticity e: pieces after = pieces before × (price after ÷ price
before)^e, common practice in textbooks of microeconomics, from memory. For small changes it is
about e percent fewer pieces for each percent of the price. The owner names the elasticity as a
range; the program takes none for granted.

Prices are those of the price list, before a usual discount. A cost that is not known makes the
margin of its pieces unknown, never zero.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor

from inventory.bottling.models import Product
from inventory.shared.money import cents_half_up

DIGITS = 28
# An elasticity further from zero than this is not told: so good as any price change decides.
STEEPEST = Decimal(20)


@dataclass(frozen=True)
class TriedPrices:
    """What one piece brings on average at the list prices now and as tried, in currency."""

    now: Fraction
    tried: Fraction

    @property
    def ratio(self) -> Decimal:
        return to_decimal(self.tried / self.now)


@dataclass(frozen=True)
class PieceCosts:
    """What one piece costs beside its honey, in currency; None where it is not known.

    `kept_share` is the share of the price left after discount, card fee and the tax in it.
    """

    kept_share: Fraction
    selling: Fraction
    parts: Fraction | None
    labour: Fraction | None

    @property
    def all(self) -> Fraction | None:
        if self.parts is None or self.labour is None:
            return None
        return self.selling + self.parts + self.labour


@dataclass(frozen=True)
class TriedLine:
    """One product in one channel: what was sold of it, its prices, and what a piece takes.

    `ready` are the filled pieces on the shelf that are left for it.
    """

    product: Product
    channel: str
    channel_label: str
    pieces: int
    prices: TriedPrices
    costs: PieceCosts
    missing: tuple[str, ...]
    grams_each: Fraction
    ready: int

    @property
    def is_known(self) -> bool:
        return self.costs.all is not None

    def left(self, price: Fraction) -> Fraction:
        """Return what a piece at a price leaves after all costs but its honey, if known."""
        return price * self.costs.kept_share - (self.costs.all or 0)


@dataclass(frozen=True)
class OutcomeLine:
    """What one product in one channel comes to in one case."""

    line: TriedLine
    pieces: int
    wanted: int
    takings_cents: int


@dataclass(frozen=True)
class PriceOutcome:
    """What all chosen products come to in one case: at today's prices, or as buyers react.

    Costs and margin are those of `known_cents` of the takings, and so is the honey: `drum_grams` is
    how much more than at today's prices is left for drums; negative where more goes into jars.
    """

    name: str
    elasticity: Decimal | None
    lines: tuple[OutcomeLine, ...]
    known_cents: int
    taken_cents: int
    parts_cents: int
    labour_cents: int
    grams: Fraction
    drum_grams: Fraction
    drum_cents: int | None

    @property
    def pieces(self) -> int:
        return sum(each.pieces for each in self.lines)

    @property
    def takings_cents(self) -> int:
        return sum(each.takings_cents for each in self.lines)

    @property
    def unknown_cents(self) -> int:
        """Takings of what has a cost that is not known."""
        return self.takings_cents - self.known_cents

    @property
    def unknown_pieces(self) -> int:
        return sum(each.pieces for each in self.lines if not each.line.is_known)

    @property
    def margin_cents(self) -> int:
        """What is left of the takings whose costs are known, before the honey itself."""
        return self.known_cents - self.taken_cents - self.parts_cents - self.labour_cents

    @property
    def earned_cents(self) -> int:
        """The margin, and what the honey left for drums brings as far as that is known."""
        return self.margin_cents + (self.drum_cents or 0)

    @property
    def short_pieces(self) -> int:
        """Pieces that buyers want and the honey is not enough for."""
        return sum(each.wanted - each.pieces for each in self.lines)


@dataclass(frozen=True)
class BreakEven:
    """How far sales may fall, or must rise, before the change earns less than today's prices.

    `share` is the fall in sales that earns the same, negative where more must be sold. None where
    no change of sales makes up for the price (`is_hopeless`), or none undoes it. Where more must
    be sold than the honey is enough for, it `is_beyond_honey`.
    """

    share: Fraction | None
    elasticity: Decimal | None
    is_hopeless: bool = False
    is_beyond_honey: bool = False

    @property
    def percent(self) -> Decimal | None:
        return None if self.share is None else _tenth(self.share * 100)


@dataclass(frozen=True)
class Reaction:
    """How much buyers react, as typed: three elasticities, none above zero."""

    least: Decimal
    likely: Decimal
    most: Decimal


@dataclass(frozen=True)
class PriceTrial:
    """The answer: today's prices, and the tried ones in three cases."""

    now: PriceOutcome
    least: PriceOutcome
    likely: PriceOutcome
    most: PriceOutcome
    break_even: BreakEven
    price_ratio: Decimal

    @property
    def tried(self) -> tuple[PriceOutcome, ...]:
        return (self.least, self.likely, self.most)

    @property
    def all(self) -> tuple[PriceOutcome, ...]:
        return (self.now, *self.tried)

    def more_cents(self, outcome: PriceOutcome) -> int:
        """Return how much more than at today's prices an outcome earns."""
        return outcome.earned_cents - self.now.earned_cents

    @property
    def is_changed(self) -> bool:
        return any(line.line.prices.now != line.line.prices.tried for line in self.now.lines)


def demand(pieces: int, ratio: Decimal, elasticity: Decimal) -> int:
    """Return the whole pieces that are bought at `ratio` times the price; half a piece goes up.

    >>> demand(1000, Decimal("1.10"), Decimal("-1")), demand(1000, Decimal("1.10"), Decimal(0))
    (909, 1000)
    """
    return int((pieces * reacted(ratio, elasticity)).quantize(Decimal(1), ROUND_HALF_UP))


def reacted(ratio: Decimal, elasticity: Decimal) -> Decimal:
    """Return what share of the pieces is bought at `ratio` times the price."""
    with localcontext(prec=DIGITS):
        return Decimal(ratio) ** elasticity


def fewer_percent(ratio: Decimal, elasticity: Decimal) -> Decimal:
    """Return by how many percent fewer are sold, to a tenth; negative where more are."""
    return _tenth(Fraction(1 - reacted(ratio, elasticity)) * 100)


def supplied(lines: Sequence[TriedLine], wanted: Sequence[int], supply_grams: int) -> list[int]:
    """Return the pieces that can be filled of what is wanted, in the same proportion of each.

    Jars that are ready go first, then `supply_grams` of honey. What the honey
    is not enough for is left out in whole pieces.
    """

    def needed(share: Fraction) -> Fraction:
        return sum(
            (
                max(share * pieces - line.ready, Fraction(0)) * line.grams_each
                for line, pieces in zip(lines, wanted, strict=True)
            ),
            Fraction(0),
        )

    if needed(Fraction(1)) <= supply_grams:
        return list(wanted)
    # Between two of these shares what is needed grows evenly, so the share is found in between.
    steps = sorted(
        {Fraction(0), Fraction(1)}
        | {
            Fraction(line.ready, pieces)
            for line, pieces in zip(lines, wanted, strict=True)
            if 0 < line.ready < pieces
        }
    )
    share = Fraction(0)
    for low, high in pairwise(steps):
        at_low, at_high = needed(low), needed(high)
        if at_high > supply_grams:
            share = low + (high - low) * (supply_grams - at_low) / (at_high - at_low)
            break
    return [floor(share * pieces) for pieces in wanted]


def try_prices(
    lines: Sequence[TriedLine],
    reaction: Reaction,
    *,
    supply_grams: int,
    drum_net_per_gram: Fraction | None,
) -> PriceTrial:
    """Work out today's prices beside the tried ones, as buyers react least, likely and most.

    `drum_net_per_gram` is what a gram brings in drums after the cost of selling, in currency.
    """
    now = _outcome(
        "now", None, lines, [line.pieces for line in lines], supply_grams, drum_net_per_gram, None
    )
    least, likely, most = (
        _outcome(
            name,
            elasticity,
            lines,
            [demand(line.pieces, line.prices.ratio, elasticity) for line in lines],
            supply_grams,
            drum_net_per_gram,
            now,
        )
        for name, elasticity in (
            ("least", reaction.least),
            ("likely", reaction.likely),
            ("most", reaction.most),
        )
    )
    return PriceTrial(
        now=now,
        least=least,
        likely=likely,
        most=most,
        break_even=break_even(lines, drum_net_per_gram, supply_grams=supply_grams),
        price_ratio=_ratio(lines),
    )


def break_even(
    lines: Sequence[TriedLine], drum_net_per_gram: Fraction | None, *, supply_grams: int
) -> BreakEven:
    """Return the change of sales, the same for all, at which the tried prices earn as much.

    From the pieces whose costs are known: pieces × (what one leaves − what its honey brings in
    drums) is the same before and after. Before are the pieces that can be filled of those that
    were sold. Without a drum price the honey counts with nothing.
    """
    sold = [line.pieces for line in lines]
    filled = dict(zip(map(id, lines), supplied(lines, sold, supply_grams), strict=True))
    known = [line for line in lines if line.is_known]
    before, after = Fraction(0), Fraction(0)
    for line in known:
        honey = line.grams_each * (drum_net_per_gram or 0)
        before += filled[id(line)] * (line.left(line.prices.now) - honey)
        after += line.pieces * (line.left(line.prices.tried) - honey)
    ratio = _ratio(known)
    if not known or ratio == 1:
        return BreakEven(None, None)
    if after <= 0:
        return BreakEven(None, None, is_hopeless=after < before)
    if before <= 0:
        return BreakEven(None, None)
    share = before / after
    wanted = [ceil(share * pieces) for pieces in sold]
    with localcontext(prec=DIGITS):
        elasticity = to_decimal(share).ln() / ratio.ln()
    return BreakEven(
        1 - share,
        elasticity if abs(elasticity) <= STEEPEST else None,
        is_beyond_honey=share > 1 and supplied(lines, wanted, supply_grams) != wanted,
    )


def _outcome(
    name: str,
    elasticity: Decimal | None,
    lines: Sequence[TriedLine],
    wanted: Sequence[int],
    supply_grams: int,
    drum_net_per_gram: Fraction | None,
    now: PriceOutcome | None,
) -> PriceOutcome:
    pieces = supplied(lines, wanted, supply_grams)
    made = []
    taken, parts, labour, grams = (Fraction(0) for _ in range(4))
    known_cents = 0
    for line, count, asked in zip(lines, pieces, wanted, strict=True):
        price = line.prices.now if now is None else line.prices.tried
        takings = cents_half_up(price * count)
        made.append(OutcomeLine(line, count, asked, takings))
        costs = line.costs
        if costs.parts is None or costs.labour is None:
            continue
        known_cents += takings
        grams += count * line.grams_each
        taken += count * (price * (1 - costs.kept_share) + costs.selling)
        parts += count * costs.parts
        labour += count * costs.labour
    drum_grams = now.grams - grams if now else Fraction(0)
    return PriceOutcome(
        name=name,
        elasticity=elasticity,
        lines=tuple(made),
        known_cents=known_cents,
        taken_cents=cents_half_up(taken),
        parts_cents=cents_half_up(parts),
        labour_cents=cents_half_up(labour),
        grams=grams,
        drum_grams=drum_grams,
        drum_cents=(
            None if drum_net_per_gram is None else cents_half_up(drum_grams * drum_net_per_gram)
        ),
    )


def _ratio(lines: Sequence[TriedLine]) -> Decimal:
    """Return the tried prices over today's, weighted by what was sold."""
    now = sum((line.pieces * line.prices.now for line in lines), Fraction(0))
    tried = sum((line.pieces * line.prices.tried for line in lines), Fraction(0))
    return to_decimal(tried / now) if now else Decimal(1)


def to_decimal(number: Fraction) -> Decimal:
    """Return a fraction with more digits than any figure here is shown with."""
    with localcontext(prec=DIGITS):
        return Decimal(number.numerator) / number.denominator


def _tenth(number: Fraction) -> Decimal:
    return to_decimal(number).quantize(Decimal("0.1"), ROUND_HALF_UP)
