"""Rows of customers."""

from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import customers, removal
from apiary_sales.imports.models import Import
from apiary_sales.imports.rules import columns
from apiary_sales.imports.rules.cells import Figures
from inventory.shared.errors import BadValue, parameters_named
from inventory.shared.people import Person

# What is written, folded, where the last line of a list adds up the lines above it.
TOTALS = frozenset(
    ("total", "totals", "totales", "grandtotal", "sum", "suma", "summe", "gesamt", "subtotal")
)


def write(figures: Figures, by: Person, key: str) -> list[Customer]:
    """Add a customer; one of that name is refused."""
    if columns.folded(figures["name"]) in TOTALS:
        raise BadValue(
            _("This looks like the line of totals. Leave it out, or write the name in full."),
            parameter="name",
        )
    details = dict(figures)
    if "credit_limit" in details:
        details["credit_limit_cents"] = details.pop("credit_limit")
    with parameters_named(credit_limit_cents="credit_limit"):
        return [customers.add(**details)]


def take_back(customer: Customer, made_by: Import, by: Person, key: str, reason: str) -> None:
    """Remove a customer that was not used since."""
    removal.remove(customer=customer)
