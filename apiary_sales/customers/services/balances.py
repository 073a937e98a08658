"""What each customer owes. The book of money calls this with each entry; nobody else does."""

from apiary_sales.customers.models import Customer, CustomerBalance


def lock(customer: Customer) -> CustomerBalance:
    """Lock what a customer owes until the transaction ends, and return it as it is now."""
    CustomerBalance.objects.get_or_create(customer=customer)
    return CustomerBalance.objects.select_for_update(no_key=True).get(customer=customer)


def add(customer: Customer, cents: int) -> None:
    """Add to what a customer owes; cents below zero take it off. Call within a transaction."""
    balance = lock(customer)
    balance.owed_cents += cents
    balance.save(update_fields=["owed_cents"])
