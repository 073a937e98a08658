"""How far the guided set-up is: which steps were saved, and which are left for later."""

from datetime import date

from django.db import transaction
from django.utils import timezone

from apiary_sales.accounts.models import SetUp
from inventory.shared import checks
from inventory.shared.errors import AlreadyRecorded, Problems

# The steps by the names in their addresses, in order.
STEPS = (
    *("house", "market", "tax", "tanks", "drums", "sizes", "parts", "prices"),
    *("people", "costs", "honey", "jars", "stock", "customers", "numbers"),
)
# The pages of a set-up and their repeats; older keys are forgotten.
KEYS_KEPT = 200


@transaction.atomic
def save_step(step: str, *, key: str) -> SetUp:
    """Write down that a step was saved. Raises `AlreadyRecorded` for the same page sent twice."""
    row = _locked()
    if key in row.keys:
        raise AlreadyRecorded("", made=row)
    row.keys = [*row.keys, key][-KEYS_KEPT:]
    row.steps_done = [*(each for each in row.steps_done if each != step), step]
    row.steps_left = [each for each in row.steps_left if each != step]
    row.save()
    return row


@transaction.atomic
def leave_step(step: str) -> SetUp:
    """Write down that a step is left for later; one that was saved stays so."""
    row = _locked()
    if step not in (*row.steps_done, *row.steps_left):
        row.steps_left = [*row.steps_left, step]
        row.save()
    return row


@transaction.atomic
def begin_books_on(begins_on: date) -> SetUp:
    """Set the day of all that is entered as there when the books begin. Raises `BadValue`."""
    problems = Problems()
    checks.check_day(problems, "begins_on", begins_on)
    problems.raise_any()
    row = _locked()
    row.begins_on = begins_on
    row.save()
    return row


@transaction.atomic
def end() -> SetUp:
    """Say that the house is set up: the steps are no longer shown on the first page."""
    row = _locked()
    row.ended_at = row.ended_at or timezone.now()
    row.save()
    return row


def _locked() -> SetUp:
    SetUp.objects.get_or_create(pk=1)
    return SetUp.objects.select_for_update().get(pk=1)
