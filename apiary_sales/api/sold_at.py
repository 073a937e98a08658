"""The moment of a sale that another till made before it reaches the API."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework import serializers

from apiary_sales.billing.services import beginning
from apiary_sales.billing.services.stand_marks import CLOCK_MAY_DIFFER
from inventory.shared import checks
from inventory.shared.errors import Problems


class SoldAtField(serializers.DateTimeField):
    """When it was sold; null, or left out, for a sale that is made now."""

    def __init__(self, **kwargs: Any) -> None:
        said = (
            "When it was sold, of a sale that has happened: not in the future, and not before the "
            "books begin. It is booked at the prices of that day, also where the goods were not "
            "there by the books; what does not fit is marked for the owner. Left out, it is sold "
            "now, and is refused where it can't be."
        )
        super().__init__(**{"required": False, "allow_null": True, "help_text": said, **kwargs})


def as_happened(sold_at: datetime | None, ways_paid: Iterable[str]) -> dict[str, Any]:
    """Return what `stand.sell` is told of the moment of a sale; nothing for one that is made now.

    Raises `BadValue` for a moment in the future, more than five years ago, or before the books of
    the money that was paid.
    """
    if sold_at is None:
        return {}
    problems, day = Problems(), timezone.localdate(sold_at)
    if sold_at > timezone.now() + CLOCK_MAY_DIFFER:
        problems.add("sold_at", _("This moment is in the future. Set the clock of the till right."))
    elif day <= timezone.localdate():
        checks.check_day(problems, "sold_at", day)
    for way in ways_paid:
        if not problems:
            beginning.check_paid_since(problems, "sold_at", day, way)
    problems.raise_any()
    return {"sold_at": sold_at, "not_before": sold_at, "has_happened": True}
