"""What a plan depends on: honey, products, buyers, parts and labour, in exact figures."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor
from types import MappingProxyType

from inventory.physics import units

Figure = int | Fraction

POUND_GRAMS = Fraction(units.POUND_GRAMS)
HOUR_MINUTES = 60


@dataclass(frozen=True)
class BulkColumn:
    """A way to sell honey in bulk: so many grams for so many cents, so many times at most.

    Where `is_whole` is false, any amount of it can be sold, so that it can't be counted.
    """

    kind: str
    grams: Figure
    cents: Figure
    most: int
    is_whole: bool = True


@dataclass(frozen=True)
class Honey:
    """The honey of one vessel, and what one bulk unit (a drum, a pound) of it weighs and earns.

    Without `bulk_grams` nobody bids for it by unit. `whole_cents` is what all of it earns as it
    stands in the vessel, for one that is sold with it. Products in `never_in` are not filled from
    it.
    """

    key: str
    grams: Figure
    bulk_grams: Figure | None = None
    bulk_cents: Figure = 0
    never_in: frozenset[str] = frozenset()
    whole_cents: Figure | None = None

    # One run of a product is from one vessel.
    runs_max = 1

    @property
    def bulk_max(self) -> int:
        return floor(self.grams / Fraction(self.bulk_grams)) if self.bulk_grams else 0

    @property
    def bulk(self) -> tuple[BulkColumn, ...]:
        found = []
        if self.bulk_grams is not None:
            found.append(BulkColumn("drums", self.bulk_grams, self.bulk_cents, self.bulk_max))
        if self.whole_cents is not None:
            found.append(BulkColumn("whole", self.grams, self.whole_cents, 1))
        return tuple(found)

    def pieces_max(self, product: "PlannedProduct") -> int:
        """Return how many pieces of a product all of the honey fills."""
        if product.key in self.never_in:
            return 0
        return floor(self.grams / Fraction(product.grams_each))

    def with_more(self, grams: Figure) -> "Honey":
        """Return the same with more honey in the vessel; sold unopened, it earns more too."""
        whole_cents = self.whole_cents
        if whole_cents is not None and self.grams:
            whole_cents = whole_cents * (self.grams + grams) / Fraction(self.grams)
        return replace(self, grams=self.grams + grams, whole_cents=whole_cents)

    def run_max(self, product: "PlannedProduct") -> int:
        """Return how many pieces of a product one run fills."""
        return self.pieces_max(product)


@dataclass(frozen=True)
class Need:
    """So many of a part for so many filled pieces of one run; a case begun is a case used."""

    part: str
    quantity: int = 1
    per_pieces: int = 1

    def of(self, pieces: int) -> int:
        return -(-pieces * self.quantity // self.per_pieces)


@dataclass(frozen=True)
class PlannedProduct:
    """What one piece takes: honey drawn (overfill and loss included), minutes, parts."""

    key: str
    grams_each: Figure
    minutes_each: Figure = 0
    needs: tuple[Need, ...] = ()


@dataclass(frozen=True)
class PlannedBuyer:
    """Somebody who takes one product: what a piece earns after selling costs, and how many at most.

    Without `pieces_max` they take all there is.
    """

    key: str
    product: str
    cents_each: Figure
    pieces_max: int | None = None


@dataclass(frozen=True)
class Part:
    """Parts in stock and parts that can be ordered, with what using one of each costs.

    What is in stock is used first, so it may not cost more than what is ordered.
    """

    key: str
    stock: int
    stock_cents: Figure = 0
    order_max: int = 0
    order_cents: Figure = 0


@dataclass(frozen=True)
class Programme:
    """Everything the plan depends on. Raises ValueError where the figures contradict each other."""

    honeys: tuple[Honey, ...]
    products: tuple[PlannedProduct, ...]
    buyers: tuple[PlannedBuyer, ...]
    parts: tuple[Part, ...] = ()
    minutes: Figure = 0
    cents_per_minute: Figure = 0
    minutes_per_run: Figure = 0
    # What setting up a run costs beside its minutes, and how many pieces make one worth it.
    cents_per_run: Figure = 0
    least_pieces: int = 0
    # Of how much more honey the plan tells the worth: a unit of weight.
    honey_step: Figure = POUND_GRAMS

    def __post_init__(self) -> None:
        kinds = (self.honeys, self.products, self.buyers, self.parts)
        for keys in ([row.key for row in rows] for rows in kinds):
            if len(set(keys)) != len(keys):
                raise ValueError(f"Keys must differ: {keys}.")
        for honey in self.honeys:
            _check(honey.grams >= 0, f"honey of {honey.key} is less than zero")
            _check(
                honey.bulk_grams is None or honey.bulk_grams > 0,
                f"a bulk unit of {honey.key} has no weight",
            )
            _check(
                min(honey.bulk_cents, honey.whole_cents or 0) >= 0,
                f"bulk honey of {honey.key} earns less than zero",
            )
        for product in self.products:
            _check(product.grams_each > 0, f"product {product.key} takes no honey")
            _check(product.minutes_each >= 0, f"product {product.key} takes less than zero minutes")
            for need in product.needs:
                _check(
                    need.part in self.part_of, f"product {product.key} needs unknown {need.part}"
                )
                _check(need.quantity > 0 and need.per_pieces > 0, f"need of {need.part} is zero")
        for buyer in self.buyers:
            _check(
                buyer.product in self.product_of, f"buyer {buyer.key} wants unknown {buyer.product}"
            )
            _check(buyer.pieces_max is None or buyer.pieces_max >= 0, f"{buyer.key} takes < 0")
        for part in self.parts:
            _check(part.stock >= 0 and part.order_max >= 0, f"part {part.key} is less than zero")
            _check(min(part.stock_cents, part.order_cents) >= 0, f"part {part.key} costs < 0")
            _check(
                part.stock_cents <= part.order_cents or not part.order_max,
                f"part {part.key} in stock costs more than one ordered",
            )
        _check(
            min(self.minutes, self.cents_per_minute, self.minutes_per_run) >= 0,
            "labour is less than zero",
        )
        _check(min(self.cents_per_run, self.least_pieces) >= 0, "a run costs less than zero")

    @property
    def run_cents(self) -> Fraction:
        """What setting up one run costs, with the work on it."""
        return Fraction(self.cents_per_run) + self.minutes_per_run * Fraction(self.cents_per_minute)

    @property
    def product_of(self) -> dict[str, PlannedProduct]:
        return {product.key: product for product in self.products}

    @property
    def part_of(self) -> dict[str, Part]:
        return {part.key: part for part in self.parts}


def _check(is_right: bool, what_is_wrong: str) -> None:
    if not is_right:
        raise ValueError(f"The figures contradict each other: {what_is_wrong}.")


@dataclass(frozen=True)
class Remainder:
    """What is left once jars that are filled already are sold.

    `buyers` take only what is still to be filled for them; `spare` jars by product nobody takes.
    """

    buyers: tuple[PlannedBuyer, ...]
    spare: Mapping[str, int]


def less_on_hand(buyers: tuple[PlannedBuyer, ...], on_hand: Mapping[str, int]) -> Remainder:
    """Take the jars that are filled already off what buyers take; those who pay most come first."""
    left = dict(on_hand)
    served: dict[str, PlannedBuyer] = {}
    for buyer in sorted(buyers, key=lambda buyer: -buyer.cents_each):
        if buyer.pieces_max is not None:
            taken = min(buyer.pieces_max, left.get(buyer.product, 0))
            left[buyer.product] = left.get(buyer.product, 0) - taken
            buyer = replace(buyer, pieces_max=buyer.pieces_max - taken)
        served[buyer.key] = buyer
    return Remainder(tuple(served[buyer.key] for buyer in buyers), MappingProxyType(left))
