"""What paying bills and paying expenses have in common: the account that money leaves."""

from django.utils.translation import gettext as _

from apiary_sales.billing.models import PaidBy
from apiary_sales.billing.services.book import Account
from inventory.shared import words
from inventory.shared.errors import Problems

# More than a million in one entry is a slip of the finger in a honey house.
AMOUNT_CENTS_MAX = 100_000_000

# A check that the house writes, and its own card, are taken off its bank account: the accounts of
# checks and cards hold what was received and is not in the bank yet.
_ACCOUNTS = {
    PaidBy.CASH: Account.CASH,
    PaidBy.CHECK: Account.TRANSFER,
    PaidBy.CARD: Account.TRANSFER,
    PaidBy.TRANSFER: Account.TRANSFER,
    PaidBy.OWNER: Account.OWNER,
}


def account_of(paid_by: str) -> Account:
    """Return the account that money leaves when it is paid in this way."""
    return _ACCOUNTS[PaidBy(paid_by)]


def check_amount(problems: Problems, parameter: str, amount_cents: int) -> None:
    if amount_cents <= 0:
        problems.add(parameter, _("Enter an amount above zero."))
    elif amount_cents > AMOUNT_CENTS_MAX:
        problems.add(
            parameter,
            _("%(amount)s is too much for one payment. Check the figure.")
            % {"amount": words.money(amount_cents)},
        )


def check_tax(problems: Problems, parameter: str, tax_cents: int, amount_cents: int) -> None:
    if tax_cents < 0 or (tax_cents and tax_cents >= amount_cents):
        problems.add(parameter, _("The tax is a part of the amount, so it must be less than it."))


def check_paid_by(problems: Problems, paid_by: str) -> None:
    if paid_by not in PaidBy.values:
        problems.add("paid_by", _("Choose how it was paid."))
