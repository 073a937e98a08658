"""What a customer owes and has ordered, against what they may owe."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from inventory.shared import words


@dataclass(frozen=True)
class Credit:
    """A customer's credit, in cents.

    `owed_cents` is what is billed and not paid, tax included; below zero, money is on account.
    `ordered_cents` is what is to fill or handed over, and on no invoice yet, before tax.
    """

    customer: Customer
    owed_cents: int
    ordered_cents: int

    def warning(self, asked_cents: int) -> str:
        """Say how an order of so much goes beyond the limit; an empty text within it."""
        limit_cents = self.customer.credit_limit_cents
        sum_cents = self.owed_cents + self.ordered_cents + asked_cents
        if limit_cents is None or sum_cents <= limit_cents:
            return ""
        if self.owed_cents < 0:
            sentence = _(
                "With this order %(customer)s would owe %(sum)s. That is over the credit "
                "limit of %(limit)s. This order: %(asked)s. Ordered before and not "
                "invoiced yet: %(ordered)s. Money on account, taken off: %(owed)s. Tick "
                "the box to take the order anyway."
            )
        else:
            sentence = _(
                "With this order %(customer)s would owe %(sum)s. That is over the credit "
                "limit of %(limit)s. This order: %(asked)s. Ordered before and not "
                "invoiced yet: %(ordered)s. Owed now: %(owed)s. Tick the box to take the "
                "order anyway."
            )
        return sentence % {
            "customer": self.customer.name,
            "limit": words.money(limit_cents),
            "owed": words.money(abs(self.owed_cents)),
            "ordered": words.money(self.ordered_cents),
            "asked": words.money(asked_cents),
            "sum": words.money(sum_cents),
        }
