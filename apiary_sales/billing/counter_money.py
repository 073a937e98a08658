"""The money that was taken over the counter.

A receipt is paid at the stand. The invoice of an order that was fetched may be paid in part before,
or later on account, and that is no part of the takings of the place. Services and pages read it,
so it is in one place.
"""

from django.db.models import F, Q, QuerySet, Sum, Value
from django.db.models.functions import Coalesce, Concat

from apiary_sales.billing.models import Allocation, Invoice, StandSale

# What the smallest coin added in cash, or took off. What came back in part is exact here.
ROUNDED = Coalesce(
    Sum(
        "payment__rounding_cents",
        filter=Q(amount_cents__gt=0) | Q(payment__reverses__isnull=False),
    ),
    0,
)
# What changed hands.
HANDED = Sum("amount_cents") + ROUNDED


def put_to(sales: QuerySet[StandSale]) -> QuerySet[Allocation]:
    """Return what payments taken over the counter put to the bills of these sales, less what was
    undone of it."""
    # The keys of the payments of a sale begin with its own.
    begins = Concat(F("invoice__stand_sale__key"), Value(":payment"))
    at_counter = (
        Q(invoice__series__startswith=Invoice.RECEIPT_PREFIX)
        | Q(payment__idempotency_key__startswith=begins)
        | Q(payment__reverses__idempotency_key__startswith=begins)
    )
    return Allocation.objects.filter(at_counter, invoice__stand_sale__in=sales)
