"""What the papers of a stand's day and of takings show."""

from typing import Any

from apiary_sales.billing.models import StandDay
from apiary_sales.billing.queries import stand_days, stand_takings
from apiary_sales.billing.queries.stand_takings import TakingsAsked


def stand_day_context(stand_day: StandDay) -> dict[str, Any]:
    """Return what the paper of a closed day shows."""
    shown = stand_days.shown(stand_day)
    return {"shown": shown, "takings": shown.takings}


def takings_context(asked: TakingsAsked) -> dict[str, Any]:
    """Return what the page and the paper of takings show."""
    return {"asked": asked, "takings": stand_takings.takings_of(asked)}
