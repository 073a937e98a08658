"""What a bottling run costs: its honey, its parts, its labour, and all of them together."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from inventory.bottling.rules.forms_of_honey import Addition
from inventory.bottling.rules.parts import PartNeed
from inventory.shared.money import share_cents
from inventory.stock import rules as stock_rules
from inventory.stock.costing import HeapAtAverage
from inventory.stock.models import Lot


def honey_cents(lot: Lot, grams: Decimal) -> int | None:
    """Return what so many grams of a lot cost, to the cent; None while its cost is unknown."""
    if grams == int(grams):
        return stock_rules.cost_cents([(lot, int(grams))])
    return None if lot.unit_cost_cents is None else round(lot.unit_cost_cents * Fraction(grams))


def drawn_cents(lot: Lot, drawn_grams: int, addition: Addition | None) -> int | None:
    """Return what the honey of a run cost, with the seed or the comb that went in beside it."""
    taken = [(lot, drawn_grams)]
    if addition:
        taken.append((addition.lot, addition.quantity))
    return stock_rules.cost_cents(taken)


def parts_cents(needs: Sequence[PartNeed], heaps: Mapping[int, HeapAtAverage]) -> int | None:
    """Return what the parts of a run cost, taken out of what is there of each, by part.

    None while the cost of any part is unknown; 0 for a size without parts.
    """
    total = 0
    for need in needs:
        cents = heaps[need.part.pk].copy().issue(need.needed)
        if cents is None:
            return None
        total += cents
    return total


def labour_cents(minutes: int | None, *, cents_per_hour: int) -> int | None:
    """Return what so many minutes of work cost at the house's rate; None when not entered."""
    return None if minutes is None else share_cents(cents_per_hour, minutes, 60)


def run_cents(
    *, honey_cents: int | None, parts_cents: int | None, labour_cents: int | None
) -> int | None:
    """Return what the jars of a run cost in all; None while its honey or a part has no cost.

    Labour that was not entered is left out: a cost of honey and parts is worth having where nobody
    looks at the clock. Whoever shows such a cost says that labour is not in it.
    """
    if honey_cents is None or parts_cents is None:
        return None
    return honey_cents + parts_cents + (labour_cents or 0)
