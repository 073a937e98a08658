"""The cleaning schedule as it is today, and the log of what was cleaned."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Case, Exists, OuterRef, QuerySet, Subquery, When
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.stock import cleaning_schedule
from inventory.stock.cleaning_schedule import Standing, State
from inventory.stock.models import Balance, Cleaning, CleaningTask, Posting, PostingLine

# The entries by which it is known that the house worked.
USES = {
    CleaningTask.Use.BOTTLING: Posting.Kind.BOTTLING,
    CleaningTask.Use.EXTRACTION: Posting.Kind.EXTRACTION,
}


@dataclass(frozen=True)
class TaskRow:
    """Something that is cleaned, its last cleaning, and how it is today."""

    task: CleaningTask
    last: Cleaning | None
    standing: Standing
    today: date

    @property
    def is_due(self) -> bool:
        return self.standing.state == State.DUE

    @property
    def is_wanted_before_use(self) -> bool:
        return self.standing.state == State.BEFORE_NEXT_USE

    @property
    def in_words(self) -> str:
        """How it is today, in a few words."""
        day = self.standing.day
        if self.is_due and day is None:
            return _("due: not cleaned yet")
        if self.is_due and day == self.today:
            return _("due today")
        said = {
            State.DUE: _("due since %(day)s"),
            State.BEFORE_NEXT_USE: _("clean it before the next use"),
            State.CLEAN: _("clean") if day is None else _("clean, next on %(day)s"),
            State.IN_USE: _("honey in it now"),
            State.NO_SCHEDULE: _("when needed"),
        }[self.standing.state]
        return said % {"day": date_format(day)} if day else said


@dataclass(frozen=True)
class CleaningToDo:
    """What the first page says: what is due, and what is to be cleaned before its next use."""

    due: list[TaskRow]
    before_use: list[TaskRow]

    def __bool__(self) -> bool:
        return bool(self.due or self.before_use)


def rows(*, with_unused: bool = False, today: date | None = None) -> list[TaskRow]:
    """Return what is cleaned, due first, in two queries.

    `with_unused` also returns what is no longer cleaned, at the end.
    """
    today = today or timezone.localdate()
    latest = Cleaning.objects.standing().filter(task=OuterRef("pk"))
    tasks = CleaningTask.objects.select_related("place").annotate(
        last_key=Subquery(latest.order_by("-cleaned_on", "-id").values("pk")[:1]),
        used_at=_used_at(),
        is_full=Exists(_honey_in_the_vessel()),
    )
    if not with_unused:
        tasks = tasks.filter(is_active=True)
    found = list(tasks)
    cleanings = Cleaning.objects.in_bulk([task.last_key for task in found if task.last_key])
    made = []
    for task in found:
        last = cleanings.get(task.last_key) if task.last_key else None
        standing = cleaning_schedule.standing(
            schedule=task.schedule,
            every_days=task.every_days,
            cleaned_on=last.cleaned_on if last else None,
            used_on=timezone.localdate(task.used_at) if task.used_at else None,
            is_full=task.is_full,
            today=today,
        )
        made.append(TaskRow(task, last, standing, today))
    order = list(State)
    return sorted(
        made,
        key=lambda row: (
            not row.task.is_active,
            order.index(row.standing.state),
            row.standing.day or date.min,
            row.task.name,
        ),
    )


def to_do() -> CleaningToDo:
    """Return what is to be cleaned now."""
    found = rows()
    return CleaningToDo(
        due=[row for row in found if row.is_due],
        before_use=[row for row in found if row.is_wanted_before_use],
    )


def log(since: date, until: date) -> QuerySet[Cleaning]:
    """Return what was cleaned in these days, the latest first; removed ones too."""
    return (
        Cleaning.objects.filter(cleaned_on__gte=since, cleaned_on__lte=until)
        .select_related("task", "recorded_by", "removed_by")
        .order_by("-cleaned_on", "-id")
    )


def table(found: Iterable[Cleaning]) -> Iterator[list[Any]]:
    """Yield the rows of the log for a spreadsheet, headings first."""
    yield [
        _("Day"),
        _("What"),
        _("Kind"),
        _("Cleaned by"),
        _("Cleaned with"),
        _("Note"),
        _("Recorded by"),
        _("Removed on"),
        _("Removed by"),
    ]
    for cleaning in found:
        yield [
            cleaning.cleaned_on,
            cleaning.task.name,
            cleaning.task.get_kind_display(),
            cleaning.cleaned_by,
            cleaning.cleaned_with,
            cleaning.note,
            cleaning.recorded_by.display_name,
            timezone.localdate(cleaning.removed_at) if cleaning.removed_at else None,
            cleaning.removed_by.display_name if cleaning.removed_by else "",
        ]


def _honey_in_the_vessel() -> QuerySet[Balance]:
    return Balance.objects.filter(place=OuterRef("place"), is_vessel=True, quantity__gt=0)


def _used_at() -> Case:
    """Return when honey last went in or out of the vessel of a task, or the house last worked.

    It is looked for where the schedule asks for it: not of a vessel that has honey in it, which is
    cleaned once it is empty.
    """
    moved = (
        PostingLine.objects.standing()
        .filter(place=OuterRef("place"))
        .order_by("-posting__occurred_at")
    )
    worked = Posting.objects.filter(reversed_by=None).order_by("-occurred_at")
    return Case(
        When(
            ~Exists(_honey_in_the_vessel()),
            place__isnull=False,
            schedule__in=CleaningTask.BY_USE,
            then=Subquery(moved.values("posting__occurred_at")[:1]),
        ),
        *(
            When(used_for=use, then=Subquery(worked.filter(kind=kind).values("occurred_at")[:1]))
            for use, kind in USES.items()
        ),
    )
