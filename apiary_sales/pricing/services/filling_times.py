"""Set the work on one piece of a size, used while no run has recorded any."""

from collections.abc import Mapping
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import FillingTime
from inventory.bottling.models import Size
from inventory.shared.errors import Problems

# Nobody works an hour on one jar.
MINUTES_MAX = Decimal(60)


@transaction.atomic
def set_minutes(minutes: Mapping[Size, Decimal | None]) -> None:
    """Set the minutes of work on one piece of each size; None where they are not known.

    Raises `BadValue`, at `minutes.<code of the size>`.
    """
    problems = Problems()
    for size, each in minutes.items():
        if each is not None and not 0 <= each <= MINUTES_MAX:
            problems.add(
                f"minutes.{size.code}",
                _("%(size)s: enter from 0 to 60 minutes for one piece.") % {"size": size.name},
            )
    problems.raise_any()
    for size, each in minutes.items():
        if each is None:
            FillingTime.objects.filter(size=size).delete()
        else:
            FillingTime.objects.update_or_create(size=size, defaults={"minutes_each": each})
