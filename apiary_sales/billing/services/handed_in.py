"""Sales that a device could not get booked and gave to the office."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import HandedInSale, StandSale
from apiary_sales.billing.services import stand
from inventory.shared import checks
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person


@transaction.atomic
def hand_in(
    *,
    key: str,
    body: Mapping[str, Any],
    text: str,
    handed_in_by: Person,
    device: str = "",
    reason: str = "",
) -> HandedInSale:
    """Keep a sale as a device had it, for the office to book or to set aside; return it.

    The same key gives what was kept first.
    """
    kept, _is_new = HandedInSale.objects.get_or_create(
        key=key,
        defaults={
            "body": dict(body),
            "text": text,
            "reason": reason,
            "device": device,
            "handed_in_by": handed_in_by,
        },
    )
    return kept


@transaction.atomic
def settle(
    *, handed_in: HandedInSale, settled_by: Person, note: str, sale: StandSale | None = None
) -> HandedInSale:
    """Say what became of a sale that was given to the office: the `sale` it was booked as, or why
    it is set aside.

    Raises `NotAllowedNow` where that was said already, `BadValue` without a note or sale.
    """
    handed_in = HandedInSale.objects.select_for_update(of=("self",), no_key=True).get(
        pk=handed_in.pk
    )
    if handed_in.settled_at is not None:
        raise NotAllowedNow(_("Somebody has settled this sale already."))
    problems = Problems()
    if sale is None and not note.strip():
        problems.add("note", _("Say why it is not booked, or what was booked instead."))
    problems.raise_any()
    handed_in.sale, handed_in.note = sale, note.strip()
    handed_in.settled_by, handed_in.settled_at = settled_by, timezone.now()
    checks.save_checked(handed_in)
    return handed_in


@transaction.atomic
def book(*, handed_in: HandedInSale, settled_by: Person, **sale: Any) -> StandSale:
    """Book a sale that was given to the office, as `stand.sell` takes it; return the sale.

    One that its device got booked meanwhile is settled with that. Raises what `stand.sell` and
    `settle` raise.
    """
    made = stand.find(sale["key"])
    if made is None:
        made = stand.sell(
            **{**sale, "sold_by": sale["sold_by"] or handed_in.handed_in_by},
            sent_by=settled_by,
            source=StandSale.Source.TILL,
            has_happened=True,
        )
    settle(handed_in=handed_in, settled_by=settled_by, note="", sale=made)
    return made
