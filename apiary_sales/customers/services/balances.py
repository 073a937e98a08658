"""What each customer owes. The book of money calls this with each entry; nobody else does."""

from django.db.models import F

from apiary_sales.customers.models import Customer, CustomerBalance
from inventory.shared import acts


def lock(customer: Customer) -> None:
    """Lock what a customer owes until the transaction ends."""
    if customer.pk not in _locked():
        CustomerBalance.objects.get_or_create(customer=customer)
        CustomerBalance.objects.select_for_update(no_key=True).get(customer=customer)
        _locked().add(customer.pk)


def add(customer: Customer, cents: int) -> None:
    """Add to what a customer owes; cents below zero take it off. Call within a transaction."""
    balance = CustomerBalance.objects.filter(customer=customer)
    if not balance.update(owed_cents=F("owed_cents") + cents):
        CustomerBalance.objects.get_or_create(customer=customer)
        balance.update(owed_cents=F("owed_cents") + cents)
    # What is changed is locked by that.
    _locked().add(customer.pk)


def _locked() -> set[int]:
    """Return the customers whose balance this act has locked."""
    return acts.kept("balances locked", set)
