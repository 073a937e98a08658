"""The day on which the books begin, and what was paid before it."""

from datetime import date

from django.db.models import Min, QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Adjustment, Invoice, OpeningAmount, Payment
from inventory.shared.errors import Problems


def check_paid_since(problems: Problems, parameter: str, day: date, account: str) -> None:
    """Refuse a payment into an account of money from before the books begin.

    It is in what was there and what was owed on that day, so that it would count twice.
    """
    begins_on = first_day(account)
    if begins_on is not None and day < begins_on:
        problems.add(
            parameter,
            _(
                "The books begin on %(day)s. What was paid before that day is in the opening "
                "amounts already: enter there only what was left to pay, and not this payment."
            )
            % {"day": date_format(begins_on)},
        )


def first_day(account: str) -> date | None:
    """Return the day on which an account of money begins; None in a house without opening rows.

    Without an opening amount of its own it begins with the first of what was entered as opening.
    """
    amounts = OpeningAmount.objects.filter(undone_on=None)
    if own := amounts.filter(account=account).first():
        return own.begins_on
    credits = Payment.objects.opening_credits().filter(reversed_by=None)
    days = [
        amounts.aggregate(day=Min("begins_on"))["day"],
        opening_invoices().aggregate(day=Min("entry__happened_on"))["day"],
        credits.aggregate(day=Min("received_on"))["day"],
    ]
    return min((day for day in days if day), default=None)


def opening_invoices() -> QuerySet[Invoice]:
    """Return what was left of invoices from the books before, but what was taken back."""
    taken_back = Adjustment.objects.filter(
        kind=Adjustment.Kind.OPENING, reverses=None, reversed_by=None
    )
    return Invoice.objects.of_before().exclude(pk__in=taken_back.values("invoice"))
