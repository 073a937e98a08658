"""A plan: whole pieces and drums, what follows from them, and which limits they would break."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from apiary_sales.planning.programme.problem import Figure, Programme


@dataclass(frozen=True)
class Plan:
    """Whole pieces and drums, with all that follows from them, in exact figures.

    `pieces` is keyed by vessel and product, `drums` (bulk units) by vessel, `sold` by buyer. What
    is not in them is zero. `whole` are the vessels that are sold unopened.
    """

    programme: Programme
    pieces: Mapping[tuple[str, str], int] = field(default_factory=dict)
    drums: Mapping[str, int] = field(default_factory=dict)
    sold: Mapping[str, int] = field(default_factory=dict)
    whole: frozenset[str] = frozenset()

    @property
    def pieces_by_product(self) -> dict[str, int]:
        return {
            product.key: sum(n for (_honey, key), n in self.pieces.items() if key == product.key)
            for product in self.programme.products
        }

    @property
    def grams_used(self) -> dict[str, Figure]:
        """Grams that leave each vessel, in jars and in drums."""
        products = self.programme.product_of
        used: dict[str, Figure] = {
            honey.key: self.drums.get(honey.key, 0) * (honey.bulk_grams or 0)
            + (honey.grams if honey.key in self.whole else 0)
            for honey in self.programme.honeys
        }
        for (honey_key, product_key), count in self.pieces.items():
            used[honey_key] += count * products[product_key].grams_each
        return used

    @property
    def minutes_used(self) -> Figure:
        products = self.programme.product_of
        filling = sum(
            n * products[product].minutes_each for (_honey, product), n in self.pieces.items()
        )
        return filling + len(self.pieces) * self.programme.minutes_per_run

    @property
    def parts_used(self) -> dict[str, int]:
        products = self.programme.product_of
        used = {part.key: 0 for part in self.programme.parts}
        for (_honey, product), count in self.pieces.items():
            for need in products[product].needs:
                used[need.part] += need.of(count)
        return used

    @property
    def parts_bought(self) -> dict[str, int]:
        used = self.parts_used
        return {part.key: max(0, used[part.key] - part.stock) for part in self.programme.parts}

    @property
    def labour_cents(self) -> Fraction:
        return Fraction(self.minutes_used * self.programme.cents_per_minute)

    @property
    def set_up_cents(self) -> Fraction:
        """What setting up its runs costs beside the work."""
        return Fraction(len(self.pieces) * self.programme.cents_per_run)

    @property
    def cents(self) -> Fraction:
        """What the plan earns, exact: jars and drums sold, less parts, labour and set-up."""
        earned = Fraction(0)
        for buyer in self.programme.buyers:
            earned += self.sold.get(buyer.key, 0) * buyer.cents_each
        for honey in self.programme.honeys:
            earned += self.drums.get(honey.key, 0) * honey.bulk_cents
            if honey.key in self.whole:
                earned += honey.whole_cents or 0
        used, bought = self.parts_used, self.parts_bought
        for part in self.programme.parts:
            earned -= (used[part.key] - bought[part.key]) * part.stock_cents
            earned -= bought[part.key] * part.order_cents
        return earned - self.labour_cents - self.set_up_cents

    def faults(self) -> Iterator[str]:
        """Name every limit the plan breaks, checked in exact figures."""
        counts: list[tuple[object, int]] = [
            *self.pieces.items(),
            *self.drums.items(),
            *self.sold.items(),
        ]
        for counted, count in counts:
            if not isinstance(count, int) or count <= 0:
                yield f"{counted} is {count!r}, not a whole number above zero"
        used = self.grams_used
        for honey in self.programme.honeys:
            if used[honey.key] > honey.grams:
                yield f"{honey.key} gives {used[honey.key]} g of {honey.grams} g"
            if self.drums.get(honey.key) and honey.bulk_grams is None:
                yield f"nobody bids for {honey.key} in bulk"
            if honey.key in self.whole and honey.whole_cents is None:
                yield f"{honey.key} is not sold as it stands"
            for product_key in honey.never_in:
                if (honey.key, product_key) in self.pieces:
                    yield f"{product_key} is not filled from {honey.key}"
        for (honey_key, product_key), count in self.pieces.items():
            if count < self.programme.least_pieces:
                yield f"{count} {product_key} from {honey_key} are too few for a run"
        if self.minutes_used > self.programme.minutes:
            yield f"the work takes {self.minutes_used} of {self.programme.minutes} minutes"
        bought = self.parts_bought
        for part in self.programme.parts:
            if bought[part.key] > part.order_max:
                yield f"{bought[part.key]} {part.key} to buy, {part.order_max} to be had"
        filled = self.pieces_by_product
        for product in self.programme.products:
            sold = sum(
                self.sold.get(b.key, 0) for b in self.programme.buyers if b.product == product.key
            )
            if sold != filled[product.key]:
                yield f"{filled[product.key]} {product.key} filled, {sold} sold"
        for buyer in self.programme.buyers:
            if buyer.pieces_max is not None and self.sold.get(buyer.key, 0) > buyer.pieces_max:
                yield f"{buyer.key} takes {buyer.pieces_max}, not {self.sold[buyer.key]}"


def all_in_drums(programme: Programme) -> Plan:
    """Return the plan that fills no jars: as many drums of every vessel as it holds."""
    whole = {
        honey.key
        for honey in programme.honeys
        if honey.whole_cents and honey.whole_cents >= honey.bulk_max * honey.bulk_cents
    }
    drums = {
        honey.key: honey.bulk_max
        for honey in programme.honeys
        if honey.key not in whole and honey.bulk_max and honey.bulk_cents > 0
    }
    return Plan(programme, {}, drums, {}, frozenset(whole))
