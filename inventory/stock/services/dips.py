"""Dip readings: from a depth and a temperature to litres and weight, and to the books."""

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import checks
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.stock import dip_weights
from inventory.stock.models import (
    Balance,
    DipReading,
    Item,
    Lot,
    Place,
    Posting,
    ProductionSettings,
)
from inventory.stock.services import ledger, moments, shortages


@transaction.atomic
def record(
    *,
    place: Place,
    depth_mm: int,
    celsius: Decimal,
    recorded_by: Person,
    key: str,
    note: str = "",
    read_on: date | None = None,
) -> DipReading:
    """Keep a dip reading with the weight it means; the books are not changed yet.

    Without `read_on` it was read now.
    Raises `BadValue` for an empty vessel, a vessel without a shape, a dip deeper than the
    vessel, or a temperature outside the density's range.
    """
    if made := DipReading.objects.filter(idempotency_key=key).first():
        return made
    problems = Problems()
    checks.check_day(problems, "read_on", read_on)
    problems.raise_any()
    moment = moments.of_draw(read_on, place)
    there = Balance.objects.in_vessel(place, moment)
    if there is None:
        raise BadValue(
            _("%(place)s is empty on the books. Receive the honey first.") % {"place": place.name},
            parameter="place",
        )
    return keep(
        place=place,
        lot=there.honey_lot,
        book_grams=there.quantity,
        depth_mm=depth_mm,
        celsius=celsius,
        read_at=moment or timezone.now(),
        read_by=recorded_by,
        key=key,
        note=note,
    )


def keep(
    *,
    place: Place,
    lot: Lot,
    book_grams: int,
    depth_mm: int,
    celsius: Decimal,
    read_at: datetime,
    read_by: Person,
    key: str,
    note: str = "",
) -> DipReading:
    """Keep a reading of a vessel beside what the books said of it at that moment.

    Raises `BadValue` for a vessel without a shape, a dip deeper than the vessel, or a temperature
    outside the density's range.
    """
    try:
        weighed = dip_weights.of_depth(
            place,
            depth_mm,
            moisture_percent=lot.honey_moisture,
            celsius=celsius,
            mark_mm=ProductionSettings.current().stick_mark_mm,
        )
    except ValueError as error:
        raise BadValue(str(error), parameter="celsius") from error
    reading = DipReading(
        place=place,
        lot=lot,
        read_at=read_at,
        read_by=read_by,
        depth_mm=depth_mm,
        celsius=celsius,
        moisture_percent=lot.honey_moisture,
        litres=weighed.litres,
        grams=weighed.grams,
        uncertainty_grams=weighed.uncertainty_grams,
        stick_grams=weighed.stick_grams,
        book_grams=book_grams,
        note=note,
        idempotency_key=key,
    )
    checks.save_checked(reading)
    return reading


@transaction.atomic
def remove(*, reading: DipReading) -> None:
    """Remove a reading that was mistyped. Raises `NotAllowedNow` when it was accepted already."""
    reading = DipReading.objects.select_for_update().get(pk=reading.pk)
    if reading.accepted_id:
        raise NotAllowedNow(_("This reading was accepted already."))
    reading.delete()


@transaction.atomic
def accept(*, reading: DipReading, reason: str, recorded_by: Person, key: str) -> Posting:
    """Correct the books to the dip at the time it was read, as a count with a reason.

    Raises `BadValue` without a reason, `NotAllowedNow` when the reading was accepted already,
    agrees with the book, or the books of that moment were changed since. What moved after the
    reading is told again.
    """
    if not reason.strip():
        raise BadValue(
            _("Say why the books should be changed to match the dip."), parameter="reason"
        )
    honey_item = Item.objects.honey()
    ledger.lock_items([honey_item])
    ledger.refuse_repeat(key)
    reading.refresh_from_db()
    there = Balance.objects.in_vessel(reading.place, reading.read_at)
    if reading.accepted_id:
        raise NotAllowedNow(_("This reading was accepted already."))
    if reading.difference_grams == 0:
        raise NotAllowedNow(
            _("The reading agrees with the books. You don't need to correct anything.")
        )
    if there is None or (there.lot_id, there.quantity) != (reading.lot_id, reading.book_grams):
        raise NotAllowedNow(
            _("The books of that moment were changed after this reading. Dip again.")
        )
    posting = ledger.post(
        kind=Posting.Kind.COUNT,
        lines=ledger.move(
            item=honey_item,
            lot=reading.lot,
            source=Place.objects.outside(Place.Kind.COUNT_DIFFERENCE),
            target=reading.place,
            quantity=reading.difference_grams,
        ),
        recorded_by=recorded_by,
        key=key,
        note=reason.strip(),
        occurred_at=reading.read_at,
    )
    shortages.settle_counted(
        item=honey_item,
        place=reading.place,
        lot=reading.lot,
        settled_by=recorded_by,
        key=key,
        occurred_at=reading.read_at,
    )
    reading.accepted = posting
    reading.save(update_fields=["accepted"])
    return posting
