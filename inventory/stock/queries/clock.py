"""Whether the clock of the machine goes right, as far as the books can tell."""

from datetime import datetime, timedelta

from django.db.models import Subquery
from django.utils import timezone

from inventory.shared import asked_together
from inventory.stock.models import Posting

# Machines that share a database may differ by so much, and nobody notices.
TOLERANCE = timedelta(minutes=5)
# An entry of the right time is found behind so many that were recorded since by a wrong clock.
LOOKED_AT = 200


def recorded_at_asked() -> Subquery:
    """Ask when the latest entry was recorded, beside other questions."""
    newest = Posting.objects.order_by("-id").values("pk")[:LOOKED_AT]
    return asked_together.latest(Posting.objects.filter(pk__in=newest), "recorded_at")


def ahead_of_now(latest: datetime | None) -> datetime | None:
    """Return when the latest entry was recorded, where that is still to come; None where not.

    Then the clock was set back, or it was ahead and is right now.
    """
    return latest if latest is not None and latest > timezone.now() + TOLERANCE else None
