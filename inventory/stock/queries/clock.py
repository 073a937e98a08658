"""Whether the clock of the machine goes right, as far as the books can tell."""

from datetime import datetime, timedelta

from django.utils import timezone

from inventory.stock.models import Posting

# Machines that share a database may differ by so much, and nobody notices.
TOLERANCE = timedelta(minutes=5)
# An entry of the right time is found behind so many that were recorded since by a wrong clock.
LOOKED_AT = 200


def ahead_of_now() -> datetime | None:
    """Return when the latest entry was recorded, where that is still to come; None where not.

    Then the clock was set back, or it was ahead and is right now.
    """
    newest = Posting.objects.order_by("-id").values_list("recorded_at", flat=True)[:LOOKED_AT]
    latest = max(newest, default=None)
    return latest if latest is not None and latest > timezone.now() + TOLERANCE else None
