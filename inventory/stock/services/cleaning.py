"""The cleaning log: what is cleaned and how often, and each time that it was."""

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import checks
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Cleaning, CleaningTask, Place

# A schedule of more than two years is a slip of the finger.
EVERY_DAYS_MAX = 730


@transaction.atomic
def save_task(
    *,
    name: str,
    kind: str,
    schedule: str,
    task: CleaningTask | None = None,
    place: Place | None = None,
    every_days: int | None = None,
    used_for: str = "",
    cleaned_with: str = "",
    is_active: bool = True,
) -> CleaningTask:
    """Add something that is cleaned, or change `task`; what was recorded of it stays.

    `every_days` belongs to the schedule of so many days, `place` to a vessel, and `used_for` to
    what is no vessel and is cleaned before or after use. Raises `BadValue` (or several).
    """
    problems = Problems()
    same_name = CleaningTask.objects.filter(name=name.strip())
    if task is not None:
        same_name = same_name.exclude(pk=task.pk)
    if not name.strip():
        problems.add("name", _("Enter a name."))
    elif same_name.exists():
        problems.add("name", _("Something of this name is on the schedule already."))
    if kind not in CleaningTask.Kind.values:
        problems.add("kind", _("Choose one from the list."))
    elif kind == CleaningTask.Kind.VESSEL and (place is None or not place.is_vessel):
        problems.add("place", _("Choose a vessel."))
    elif kind != CleaningTask.Kind.VESSEL and place is not None:
        problems.add("place", _("Only a tank or other vessel has one. Leave it empty."))
    if schedule not in CleaningTask.Schedule.values:
        problems.add("schedule", _("Choose one from the list."))
    _check_days(problems, schedule, every_days)
    _check_use(problems, kind, schedule, used_for)
    problems.raise_any()
    task = task or CleaningTask()
    task.name = name.strip()
    task.kind = kind
    task.place = place
    task.schedule = schedule
    task.every_days = every_days
    task.used_for = used_for
    task.cleaned_with = cleaned_with.strip()
    task.is_active = is_active
    checks.save_checked(task)
    return task


@transaction.atomic
def record(
    *,
    task: CleaningTask,
    cleaned_on: date,
    cleaned_by: str,
    cleaned_with: str,
    recorded_by: Person,
    key: str,
    note: str = "",
) -> Cleaning:
    """Keep that something was cleaned: on which day, by whom, with what.

    Raises `BadValue` (or several), `AlreadyRecorded`.
    """
    task = CleaningTask.objects.select_for_update().get(pk=task.pk)
    refuse_repeat(Cleaning, key)
    problems = Problems()
    checks.check_day(problems, "cleaned_on", cleaned_on)
    if not cleaned_by.strip():
        problems.add("cleaned_by", _("Enter who cleaned it."))
    if not cleaned_with.strip():
        problems.add("cleaned_with", _("Enter what it was cleaned with."))
    problems.raise_any()
    cleaning = Cleaning(
        task=task,
        cleaned_on=cleaned_on,
        cleaned_by=cleaned_by.strip(),
        cleaned_with=cleaned_with.strip(),
        note=note.strip(),
        recorded_by=recorded_by,
        idempotency_key=key,
    )
    checks.save_checked(cleaning)
    return cleaning


@transaction.atomic
def remove(*, cleaning: Cleaning, removed_by: Person) -> Cleaning:
    """Take a wrong entry off the log; the row is kept, and the task may be due again.

    Raises `NotAllowedNow` for one that was removed before.
    """
    cleaning = Cleaning.objects.select_for_update().get(pk=cleaning.pk)
    if cleaning.is_removed:
        raise NotAllowedNow(_("This cleaning was removed already."))
    cleaning.removed_at = timezone.now()
    cleaning.removed_by = removed_by
    checks.save_checked(cleaning)
    return cleaning


def _check_days(problems: Problems, schedule: str, every_days: int | None) -> None:
    if schedule != CleaningTask.Schedule.DAYS:
        if every_days is not None:
            problems.add(
                "every_days",
                _("Leave the days empty, or choose the schedule of every so many days."),
            )
    elif every_days is None or not 1 <= every_days <= EVERY_DAYS_MAX:
        problems.add(
            "every_days", _("Enter a number of days from 1 to %(most)s.") % {"most": EVERY_DAYS_MAX}
        )


def _check_use(problems: Problems, kind: str, schedule: str, used_for: str) -> None:
    goes_by_use = schedule in CleaningTask.BY_USE and kind != CleaningTask.Kind.VESSEL
    if goes_by_use and used_for not in CleaningTask.Use.values:
        problems.add("used_for", _("Choose what it is used for: then its use is known."))
    elif used_for and not goes_by_use:
        problems.add(
            "used_for",
            _(
                "Leave it empty: it counts only for lines, machines and rooms that are cleaned "
                "before or after use."
            ),
        )
