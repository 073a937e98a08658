"""What a quote comes to if it is accepted now, with its drums at their weight of now."""

from dataclasses import dataclass

from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.lines import amount_at


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
    """Return the lines of a quote as they would be ordered now; a query or two for each drum."""
    found = []
    for line in order.lines.all():
        quantity = line.quantity_now()
        is_same = quantity == line.quantity
        found.append(
            LineNow(line, quantity, line.amount_cents if is_same else amount_at(line, quantity))
        )
    return found
