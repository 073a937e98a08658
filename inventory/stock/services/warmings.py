"""The warming log: what was warmed, how long, how warm; removed where an entry was wrong."""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import checks, words
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Place, ProductionSettings, Warming

# Below 10 °C nobody warms; water boils at 100 °C, and honey is caramel before that.
WARMED_CELSIUS = (Decimal(10), Decimal(100))


@transaction.atomic
def record(
    *,
    place: Place,
    started_on: date,
    ended_on: date,
    recorded_by: Person,
    key: str,
    hours: Decimal | None = None,
    highest_celsius: Decimal | None = None,
    above_limit_confirmed: bool = False,
    warmed_by: str = "",
    note: str = "",
) -> Warming:
    """Keep one warming of a vessel; the lots that were in it follow from the ledger.

    Without `hours` or `highest_celsius` nobody noted them. A temperature above the house's limit is
    kept only with `above_limit_confirmed`. A vessel that is empty by the books may have been
    warmed all the same. Raises `BadValue` (or several), `AlreadyRecorded`.
    """
    place = Place.objects.select_for_update().get(pk=place.pk)
    refuse_repeat(Warming, key)
    limit = ProductionSettings.current().warming_limit_celsius
    problems = Problems()
    if not place.is_vessel:
        problems.add("place", _("Choose a vessel."))
    checks.check_day(problems, "started_on", started_on)
    checks.check_day(problems, "ended_on", ended_on)
    if ended_on < started_on:
        problems.add("ended_on", _("The last day is before the first day. Change one of them."))
    elif hours is not None:
        _check_hours(problems, hours, days=(ended_on - started_on).days + 1)
    if highest_celsius is not None:
        _check_temperature(problems, highest_celsius, limit, is_confirmed=above_limit_confirmed)
    problems.raise_any()
    warming = Warming(
        place=place,
        started_on=started_on,
        ended_on=ended_on,
        hours=hours,
        highest_celsius=highest_celsius,
        limit_celsius=limit,
        above_limit_confirmed=highest_celsius is not None and highest_celsius > limit,
        warmed_by=warmed_by.strip(),
        note=note.strip(),
        recorded_by=recorded_by,
        idempotency_key=key,
    )
    checks.save_checked(warming)
    return warming


@transaction.atomic
def remove(*, warming: Warming, removed_by: Person) -> Warming:
    """Take a wrong entry off the log and its lots; the row is kept.

    Raises `NotAllowedNow` for one that was removed before.
    """
    warming = Warming.objects.select_for_update().get(pk=warming.pk)
    if warming.is_removed:
        raise NotAllowedNow(_("This warming was removed already."))
    warming.removed_at = timezone.now()
    warming.removed_by = removed_by
    checks.save_checked(warming)
    return warming


def _check_hours(problems: Problems, hours: Decimal, *, days: int) -> None:
    if hours <= 0:
        problems.add("hours", _("Enter the hours, more than zero, or leave them empty."))
    elif hours > days * 24:
        problems.add(
            "hours",
            _("From the first day to the last there are only %(most)s hours. Check the days.")
            % {"most": words.number(days * 24)},
        )


def _check_temperature(
    problems: Problems, celsius: Decimal, limit: Decimal, *, is_confirmed: bool
) -> None:
    low, high = WARMED_CELSIUS
    if not low <= celsius <= high:
        problems.add(
            "highest_celsius",
            _("Enter a temperature between %(low)s and %(high)s. Check the figure and its unit.")
            % {"low": words.temperature(low), "high": words.temperature(high)},
        )
    elif celsius > limit and not is_confirmed:
        problems.add(
            "above_limit_confirmed",
            _(
                "%(highest)s is above the house's limit of %(limit)s. Heat darkens honey and "
                "raises its HMF. Correct the temperature, or confirm that it got so warm."
            )
            % {"highest": words.temperature(celsius), "limit": words.temperature(limit)},
        )
