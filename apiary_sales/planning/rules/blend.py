"""A blend for a buyer: what the books give, what was asked, and the programme they make."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_FLOOR, Decimal
from enum import StrEnum
from fractions import Fraction
from functools import cached_property

from django.db.models import TextChoices
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning.blending import BlendProblem, BlendSource, Span
from inventory.shared.money import FOUR_PLACES
from inventory.shared.weights import unit_grams
from inventory.stock import density
from inventory.stock.blends import BlendLimits
from inventory.stock.models import Lot, Place

COLOUR_PER_MM = 10
MOISTURE_PER_PERCENT = 100
# A Pfund grader is read to about a millimetre, a refractometer to about a tenth of a percent
# (common practice): limits nearer to each other ask for more than anybody can measure.
COLOUR_MM_APART = Decimal(1)
MOISTURE_PERCENT_APART = Decimal("0.1")
# Kinds that are used whole where whole drums are asked for: nobody empties a tank for a blend.
USED_WHOLE = (Place.Kind.DRUM, Place.Kind.PAIL)


class ValueFrom(TextChoices):
    """Where the value of a honey comes from."""

    COST = "cost", _("cost")
    DRUM_PRICE = "drum_price", _("drum price")
    TYPED = "typed", _("entered here")
    UNKNOWN = "unknown", _("not known")


class Use(TextChoices):
    """What a person says about one vessel."""

    MAY = "may", _("may be used")
    ALL = "all", _("use all of it")
    NOT = "not", _("keep out")


class LeftOutBecause(StrEnum):
    """Why honey that is in a vessel can't be part of a blend."""

    ON_HOLD = "on_hold"
    OF_ANOTHER = "of_another"
    PROMISED = "promised"
    TARGET = "target"
    KEPT_OUT = "kept_out"
    NO_COLOUR = "no_colour"
    NO_VALUE = "no_value"
    NOT_WHOLE = "not_whole"
    LOT_UNKNOWN = "lot_unknown"


@dataclass(frozen=True)
class BlendVessel:
    """Free honey of the house in one vessel, and what a pound of it is worth.

    `set_aside_grams` are wanted by planned runs and other blend plans, `reserved_grams` by orders.
    """

    place: Place
    lot: Lot
    grams: int
    reserved_grams: int
    set_aside_grams: int
    cents_per_gram: Fraction | None
    value_from: ValueFrom

    @property
    def key(self) -> str:
        return str(self.place.pk)

    @property
    def free_grams(self) -> int:
        return max(0, self.grams - self.reserved_grams - self.set_aside_grams)

    @property
    def is_whole(self) -> bool:
        """Whether nobody has a claim on any of it."""
        return self.free_grams == self.grams

    @property
    def per_pound(self) -> Decimal | None:
        """What a pound is worth, with four places; None where that is not known."""
        return None if self.cents_per_gram is None else per_pound(self.cents_per_gram)


@dataclass(frozen=True)
class LeftOut:
    """Honey that is not used, and why."""

    place: Place
    lot: Lot
    because: LeftOutBecause


@dataclass(frozen=True)
class BlendBooks:
    """What the books give to a blend, as they are now."""

    vessels: tuple[BlendVessel, ...]
    never: tuple[LeftOut, ...]
    planned_runs: int
    drafts: int
    moisture_limit_percent: Decimal

    def vessel_at(self, place: Place) -> BlendVessel | None:
        return next((vessel for vessel in self.vessels if vessel.place == place), None)


@dataclass(frozen=True)
class BlendWish:
    """What was asked: the limits, how to draw, and what is said of single vessels, by their key."""

    limits: BlendLimits
    target: Place | None = None
    drums_whole: bool = False
    vessels_max: int | None = None
    least_each_grams: int = 1
    uses: Mapping[str, Use] = field(default_factory=dict)
    least: Mapping[str, int] = field(default_factory=dict)
    # Cents a gram, instead of what the books say.
    values: Mapping[str, Fraction] = field(default_factory=dict)


@dataclass(frozen=True)
class BlendQuestion:
    """A wish beside the books: the programme it makes, and the honey that it leaves out."""

    books: BlendBooks
    wish: BlendWish

    @cached_property
    def in_target(self) -> BlendVessel | None:
        """The honey that is in the target already, all of which is part of the blend."""
        return self.books.vessel_at(self.wish.target) if self.wish.target else None

    @cached_property
    def chosen(self) -> list[BlendVessel]:
        return [vessel for vessel in self.books.vessels if self._left_out_because(vessel) is None]

    @cached_property
    def left_out(self) -> list[LeftOut]:
        """Name all honey that is left out, but for what a person kept out."""
        found = list(self.books.never)
        for vessel in self.books.vessels:
            because = self._left_out_because(vessel)
            if because not in (None, LeftOutBecause.TARGET, LeftOutBecause.KEPT_OUT):
                found.append(LeftOut(vessel.place, vessel.lot, because))
        return found

    @cached_property
    def room_grams(self) -> int | None:
        """How much honey goes into the target, at the wettest that the blend may be."""
        target = self.wish.target
        if target is None or target.capacity_litres is None:
            return None
        moistures = [vessel.lot.honey_moisture for vessel in self.chosen]
        if self.in_target:
            moistures.append(self.in_target.lot.honey_moisture)
        if not moistures:
            return None
        wettest = max(moistures)
        if self.wish.limits.moisture_percent_max is not None:
            wettest = min(wettest, self.wish.limits.moisture_percent_max)
        litres = density.litres_of(1_000_000, moisture_percent=wettest)
        grams = target.capacity_litres / litres * 1_000_000
        return int(grams.to_integral_value(ROUND_FLOOR))

    @property
    def grams_max(self) -> int | None:
        """The most that the blend may weigh: what was asked, or what goes into the target."""
        ends = [end for end in (self.wish.limits.grams_max, self.room_grams) if end is not None]
        return min(ends, default=None)

    @property
    def programme(self) -> BlendProblem:
        limits = self.wish.limits
        return BlendProblem(
            sources=tuple(self._source(vessel) for vessel in self.chosen),
            grams=Span(limits.grams_min, self.grams_max),
            colour=_span(limits.colour_mm_min, limits.colour_mm_max, COLOUR_PER_MM),
            moisture=_span(
                limits.moisture_percent_min, limits.moisture_percent_max, MOISTURE_PER_PERCENT
            ),
            vessels_max=self.wish.vessels_max,
            least_each=self.wish.least_each_grams,
            there=self._there(),
        )

    def value_of(self, vessel: BlendVessel) -> tuple[Fraction | None, ValueFrom]:
        """Return what a gram of it is worth in cents, and where that comes from."""
        if (typed := self.wish.values.get(vessel.key)) is not None:
            return typed, ValueFrom.TYPED
        return vessel.cents_per_gram, vessel.value_from

    def _left_out_because(self, vessel: BlendVessel) -> LeftOutBecause | None:
        wish = self.wish
        if wish.target == vessel.place:
            return LeftOutBecause.TARGET
        if wish.uses.get(vessel.key) == Use.NOT:
            return LeftOutBecause.KEPT_OUT
        if not vessel.free_grams:
            return LeftOutBecause.PROMISED
        if wish.limits.has_colour and vessel.lot.colour_mm is None:
            return LeftOutBecause.NO_COLOUR
        if self.value_of(vessel)[0] is None:
            return LeftOutBecause.NO_VALUE
        if self._is_used_whole(vessel) and not vessel.is_whole:
            return LeftOutBecause.NOT_WHOLE
        return None

    def _is_used_whole(self, vessel: BlendVessel) -> bool:
        return self.wish.drums_whole and vessel.place.kind in USED_WHOLE

    def _source(self, vessel: BlendVessel) -> BlendSource:
        uses_all = self.wish.uses.get(vessel.key) == Use.ALL
        least = vessel.free_grams if uses_all else self.wish.least.get(vessel.key, 0)
        is_whole = self._is_used_whole(vessel)
        return BlendSource(
            key=vessel.key,
            grams=vessel.free_grams,
            cents_per_gram=self.value_of(vessel)[0] or Fraction(0),
            moisture=_steps(vessel.lot.honey_moisture, MOISTURE_PER_PERCENT),
            colour=self._colour(vessel),
            least=vessel.grams if is_whole and least else least,
            is_whole=is_whole,
        )

    def _there(self) -> BlendSource | None:
        there = self.in_target
        if there is None:
            return None
        return BlendSource(
            key=there.key,
            grams=there.grams,
            cents_per_gram=Fraction(0),
            moisture=_steps(there.lot.honey_moisture, MOISTURE_PER_PERCENT),
            colour=self._colour(there),
        )

    def _colour(self, vessel: BlendVessel) -> int | None:
        colour = vessel.lot.colour_mm
        return None if colour is None else _steps(colour, COLOUR_PER_MM)


def per_pound(cents_per_gram: Fraction) -> Decimal:
    """Return what a pound is worth in whole currency, with four places."""
    cents = cents_per_gram * Fraction(unit_grams())
    return (Decimal(cents.numerator) / cents.denominator / 100).quantize(FOUR_PLACES)


def cents_per_gram(per_pound: Decimal) -> Fraction:
    """Return a price of a pound as cents a gram, exact."""
    return Fraction(per_pound) * 100 / Fraction(unit_grams())


def limit_problems(limits: BlendLimits) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with limits: the one that is wrong, and a sentence."""
    if limits.grams_max is not None and limits.grams_max < limits.grams_min:
        yield "grams_max", gettext("“At most” is less than “at least”. Check the figures.")
    pairs = (
        (
            "colour_mm_max",
            limits.colour_mm_min,
            limits.colour_mm_max,
            COLOUR_MM_APART,
            gettext(
                "Leave at least 1 mm between the lightest and the darkest colour: no grader is "
                "read more finely."
            ),
        ),
        (
            "moisture_percent_max",
            limits.moisture_percent_min,
            limits.moisture_percent_max,
            MOISTURE_PERCENT_APART,
            gettext(
                "Leave at least 0.1 % between the least and the most moisture: no refractometer is "
                "read more finely."
            ),
        ),
    )
    for name, low, high, apart, too_near in pairs:
        if low is None or high is None:
            continue
        if high < low:
            yield name, gettext("“At most” is less than “at least”. Check the figures.")
        elif high - low < apart:
            yield name, too_near


def _span(low: Decimal | None, high: Decimal | None, per: int) -> Span:
    return Span(
        None if low is None else _steps(low, per), None if high is None else _steps(high, per)
    )


def _steps(figure: Decimal, per: int) -> int:
    """Return a figure as whole steps; it has no more decimals than there are steps."""
    return int(figure * per)
