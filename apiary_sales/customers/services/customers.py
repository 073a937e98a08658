"""Add customers and change what is known of them."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Required, TypedDict, Unpack

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from inventory.shared.checks import save_checked
from inventory.shared.errors import Problems
from inventory.stock.models import Supplier

TERMS_DAYS_MAX = 365


class CustomerDetails(TypedDict, total=False):
    """All that is known of a customer; money in whole cents."""

    name: Required[str]
    kind: str
    tier: str
    contact: str
    email: str
    phone: str
    street: str
    city: str
    region: str
    postal_code: str
    country: str
    country_code: str
    tax_number: str
    language: str
    invoice_format: str
    buyer_reference: str
    terms_days: int
    discount_percent: Decimal
    discount_days: int
    credit_limit_cents: int | None
    is_active: bool
    note: str
    supplier: Supplier | None


@transaction.atomic
def add(**details: Unpack[CustomerDetails]) -> Customer:
    """Add a customer and return it; what is not given takes the default of the model.

    Raises `BadValue` or `SeveralProblems`.
    """
    return _save(Customer(), details)


@transaction.atomic
def change(customer: Customer, **details: Unpack[CustomerDetails]) -> Customer:
    """Change what is given of a customer and return it; raises as `add`.

    Orders and invoices that are there keep the prices, terms and tax they were made with.
    """
    return _save(Customer.objects.select_for_update().get(pk=customer.pk), details)


@transaction.atomic
def set_invoice_details(
    customer: Customer,
    *,
    invoice_format: str | None = None,
    country_code: str | None = None,
    tax_number: str | None = None,
    buyer_reference: str | None = None,
    language: str | None = None,
) -> Customer:
    """Say how a customer gets invoices, and what they say of the customer; None stays as it is.

    Raises as `add`. Invoices that are there stay as they are.
    """
    given = {
        "invoice_format": invoice_format,
        "country_code": country_code,
        "tax_number": tax_number,
        "buyer_reference": buyer_reference,
        "language": language,
    }
    customer = Customer.objects.select_for_update().get(pk=customer.pk)
    return _save(customer, {name: value for name, value in given.items() if value is not None})


def _save(customer: Customer, details: Mapping[str, object]) -> Customer:
    for name, value in details.items():
        setattr(customer, name, value.strip() if isinstance(value, str) else value)
    _check(customer)
    save_checked(customer)
    return customer


def _check(customer: Customer) -> None:
    problems = Problems()
    if not customer.name:
        problems.add("name", _("Enter the name of the customer."))
    namesake = Customer.objects.filter(name__iexact=customer.name).exclude(pk=customer.pk).first()
    if namesake:
        problems.add(
            "name",
            _(
                "There is a customer called %(name)s already. "
                "Open that one, or add the town to this name."
            )
            % {"name": namesake.name},
        )
    if customer.terms_days > TERMS_DAYS_MAX:
        problems.add(
            "terms_days",
            _("%(days)s days to pay is too long. Enter %(most)s or fewer.")
            % {"days": customer.terms_days, "most": TERMS_DAYS_MAX},
        )
    if not 0 <= customer.discount_percent < 100:
        problems.add("discount_percent", _("Enter a discount from 0 to below 100 percent."))
    elif customer.discount_percent and customer.discount_days > customer.terms_days:
        problems.add(
            "discount_days",
            _(
                "The discount would be for longer than the invoice may be paid without it, "
                "%(days)s days. Enter fewer days."
            )
            % {"days": customer.terms_days},
        )
    if customer.credit_limit_cents is not None and customer.credit_limit_cents < 0:
        problems.add("credit_limit_cents", _("Enter a credit limit of 0 or more."))
    twin = Customer.objects.filter(supplier=customer.supplier).exclude(pk=customer.pk).first()
    if customer.supplier and twin:
        problems.add(
            "supplier",
            _("%(supplier)s is the customer %(name)s already.")
            % {"supplier": customer.supplier, "name": twin.name},
        )
    problems.raise_any()
