"""What was put on hold and released, by whom, when and why."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import QuerySet

from inventory.stock.models import Lot, LotHold
from inventory.stock.models.lots import LotKeys

# So many lots of one act are named; of more, only their number is said.
NAMED_MAX = 12


@dataclass
class HoldEvent:
    """Lots that one person put on hold, or released, at one moment for one reason."""

    at: datetime
    by: str
    is_release: bool
    reason: str
    cause: str
    lots: list[Lot] = field(default_factory=list)

    @property
    def named(self) -> list[Lot]:
        return self.lots[:NAMED_MAX]

    @property
    def left_out(self) -> int:
        return max(0, len(self.lots) - NAMED_MAX)


def of_lots(lots: LotKeys) -> QuerySet[LotHold]:
    """Return every hold of these lots, released or not."""
    found = LotHold.objects.filter(lot__in=lots)
    return found.select_related("lot__product", "held_by", "released_by")


def events(holds: Iterable[LotHold]) -> list[HoldEvent]:
    """Return each hold and release in these holds, from wherever it was done, latest first."""
    found: dict[tuple[datetime, str, bool, str, str], HoldEvent] = {}
    for hold in holds:
        cause = str(hold.get_cause_display())
        done = [(hold.held_at, hold.held_by, False, hold.reason)]
        if hold.released_at is not None:
            done.append((hold.released_at, hold.released_by, True, hold.release_reason))
        for at, person, is_release, reason in done:
            by = person.display_name if person else ""
            key = (at, by, is_release, reason, cause)
            found.setdefault(key, HoldEvent(*key)).lots.append(hold.lot)
    for event in found.values():
        # A lot with two holds is released of both at once, and is named once.
        event.lots = list({lot.pk: lot for lot in event.lots}.values())
    return sorted(found.values(), key=lambda event: event.at, reverse=True)


def open_of(lot: Lot) -> list[LotHold]:
    """Return the reasons for which a lot is on hold now, oldest first."""
    return list(lot.holds.filter(released_at=None).select_related("held_by"))
