"""When something is to be cleaned again, from its schedule, its last cleaning and its last use."""

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from inventory.stock.models import CleaningTask

Schedule = CleaningTask.Schedule


class State(StrEnum):
    """What is to be done with something that is cleaned."""

    DUE = "due"
    BEFORE_NEXT_USE = "before_next_use"
    CLEAN = "clean"
    IN_USE = "in_use"
    NO_SCHEDULE = "no_schedule"


@dataclass(frozen=True)
class Standing:
    """How a task is today: `day` is since when or until when, None where no day is known."""

    state: State
    day: date | None = None


def standing(
    *,
    schedule: str,
    every_days: int | None,
    cleaned_on: date | None,
    used_on: date | None,
    is_full: bool,
    today: date,
) -> Standing:
    """Tell whether a cleaning is due: `cleaned_on` and `used_on` are the last ones known.

    A vessel with honey in it waits until it is empty. After use: due from the day of the last use,
    unless it was cleaned on that day or later. Before use: a cleaning on the day of the last use
    was the one before that use, so only a later one is ready for the next.
    """
    if schedule == Schedule.WHEN_NEEDED:
        return Standing(State.NO_SCHEDULE)
    if is_full:
        return Standing(State.IN_USE)
    if schedule == Schedule.DAYS:
        next_on = None if cleaned_on is None else cleaned_on + timedelta(days=every_days or 0)
        is_due = next_on is None or next_on <= today
        return Standing(State.DUE if is_due else State.CLEAN, next_on)
    if schedule == Schedule.AFTER_USE:
        if used_on is not None and (cleaned_on is None or cleaned_on < used_on):
            return Standing(State.DUE, used_on)
        return Standing(State.CLEAN)
    if cleaned_on is None or (used_on is not None and cleaned_on <= used_on):
        return Standing(State.BEFORE_NEXT_USE, used_on)
    return Standing(State.CLEAN)
