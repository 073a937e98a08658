"""What was weighed out for an order takes the place of what was ordered, where it is close."""

from collections.abc import Iterable, Mapping, Sequence

from django.utils.translation import gettext as _

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules import weighing
from apiary_sales.orders.rules.lines import (
    gross_cents,
    is_weighed_out,
)
from apiary_sales.orders.rules.weighing import Weighed
from inventory.shared.errors import Problems


def settle(lines: Sequence[OrderLine], weighed: Mapping[int, Weighed]) -> dict[int, int]:
    """Return the grams to hand over by the key of their line.

    A line whose weight counts as all that is left is changed to what was handed over of it in all,
    at the agreed price a pound. Raises `BadValue` at `weighed.<key>`.
    """
    problems, grams = Problems(), {}
    known = {line.pk: line for line in lines}
    for key, how in weighed.items():
        name, line = f"weighed.{key}", known.get(key)
        if line is None or not is_weighed_out(line):
            problems.add(name, _("That line is not sold by weight. Open the order again."))
            continue
        if not weighing.check(problems, name, how):
            continue
        if weighing.is_all_of(how.net_grams, line.to_fill):
            fill_with(line, how.net_grams)
        elif how.net_grams > line.to_fill:
            problems.add(name, weighing.too_much(line, how.net_grams))
        grams[key] = how.net_grams
    problems.raise_any()
    return grams


def fill_with(line: OrderLine, net_grams: int) -> None:
    """Let a line be of so many grams beyond what is filled, at its price a pound."""
    quantity = line.filled + net_grams
    if quantity == line.quantity:
        return
    whole_cents = gross_cents(line.kind, quantity, line.unit_price)
    if line.ordered is None:
        line.ordered = line.quantity
    line.quantity = quantity
    line.discount_cents = min(line.discount_cents, whole_cents)
    line.rounding_cents = 0
    line.amount_cents = whole_cents - line.discount_cents
    line.save(
        update_fields=["ordered", "quantity", "discount_cents", "rounding_cents", "amount_cents"]
    )


def follow_scale(lines: Iterable[OrderLine]) -> None:
    """Let the drums of a quote be of what they weigh now, where they were only weighed again."""
    for line in lines:
        fill_with(line, line.quantity_now())
