"""Sales that a device could not get booked and gave to the office."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from apiary_sales.billing.models import HandedInSale, SaleMark, StandSale
from apiary_sales.billing.services import stand, stand_marks
from apiary_sales.billing.services.stand_marks import MarkFound
from inventory.shared import checks, conventions
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

    The same key gives what was kept first; raises `NotAllowedNow` for the key of another device.
    """
    kept, is_new = HandedInSale.objects.get_or_create(
        key=key,
        defaults={
            "body": dict(body),
            "text": text,
            "reason": reason,
            "device": device,
            "handed_in_by": handed_in_by,
        },
    )
    if not is_new and kept.device != device:
        raise NotAllowedNow(_("Another device gave the office a sale with the key of this one."))
    return kept


@transaction.atomic
def settle(
    *, handed_in: HandedInSale, settled_by: Person, note: str, sale: StandSale | None = None
) -> HandedInSale:
    """Say what became of a sale that was given to the office: the `sale` it was booked as, or why
    it is set aside.

    Raises `NotAllowedNow` where that was said already, and where a sale to be set aside is in the
    books, `BadValue` without a note or sale.
    """
    handed_in = HandedInSale.objects.select_for_update(of=("self",), no_key=True).get(
        pk=handed_in.pk
    )
    if handed_in.settled_at is not None:
        raise NotAllowedNow(_("Somebody has settled this sale already."))
    made = stand.find(handed_in.key) if sale is None else None
    if made is not None:
        raise NotAllowedNow(
            _("Its device got this sale booked meanwhile, as receipt %(receipt)s. Undo that first.")
            % {"receipt": made.receipt}
        )
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


@transaction.atomic
def came_in(*, sale: StandSale, sent_by: Person) -> None:
    """Settle with a sale what its device had given to the office and then got booked after all.

    Where the office had set it aside, it may be in the books twice: the sale gets a mark.
    """
    handed_in = (
        HandedInSale.objects.select_for_update(of=("self",), no_key=True)
        .filter(key=sale.key, sale=None)
        .first()
    )
    if handed_in is None:
        return
    if handed_in.settled_at is None:
        settle(handed_in=handed_in, settled_by=sent_by, note="", sale=sale)
        return
    with translation.override(conventions.current().language):
        text = _("The office had set this sale aside: %(note)s") % {"note": handed_in.note}
    stand_marks.keep(sale, [MarkFound(SaleMark.Kind.LATE, text)])
