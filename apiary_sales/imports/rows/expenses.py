"""Rows of expenses."""

from apiary_sales.billing.models import Expense
from apiary_sales.billing.services import expenses
from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.cells import Figures
from inventory.shared.errors import parameters_named
from inventory.shared.people import Person


def write(figures: Figures, by: Person, key: str) -> list[Expense]:
    """Enter an expense on its day."""
    details = dict(figures)
    with parameters_named(amount_cents="amount", tax_cents="tax"):
        return [
            expenses.enter(
                amount_cents=details.pop("amount"),
                tax_cents=details.pop("tax", 0),
                entered_by=by,
                key=key,
                **details,
            )
        ]


def take_back(expense: Expense, made_by: Import, by: Person, key: str, reason: str) -> None:
    """Undo an expense by the opposite entry."""
    expenses.undo(expense=expense, undone_by=by, key=key, reason=reason)
