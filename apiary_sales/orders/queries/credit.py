"""What a customer owes and has ordered, weighed against what they may owe."""

from dataclasses import dataclass

from django.db.models import Sum
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, CustomerBalance
from apiary_sales.orders.models import FulfilmentLine
from apiary_sales.orders.queries import orders
from inventory.shared import words


@dataclass(frozen=True)
class Credit:
    """A customer's credit, in cents.

    `owed_cents` is what is billed and not paid, tax included; below nothing, money is on account.
    `ordered_cents` is what is to fill or handed over, and on no invoice yet, before tax.
    """

    customer: Customer
    owed_cents: int
    ordered_cents: int

    def warning(self, asked_cents: int) -> str:
        """Say how an order of so much goes beyond the limit; say nothing within it."""
        limit_cents = self.customer.credit_limit_cents
        sum_cents = self.owed_cents + self.ordered_cents + asked_cents
        if limit_cents is None or sum_cents <= limit_cents:
            return ""
        if self.owed_cents < 0:
            sentence = _(
                "%(customer)s has a limit of %(limit)s: %(ordered)s ordered and not invoiced yet "
                "and %(asked)s for this one, less %(owed)s on account, come to %(sum)s. "
                "Tick to take it anyway."
            )
        else:
            sentence = _(
                "%(customer)s has a limit of %(limit)s: %(owed)s owed, %(ordered)s ordered and "
                "not invoiced yet, and %(asked)s for this one come to %(sum)s. "
                "Tick to take it anyway."
            )
        return sentence % {
            "customer": self.customer.name,
            "limit": words.money(limit_cents),
            "owed": words.money(abs(self.owed_cents)),
            "ordered": words.money(self.ordered_cents),
            "asked": words.money(asked_cents),
            "sum": words.money(sum_cents),
        }


def of(customer: Customer) -> Credit:
    """Return what a customer owes and has ordered now, in four queries."""
    balance = CustomerBalance.objects.filter(customer=customer).first()
    # Bills are written a layer above, and found here only by the name of their relation.
    handed_over = FulfilmentLine.objects.filter(
        fulfilment__order__customer=customer,
        fulfilment__is_taken_back=False,
        invoice_lines__isnull=True,
    ).aggregate(cents=Sum("amount_cents"))["cents"]
    return Credit(
        customer,
        owed_cents=balance.owed_cents if balance else 0,
        ordered_cents=orders.open_cents(customer) + (handed_over or 0),
    )
