"""What of goods handed over comes back, and what of it may."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.orders.rules.lines import vessel_of
from inventory.shared import words
from inventory.shared.errors import Problems
from inventory.shared.money import share_cents
from inventory.stock.models import Place


@dataclass(frozen=True)
class GoodsBack:
    """So much of goods handed over came back: pieces, or grams of what is kept by weight.

    Fit goods go to `place`: a shelf, stand or van, or a vessel for honey. Without it, honey goes
    into the drum it left in. What is not fit is never sold again: pieces are kept apart until
    somebody decides, honey and goods by weight are booked out as spoiled.
    """

    goods: FulfilmentLine
    quantity: int
    place: Place | None = None
    is_fit: bool = True

    @property
    def line(self) -> OrderLine:
        return self.goods.order_line

    @property
    def target(self) -> Place | None:
        """The place the goods go to: the one that was named, or the drum honey left in."""
        if self.place is None and self.line.kind == OrderLine.Kind.HONEY:
            return vessel_of(self.line)
        return self.place


def still_out(goods: FulfilmentLine) -> int:
    """Return what of goods handed over has not come back."""
    return 0 if goods.fulfilment.is_taken_back else goods.quantity - goods.returned


def costs_of_returns(cost_cents: int, quantity: int, returned: Sequence[int]) -> list[int]:
    """Share what goods had cost out over what came back of them, one return after the other.

    >>> costs_of_returns(1000, 3, [1, 1, 1])
    [333, 334, 333]
    """
    given, running, found = 0, 0, []
    for back in returned:
        running += back
        upto = share_cents(cost_cents, running, quantity)
        found.append(upto - given)
        given = upto
    return found


def check(problems: Problems, parameter: str, back: GoodsBack) -> None:
    """Collect what is wrong with goods that are said to have come back, whatever is in stock."""
    if not back.line.is_stocked or back.goods.lot is None:
        problems.add(
            f"{parameter}.quantity",
            _("%(what)s is no goods that could come back.") % {"what": back.line.description},
        )
        return
    there = still_out(back.goods)
    is_weighed = back.goods.lot.is_weighed
    if not 1 <= back.quantity <= there:
        figures = (back.quantity, there)
        asked, out = words.weights_apart(*figures) if is_weighed else map(words.pieces, figures)
        problems.add(
            f"{parameter}.quantity",
            _(
                "%(asked)s of %(what)s can't have come back: %(out)s of it are with the buyer. "
                "Enter no more than that."
            )
            % {"asked": asked, "out": out, "what": back.line.description},
        )
    if not back.is_fit and is_weighed:
        return
    kinds = Place.VESSELS if back.line.kind == OrderLine.Kind.HONEY else Place.FOR_GOODS
    if back.target is None or back.target.kind not in kinds:
        problems.add(
            f"{parameter}.place",
            (
                _("Choose the drum or tank into which %(what)s was put.")
                if back.line.kind == OrderLine.Kind.HONEY
                else _("Choose the shelf, stand or van to which %(what)s came back.")
            )
            % {"what": back.line.description},
        )
