"""What of the books still needs a customer's personal data. The books themselves are kept."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, CustomerBalance
from inventory.shared import words


def still_needed(customer: Customer) -> Iterator[str]:
    """Say what is still owed, by either side."""
    owed_cents = CustomerBalance.objects.owed_cents(customer)
    if owed_cents > 0:
        yield _("%(amount)s is still owed.") % {"amount": words.money(owed_cents)}
    elif owed_cents < 0:
        yield _("%(amount)s on account is to be given back first.") % {
            "amount": words.money(-owed_cents)
        }
