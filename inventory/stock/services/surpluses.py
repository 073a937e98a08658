"""Counts that would make more of a lot than was made of it and has not left."""

from collections.abc import Sequence

from inventory.shared.errors import Problems
from inventory.stock import counting
from inventory.stock.counting import CountChange, LotSurplus
from inventory.stock.models import Balance


def found(changes: Sequence[CountChange]) -> list[LotSurplus]:
    """Return the lots of which these changes leave too much here; call with the items locked."""
    lots = {change.lot.pk for change in changes if change.lot}
    return counting.surpluses(
        changes, here=Balance.objects.here(lots), most=Balance.objects.most_here(lots)
    )


def ask_why(problems: Problems, surpluses: Sequence[LotSurplus], parameter: str) -> None:
    """Add a problem for each lot: only a reason lets it through."""
    for surplus in surpluses:
        problems.add(parameter, f"{surplus.sentence} {counting.surplus_advice()}")
