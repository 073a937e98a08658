"""What a season's honey cost: its expenses, spread over what was extracted."""

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import SeasonExpense
from apiary_sales.pricing.rules import seasons as rules
from inventory.bottling.services import costs
from inventory.shared import words
from inventory.shared.checks import save_checked
from inventory.shared.errors import AlreadyRecorded, NotAllowedNow, Problems
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Lot

AMOUNT_CENTS_MAX = 100_000_000


@transaction.atomic
def add_expense(
    *, season: int, category: str, amount_cents: int, key: str, note: str = ""
) -> SeasonExpense:
    """Add an expense of a season and return it.

    Lots keep their cost until the season is spread. Raises `BadValue`, `AlreadyRecorded`.
    """
    problems = Problems()
    if not 0 < amount_cents <= AMOUNT_CENTS_MAX:
        problems.add(
            "amount_cents",
            _("Enter an amount above zero and up to %(most)s.")
            % {"most": words.money(AMOUNT_CENTS_MAX)},
        )
    if not 1900 <= season <= 2200:
        problems.add("season", _("Enter the season as a year, for example 2026."))
    problems.raise_any()
    refuse_repeat(SeasonExpense, key)
    expense = SeasonExpense(
        season=season,
        category=category,
        amount_cents=amount_cents,
        note=note.strip(),
        idempotency_key=key,
    )
    try:
        with transaction.atomic():
            save_checked(expense)
    except IntegrityError as error:
        made = SeasonExpense.objects.get(idempotency_key=key)
        raise AlreadyRecorded(_("This was recorded already."), made=made) from error
    return expense


@transaction.atomic
def remove_expense(expense: SeasonExpense) -> None:
    """Take an expense off a season; lots keep their cost until the season is spread again."""
    SeasonExpense.objects.filter(pk=expense.pk).delete()


@transaction.atomic
def spread(season: int) -> list[Lot]:
    """Spread a season's expenses over its extractions by weight, to the cent; return what changed.

    Every blend and packed lot made of them is worked out again; what was sold keeps its cost.
    Raises `NotAllowedNow` when nothing was spent or nothing was extracted.
    """
    view = rules.season(
        season,
        expenses=SeasonExpense.objects.filter(season=season),
        extracted=Lot.objects.extracted_in(season),
    )
    if not view.expenses:
        raise NotAllowedNow(
            _("No expenses are entered for %(season)s yet. Enter the expenses first.")
            % {"season": season}
        )
    if not view.lots:
        raise NotAllowedNow(
            _(
                "No honey of %(season)s is extracted yet, so the expenses can't be spread. "
                "Receive the honey first."
            )
            % {"season": season}
        )
    return costs.set_lot_costs({row.lot: row.share_cents for row in view.lots})
