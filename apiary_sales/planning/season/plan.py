"""A season plan as it was found: what to do in each month, and what more of each thing is worth.

Months hold the mean over the cases of demand that the plan reckons with; what is done in month 0
is the same in all of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass

Months = tuple[float, ...]


@dataclass(frozen=True)
class SeasonPlan:
    """What to bottle, sell, buy and keep, by key and month.

    `bottled` is by pool and product, `sold` by outlet, `drums` and `bulk` (at the end of the
    month) by pool, `on_hand` by product, `bought` by part. `too_much` are grams without room.

    `honey_cents` is what one more gram of a pool is worth now; `minute_cents`, `room_cents` and
    `drum_cents` what a minute of work, room for a gram and a gram more that drum buyers take are
    worth in each month; `part_cents` what one more of a part that is there now is worth.
    """

    value_cents: float
    bottled: Mapping[tuple[str, str], Months]
    sold: Mapping[str, Months]
    drums: Mapping[str, Months]
    bulk: Mapping[str, Months]
    on_hand: Mapping[str, Months]
    bought: Mapping[str, Months]
    too_much: Months
    honey_cents: Mapping[str, float]
    minute_cents: Months
    room_cents: Months
    drum_cents: Months
    part_cents: Mapping[str, float]
    cases: int

    def bottled_of(self, product: str) -> Months:
        """Return the pieces of a product filled in each month, from all pools."""
        rows = [row for (_pool, key), row in self.bottled.items() if key == product]
        return tuple(sum(column) for column in zip(*rows, strict=True)) if rows else ()

    @property
    def drums_by_month(self) -> Months:
        return _sums(self.drums)

    @property
    def bulk_by_month(self) -> Months:
        return _sums(self.bulk)


def _sums(rows: Mapping[str, Months]) -> Months:
    return tuple(sum(column) for column in zip(*rows.values(), strict=True))
