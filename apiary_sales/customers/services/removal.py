"""Remove a customer that was entered by mistake and never used."""

from django.db import transaction

from apiary_sales.customers.models import Customer
from inventory.shared.services.removals import remove_unused


@transaction.atomic
def remove(*, customer: Customer) -> None:
    """Remove a customer; raises `CannotReverse` where anything in the books names it."""
    remove_unused(customer)
