"""What each customer owes. The book of money calls this with each entry; nobody else does."""

from django.db.models import BigIntegerField, F, IntegerField

from apiary_sales.customers.models import Customer, CustomerBalance
from inventory.shared import acts
from inventory.shared.prepared import Given, PreparedUpdate


def lock(customer: Customer) -> None:
    """Lock what a customer owes until the transaction ends."""
    if customer.pk not in _locked():
        CustomerBalance.objects.get_or_create(customer=customer)
        CustomerBalance.objects.select_for_update(no_key=True).get(customer=customer)
        _locked().add(customer.pk)


def add(customer: Customer, cents: int) -> None:
    """Add to what a customer owes; cents below zero take it off. Call within a transaction."""
    if not _ADD.make(customer=customer.pk, cents=cents):
        CustomerBalance.objects.get_or_create(customer=customer)
        _ADD.make(customer=customer.pk, cents=cents)
    # What is changed is locked by that.
    _locked().add(customer.pk)


_ADD = PreparedUpdate(
    lambda: CustomerBalance.objects.filter(customer=Given("customer", IntegerField())),
    owed_cents=F("owed_cents") + Given("cents", BigIntegerField()),
)


def _locked() -> set[int]:
    """Return the customers whose balance this act has locked."""
    return acts.kept("balances locked", set)
