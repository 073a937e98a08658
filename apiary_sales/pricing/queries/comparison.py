"""Drum or jar: what a pound of the same honey brings back either way."""

from dataclasses import dataclass
from decimal import Decimal

from apiary_sales.pricing.rules.costs import (
    Book,
    DrumNetBack,
    FilledCost,
    HoneyCost,
    JarNetBack,
)

SORTS = ("per_pound", "product", "channel", "price", "break_even", "difference")


@dataclass(frozen=True)
class Rung:
    """One product in one channel, beside the drum."""

    net_back: JarNetBack
    drum: DrumNetBack | None

    @property
    def difference_cents(self) -> int | None:
        """How much more a pound brings than in the drum, as the difference of the rounded figures.

        Negative when the drum pays better.
        """
        if self.net_back.per_pound_cents is None or self.drum is None:
            return None
        return self.net_back.per_pound_cents - self.drum.per_pound_cents

    @property
    def break_even(self) -> Decimal | None:
        """The least price of a piece that still beats the drum."""
        return self.net_back.break_even_price(None if self.drum is None else self.drum.per_pound)

    @property
    def beats_the_drum(self) -> bool:
        if self.net_back.per_pound is None or self.drum is None:
            return False
        return self.net_back.per_pound > self.drum.per_pound


@dataclass(frozen=True)
class Comparison:
    """Every product and channel from worst to best, beside the drum."""

    rungs: tuple[Rung, ...]
    drum: DrumNetBack | None
    stop_price: Decimal | None
    costs: tuple[FilledCost, ...]

    @property
    def known(self) -> tuple[Rung, ...]:
        return tuple(rung for rung in self.rungs if rung.net_back.per_pound is not None)

    @property
    def best(self) -> JarNetBack | None:
        return self.known[-1].net_back if self.known else None

    @property
    def better_than_drum(self) -> int:
        return sum(rung.beats_the_drum for rung in self.rungs)

    def sorted_by(self, name: str, *, downward: bool) -> list[Rung]:
        """Return the rungs by one column, then by product; those without a figure come last."""
        key = _SORT_KEYS[name]
        by_product = sorted(self.rungs, key=_SORT_KEYS["product"])
        with_figure = [rung for rung in by_product if key(rung) is not None]
        without = [rung for rung in by_product if key(rung) is None]
        return sorted(with_figure, key=key, reverse=downward) + without


def compare(*, book: Book, honey: HoneyCost, drum_price: Decimal | None) -> Comparison:
    """Set every product and channel of a book beside a drum at this price a pound.

    `stop_price` is the lowest drum price at which no jar brings more. It is None if no jar has
    all its figures entered.
    """
    drum = None if drum_price is None else book.drum_net_back(drum_price)
    best = book.best_net_back()
    stop_price = None
    if best is not None and best.per_pound is not None:
        stop_price = book.drum_net_back(drum_price or Decimal(0)).price_that_brings(best.per_pound)
    return Comparison(
        rungs=tuple(Rung(net_back, drum) for net_back in book.net_backs()),
        drum=drum,
        stop_price=stop_price,
        costs=tuple(book.filled_cost(product, honey) for product in book.products),
    )


_SORT_KEYS = {
    "per_pound": lambda rung: rung.net_back.per_pound,
    "product": lambda rung: rung.net_back.product.declared_grams,
    "channel": lambda rung: rung.net_back.channel_label,
    "price": lambda rung: rung.net_back.price,
    "break_even": lambda rung: rung.break_even,
    "difference": lambda rung: rung.difference_cents,
}
