"""Bulk honey: extracted, poured, drained, blended, dipped, counted and written off."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory import density, words
from inventory.errors import NotEnoughHoney, Problems, StockReserved, VesselTooSmall
from inventory.models import Balance, Item, Lot, Place, Posting
from inventory.services import checks, ledger, lots
from inventory.services.ledger import Line

# Where honey goes when it is written off, by the kind of the posting that says why.
WRITE_OFF_PLACES = {
    Posting.Kind.SPOILAGE: Place.Kind.SPOILED,
    Posting.Kind.OWN_USE: Place.Kind.OWN_USE,
    Posting.Kind.GIFT: Place.Kind.GIVEN_AWAY,
    Posting.Kind.BREAKAGE: Place.Kind.BROKEN,
}


def content(place: Place) -> Balance | None:
    """Return the one balance of honey in a vessel, or None when it is empty."""
    return (
        Balance.objects.filter(place=place, item__kind=Item.Kind.HONEY, quantity__gt=0)
        .select_related("lot", "item", "place")
        .first()
    )


@transaction.atomic
def receive(
    *,
    place: Place,
    grams: int,
    season: int,
    floral_source: str,
    extracted_on: date,
    recorded_by: Any,
    key: str,
    yard: str = "",
    moisture_percent: Decimal | None = None,
    refractive_index: Decimal | None = None,
    refractometer_celsius: Decimal | None = None,
    colour_mm: Decimal | None = None,
    cost_cents: int | None = None,
    note: str = "",
) -> Lot:
    """Bring an extraction into a vessel as a new lot, and return the lot.

    Moisture comes as percent, or as a refractometer index with its temperature. When the vessel
    holds another lot the two become a blend, which is then what the vessel holds.
    Raises `BadValue`, `VesselTooSmall`, `AlreadyRecorded`.
    """
    problems = Problems()
    checks.check_grams(problems, "weight", grams)
    if moisture_percent is None and refractive_index is None:
        problems.add("moisture", _("Enter the moisture, or the refractometer index."))
    if not floral_source.strip():
        problems.add("floral_source", _("Enter the floral source, for example clover."))
    if extracted_on > timezone.localdate():
        problems.add("extracted_on", _("The extraction date lies in the future."))
    checks.check_vessel(problems, "place", place)
    problems.raise_any()
    if moisture_percent is None:
        moisture_percent = lots.moisture_from_index(refractive_index, refractometer_celsius)
    honey = Item.objects.honey()
    ledger.lock_items([honey])
    checks.refuse_repeat(key)
    lot = Lot(
        kind=Lot.Kind.EXTRACTION,
        code=lots.next_code(season, "E"),
        season=season,
        floral_source=floral_source.strip(),
        yard=yard.strip(),
        made_on=extracted_on,
        moisture_percent=moisture_percent,
        refractive_index=refractive_index,
        refractometer_celsius=refractometer_celsius,
        colour_mm=colour_mm,
        quantity_made=grams,
        cost_cents=cost_cents,
        note=note,
    )
    checks.save_checked(lot)
    harvest = Place.objects.outside(Place.Kind.HARVEST)
    lines, _content = pour(target=place, portions=[lots.Portion(lot, grams, harvest)])
    ledger.post(
        kind=Posting.Kind.EXTRACTION, lines=lines, recorded_by=recorded_by, key=key, note=note
    )
    return lot


@transaction.atomic
def transfer(
    *,
    source: Place,
    target: Place,
    grams: int,
    recorded_by: Any,
    key: str,
    kind: str = Posting.Kind.TRANSFER,
    note: str = "",
) -> Posting:
    """Pour `grams` from one vessel into another, blending where the lots differ."""
    return blend(
        sources=[(source, grams)],
        target=target,
        recorded_by=recorded_by,
        key=key,
        kind=kind,
        note=note,
    )


@transaction.atomic
def blend(
    *,
    sources: Sequence[tuple[Place, int]],
    target: Place,
    recorded_by: Any,
    key: str,
    kind: str = Posting.Kind.BLEND,
    note: str = "",
) -> Posting:
    """Pour honey from several vessels into one in a single posting.

    The blend's moisture and colour are the mass-weighted means of its parents, which are kept.
    Raises `BadValue`, `NotEnoughHoney`, `StockReserved`, `VesselTooSmall`, `AlreadyRecorded`.
    """
    problems = Problems()
    if not sources:
        problems.add("sources", _("Choose the vessels to pour from."))
    for source, grams in sources:
        checks.check_grams(problems, "weight", grams)
        if source == target:
            problems.add(
                "target", _("%(place)s can't be poured into itself.") % {"place": source.name}
            )
    checks.check_vessel(problems, "target", target)
    problems.raise_any()
    ledger.lock_items([Item.objects.honey()])
    checks.refuse_repeat(key)
    portions = [take(source=source, grams=grams) for source, grams in sources]
    lines, _content = pour(target=target, portions=portions)
    return ledger.post(kind=kind, lines=lines, recorded_by=recorded_by, key=key, note=note)


def take(*, source: Place, grams: int, field: str = "weight") -> lots.Portion:
    """Return the portion that `grams` drawn from a vessel are; raise when they are not free."""
    there = content(source)
    if there is None or there.quantity < grams:
        raise NotEnoughHoney(
            _("Not enough honey: %(asked)s asked for, %(place)s holds %(there)s.")
            % {
                "asked": words.pounds(grams),
                "place": source.name,
                "there": words.pounds(there.quantity if there else 0),
            },
            field=field,
        )
    if there.free < grams:
        raise StockReserved(
            _(
                "%(place)s is reserved for an order: %(asked)s asked for, %(free)s is free. "
                "Choose another, or cancel the order first."
            )
            % {
                "place": source.name,
                "asked": words.pounds(grams),
                "free": words.pounds(there.free),
            },
            field=field,
        )
    return lots.Portion(there.lot, grams, source)


def pour(*, target: Place, portions: Sequence[lots.Portion]) -> tuple[list[Line], Lot]:
    """Return the lines that bring `portions` into a vessel, and the lot it then holds.

    Where lots meet, a blend lot is made of all that is then in the vessel.
    """
    honey = Item.objects.honey()
    there = content(target)
    grams_after = sum(portion.grams for portion in portions) + (there.quantity if there else 0)
    mixed = list(portions)
    if there:
        if there.reserved:
            raise StockReserved(
                _("%(place)s is reserved for an order, so nothing can be added to it.")
                % {"place": target.name},
                field="target",
            )
        mixed.append(lots.Portion(there.lot, there.quantity, target))
    distinct = {portion.lot for portion in mixed}
    lot = distinct.pop() if len(distinct) == 1 else lots.make_blend(mixed)
    _check_room(target, lot, grams_after)
    lines = [Line(honey, portion.source, portion.lot, -portion.grams) for portion in mixed]
    lines.append(Line(honey, target, lot, grams_after))
    return lines, lot


@transaction.atomic
def write_off(
    *, place: Place, grams: int, reason: str, recorded_by: Any, key: str, note: str = ""
) -> Posting:
    """Take honey off the books as spoiled, used at home or given away, and say so in the posting.

    `reason` is a posting kind: spoilage, own use or gift.
    """
    problems = Problems()
    checks.check_grams(problems, "weight", grams)
    if reason not in WRITE_OFF_PLACES:
        problems.add("reason", _("Choose why: spoiled, own use or gift."))
    problems.raise_any()
    ledger.lock_items([Item.objects.honey()])
    checks.refuse_repeat(key)
    portion = take(source=place, grams=grams)
    return ledger.post(
        kind=reason,
        lines=ledger.move(
            item=Item.objects.honey(),
            lot=portion.lot,
            source=place,
            target=Place.objects.outside(WRITE_OFF_PLACES[reason]),
            quantity=grams,
        ),
        recorded_by=recorded_by,
        key=key,
        note=note,
    )


def _check_room(place: Place, lot: Lot, grams: int) -> None:
    """Raise when so much of this honey would run over; the coldest reading takes least room."""
    if place.capacity_litres is None:
        return
    litres = density.litres_of(grams, moisture_percent=lot.moisture_percent)
    if litres > place.capacity_litres:
        raise VesselTooSmall(
            _("%(place)s would run over: it takes %(capacity)s, this would make %(litres)s.")
            % {
                "place": place.name,
                "capacity": words.gallons(place.capacity_litres),
                "litres": words.gallons(litres),
            },
            field="weight",
        )
