"""Who bought honey of a lot: the end of the trace from an extraction to the people who have it."""

from dataclasses import dataclass
from datetime import date
from typing import cast

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import FulfilmentLine, Order
from inventory.stock.models import Lot


@dataclass(frozen=True)
class LotBuyer:
    """So much of one lot handed over with one order; stand sales may not know their buyer."""

    customer: Customer | None
    order: Order
    lot: Lot
    description: str
    handed_over_on: date
    quantity: int

    @property
    def is_honey(self) -> bool:
        """Tell whether the quantity is grams of bulk honey, not pieces."""
        return self.lot.product_id is None


def buyers_of(lot: Lot) -> list[LotBuyer]:
    """Return who got honey of a lot or of any lot it went into, the latest first.

    Goods that were taken back are left out. In two queries, however long the trace is.
    """
    family = [lot, *lot.descendants()]
    sold = (
        FulfilmentLine.objects.not_taken_back()
        .filter(lot__in=family)
        .select_related("order_line__order__customer", "lot__product", "fulfilment")
        .order_by("-fulfilment__filled_on", "-id")
    )
    return [
        LotBuyer(
            customer=row.order_line.order.customer,
            order=row.order_line.order,
            # What is sought by its lot has one.
            lot=cast(Lot, row.lot),
            description=row.order_line.description,
            handed_over_on=row.fulfilment.filled_on,
            quantity=row.quantity,
        )
        for row in sold
    ]
