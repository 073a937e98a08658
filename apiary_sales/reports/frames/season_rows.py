"""Sales shared out to the seasons of the honey, through every blend."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from inventory.stock.season_shares import seasons_of_lots

# What of a row is shared out; the rest of its figures follow from these.
SHARED = ("lines", "pieces", "grams", "nanograms", "amount_cents", "cost_cents")


class SeasonRows:
    """Shares sales of honey out to the seasons in their lots, by the grams of each.

    Every share is whole and never a whole one off, and the shares of a row come to the row. Which
    season gets what is left over goes by the largest remainder, with what it got too little in the
    rows of the lot before: so the rounding evens out, and a jar is not always the same season's.
    """

    def __init__(self) -> None:
        self._seasons = seasons_of_lots()
        self._owing: dict[tuple[int, str], list[Fraction]] = {}

    def blended_lots(self) -> set[int]:
        """Return the lots with honey of several seasons."""
        return {lot for lot, shares in self._seasons.items() if len(shares) > 1}

    def of(self, lot: int | None, row: dict[str, Any]) -> Iterator[dict[str, Any]]:
        """Yield a row for each season in its lot; the row itself where it is of no season."""
        if lot is None or row["season"] is None:
            yield row
            return
        shares = self._seasons[lot]
        parts = {name: self._shared(lot, name, row[name], [*shares.values()]) for name in SHARED}
        for at, season in enumerate(shares):
            yield with_what_follows(
                row | {"season": season} | {name: part[at] for name, part in parts.items()}
            )

    def _shared(
        self, lot: int, name: str, whole: int | None, shares: Sequence[Fraction]
    ) -> Sequence[int | None]:
        if whole is None:
            return [None] * len(shares)
        owing = self._owing.setdefault((lot, name), [Fraction(0)] * len(shares))
        exact = [whole * share for share in shares]
        given = [part.__floor__() for part in exact]
        left = whole - sum(given)
        due = sorted(range(len(shares)), key=lambda at: (given[at] - exact[at] - owing[at], at))
        for at in due[:left]:
            given[at] += 1
        for at, part in enumerate(exact):
            owing[at] += part - given[at]
        return given


def with_what_follows(row: dict[str, Any]) -> dict[str, Any]:
    """Return a row of sales with the figures that follow from its amount, cost and weight."""
    amount, cost = row["amount_cents"], row["cost_cents"]
    is_known = cost is not None

    def if_known(figure: int | None) -> int | None:
        return figure if is_known or figure is None else 0

    return row | {
        "honey_cents": amount if row["grams"] is not None else 0,
        "known_cents": amount if is_known else 0,
        "known_grams": if_known(row["grams"]),
        "known_goods_pieces": if_known(row["goods_pieces"]),
        "known_nanograms": if_known(row["nanograms"]),
        "no_cost_cents": 0 if is_known else amount,
        "margin_cents": amount - cost if is_known else None,
    }
