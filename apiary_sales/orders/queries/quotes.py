"""What a quote comes to if it is accepted now, with its drums at their weight of now."""

from dataclasses import dataclass

from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.lines import amount_at, is_whole_drum, vessel_of
from inventory.stock.models import Balance


@dataclass(frozen=True)
class LineNow:
    """A line of a quote, and its quantity and amount if it is accepted now."""

    line: OrderLine
    quantity: int
    amount_cents: int

    @property
    def is_reweighed(self) -> bool:
        return self.quantity != self.line.quantity


def lines_now(order: Order) -> list[LineNow]:
    """Return the lines of a quote as they would be ordered now, in one query.

    A drum that has other honey in it, or none, stays as it was quoted: the act refuses it.
    """
    lines = list(order.lines.all())
    there = Balance.objects.in_vessels(vessel_of(line).pk for line in lines if is_whole_drum(line))
    found = []
    for line in lines:
        balance = there.get(line.drum_id or 0) if is_whole_drum(line) else None
        if balance is None or balance.lot_id != line.lot_id:
            found.append(LineNow(line, line.quantity, line.amount_cents))
        else:
            amount_cents = (
                line.amount_cents
                if balance.quantity == line.quantity
                else amount_at(line, balance.quantity)
            )
            found.append(LineNow(line, balance.quantity, amount_cents))
    return found
