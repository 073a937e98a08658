"""Checks that many acts share; each says in words what is wrong and which parameter it is."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import router
from django.db.models import BaseConstraint, CheckConstraint, Model, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import words
from inventory.shared.errors import FiguresChanged, Problems

# More than any house handles in one go; a figure above it is a slip of the finger.
GRAMS_MAX = 50_000_000
# An older date is treated as a typing error in the year.
YEARS_BACK_MAX = timedelta(days=5 * 365)


def check_grams(problems: Problems, parameter: str, grams: int) -> None:
    if grams <= 0:
        problems.add(parameter, _("Enter a weight of more than zero."))
    elif grams > GRAMS_MAX:
        problems.add(
            parameter,
            _("%(asked)s is too much for one entry. Check the figure and its unit.")
            % {"asked": words.weight(grams)},
        )


def check_day(problems: Problems, parameter: str, day: date | None) -> None:
    """Add a problem for a day in the future or too long ago; None means now."""
    if day is None:
        return
    today = timezone.localdate()
    if day > today:
        problems.add(parameter, _("This day is in the future. Choose today or an earlier day."))
    elif day < today - YEARS_BACK_MAX:
        problems.add(parameter, _("The day is more than five years ago. Check the year."))


def check_total(total_cents: int, expected_total_cents: int | None) -> None:
    """Raise `FiguresChanged` when something would not come to the total that was shown."""
    if expected_total_cents is not None and expected_total_cents != total_cents:
        raise FiguresChanged(
            _(
                "The figures have changed: it comes to %(now)s now, and %(shown)s was shown. "
                "Look at the new figures, and try again."
            )
            % {"now": words.money(total_cents), "shown": words.money(expected_total_cents)},
            parameter="expected_total_cents",
            now=total_cents,
            shown=expected_total_cents,
        )


def save_checked(instance: Any) -> None:
    """Validate what a person typed and save it; raise an error for each parameter that is wrong."""
    try:
        _full_clean(instance)
    except ValidationError as error:
        problems = Problems()
        for field, messages in error.message_dict.items():
            for message in messages:
                problems.add(None if field == "__all__" else field, message)
        problems.raise_any()
    instance.save()


def _full_clean(instance: Any) -> None:
    """Validate as `full_clean` does, but ask the database once for all check constraints.

    It is asked for each where something is wrong, so that each says what is.
    """
    try:
        instance.full_clean(validate_constraints=False)
        is_right = all(_hold(instance, *group) for group in instance.get_constraints())
    except ValidationError:
        is_right = False
    if not is_right:
        instance.full_clean()


def _hold(instance: Any, model: type[Model], constraints: Iterable[BaseConstraint]) -> bool:
    """Tell whether all check constraints of a model hold; raise `ValidationError` for another."""
    using = router.db_for_write(model, instance=instance)
    checked = Q()
    for constraint in constraints:
        if isinstance(constraint, CheckConstraint):
            checked &= Q(constraint.condition)
        else:
            constraint.validate(model, instance, using=using)
    if not checked:
        return True
    fields = instance._get_field_expression_map(meta=model._meta)
    return checked.check(fields, using=using)
