"""What is spent once counts twice: in the book of money, and in the cost of a season's honey.

The second is an expense of the season, made by the service that people use for it. Removed there,
or spread already, it is theirs: the book of money does not change.
"""

from django.utils.translation import gettext as _

from apiary_sales.billing.models import ExpenseCategory
from apiary_sales.pricing.models import SeasonExpense
from apiary_sales.pricing.services import seasons
from inventory.shared.errors import Problems


def check(problems: Problems, parameter: str, season: int | None, category: str) -> None:
    """Add a problem for a category that is no part of the cost of honey."""
    if season is None:
        return
    if category in ExpenseCategory.values and category not in ExpenseCategory.of_a_season():
        problems.add(
            parameter,
            _(
                "“%(category)s” is no part of the cost of a season's honey. Leave the season "
                "empty, or choose another category."
            )
            % {"category": ExpenseCategory(category).label},
        )
    if not 1900 <= season <= 2200:
        problems.add(parameter, _("Enter the season as a year, for example 2026."))


def feed(
    *, season: int | None, category: str, amount_cents: int, note: str, key: str
) -> SeasonExpense | None:
    """Add what was spent to the expenses of a season; None without a season."""
    if season is None:
        return None
    return seasons.add_expense(
        season=season, category=category, amount_cents=amount_cents, note=note[:200], key=key
    )


def take_out(expense: SeasonExpense | None) -> None:
    """Take what was undone off its season, unless that was done there already."""
    if expense is not None:
        seasons.remove_expense(expense)
