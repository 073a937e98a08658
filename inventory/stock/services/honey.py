"""Bulk honey: extracted, poured, drained, blended, dipped, counted and written off."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared import acts, checks, words
from inventory.shared.errors import (
    BadValue,
    LotOnHold,
    NotAllowedNow,
    NotEnoughHoney,
    Problems,
    StockReserved,
    VesselTooSmall,
    parameters_named,
)
from inventory.shared.money import cents_half_even
from inventory.shared.people import Person
from inventory.shared.weights import unit_grams
from inventory.stock import density, own_places, rules
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine
from inventory.stock.services import held, ledger, lots, measurements, moments
from inventory.stock.services.feeding import refuse_to_feed
from inventory.stock.services.ledger import Line

# Where honey goes when it is written off, by the kind of the posting that says why.
WRITE_OFF_PLACES: dict[str, str] = {
    Posting.Kind.SPOILAGE: Place.Kind.SPOILED,
    Posting.Kind.OWN_USE: Place.Kind.OWN_USE,
    Posting.Kind.GIFT: Place.Kind.GIVEN_AWAY,
    Posting.Kind.BREAKAGE: Place.Kind.BROKEN,
    Posting.Kind.SKIMMING: Place.Kind.SKIMMINGS,
    Posting.Kind.SPILL: Place.Kind.SPILLED,
    Posting.Kind.FEEDING: Place.Kind.FED_TO_BEES,
    Posting.Kind.SAMPLE: Place.Kind.SAMPLED,
}

# What takes honey for somebody's use; a sample is taken to find out whether it is fit for any.
USES = (Posting.Kind.OWN_USE, Posting.Kind.GIFT, Posting.Kind.FEEDING)

# What the errors of `blend` call its one source, and what acts with one source call it.
ONE_SOURCE = {"sources.0.place": "source", "sources.0.grams": "grams", "sources": "grams"}

# Beside their price, pounds have as many decimals as give the amount.
POUND_DECIMALS = (2, 3, 4)


@dataclass(frozen=True)
class VesselChange:
    """What an act would do to the honey in one vessel."""

    place: Place
    grams_before: int
    grams_after: int


@dataclass(frozen=True)
class HoneyPreview:
    """What an act would leave: the vessels it changes, and the honey then in the last of them.

    `lot` is not saved when the honey would be a new blend.
    """

    changes: tuple[VesselChange, ...]
    lot: Lot
    litres: Decimal
    # What is bought, with its cost; None where nothing is.
    bought: Lot | None = None
    price_per_pound: Decimal | None = None

    @property
    def is_new_blend(self) -> bool:
        return self.lot.kind == Lot.Kind.BLEND and self.lot.pk is None

    @property
    def pound_decimals(self) -> int:
        """The fewest decimals with which pounds times the price are the cost."""
        if self.bought is None or self.price_per_pound is None:
            return POUND_DECIMALS[0]
        pounds = self.bought.quantity_made / unit_grams()
        for decimals in POUND_DECIMALS:
            shown = pounds.quantize(Decimal(1).scaleb(-decimals))
            if cents_half_even(shown * self.price_per_pound) == self.bought.cost_cents:
                return decimals
        return POUND_DECIMALS[0]


@transaction.atomic
def receive(
    *,
    place: Place,
    grams: int,
    season: int,
    floral_source: str,
    extracted_on: date,
    recorded_by: Person,
    key: str,
    yard: str = "",
    moisture_percent: Decimal | None = None,
    refractive_index: Decimal | None = None,
    refractometer_celsius: Decimal | None = None,
    colour_mm: Decimal | None = None,
    moisture_method: str = "",
    colour_method: str = "",
    cost_cents: int | None = None,
    note: str = "",
) -> Lot:
    """Bring an extraction into a vessel as a new lot, and return the lot.

    It is in the books from the day it was extracted on, whenever that is written down.
    Moisture comes as percent, or as a refractometer index with its temperature. When the vessel
    holds another lot the two become a blend, which is then what the vessel holds. Moisture and
    colour are kept as measurements of the lot too, by a method of `Measurement.Method`.
    Raises `BadValue`, `VesselTooSmall`, `AlreadyRecorded`.
    """
    problems = Problems()
    checks.check_grams(problems, "grams", grams)
    try:
        moisture = lots.moisture_known(moisture_percent, refractive_index, refractometer_celsius)
    except BadValue as error:
        problems.add_error(error)
    lots.check_facts(problems, floral_source=floral_source, season=season, colour_mm=colour_mm)
    today = timezone.localdate()
    if extracted_on > today:
        problems.add(
            "extracted_on",
            _("The extraction date is in the future. Choose today or an earlier day."),
        )
    elif lots.is_season(season) and abs(extracted_on.year - season) > 1:
        problems.add(
            "extracted_on",
            _("%(day)s does not belong to the season %(season)s. Check the date and the season.")
            % {"day": date_format(extracted_on), "season": season},
        )
    rules.check_vessel(problems, "place", place)
    problems.raise_any()
    honey = Item.objects.honey()
    ledger.lock_items([honey])
    ledger.refuse_repeat(key)
    lot = Lot(
        kind=Lot.Kind.EXTRACTION,
        code=lots.next_code(season, "E"),
        season=season,
        floral_source=floral_source.strip(),
        yard=yard.strip(),
        made_on=extracted_on,
        moisture_percent=moisture,
        refractive_index=refractive_index,
        refractometer_celsius=refractometer_celsius,
        colour_mm=colour_mm,
        quantity_made=grams,
        cost_cents=cost_cents,
        note=note,
    )
    checks.save_checked(lot)
    measurements.record_with_lot(
        lot=lot,
        recorded_by=recorded_by,
        moisture_method=moisture_method,
        colour_method=colour_method,
    )
    harvest = Place.objects.outside(Place.Kind.HARVEST)
    portions = [lots.Portion(lot, grams, harvest)]
    moment = moments.of_arrival(extracted_on, place)
    with parameters_named(target="place", sources="grams"):
        lines = pour(target=place, portions=portions, at=moment)
    ledger.post(
        kind=Posting.Kind.EXTRACTION,
        lines=lines,
        recorded_by=recorded_by,
        key=key,
        note=note,
        occurred_at=moment,
    )
    return lot


@acts.act
def transfer(
    *,
    source: Place,
    target: Place,
    grams: int | None,
    recorded_by: Person,
    key: str,
    kind: str = Posting.Kind.TRANSFER,
    note: str = "",
    poured_on: date | None = None,
) -> Posting:
    """Pour `grams` (None: all there is) from one vessel into another, blending where lots differ.

    Raises as `blend`, at "source", "grams" and "target".
    """
    with parameters_named(**ONE_SOURCE):
        return blend(
            sources=[(source, grams)],
            target=target,
            recorded_by=recorded_by,
            key=key,
            kind=kind,
            note=note,
            poured_on=poured_on,
        )


@acts.act
def blend(
    *,
    sources: Sequence[tuple[Place, int | None]],
    target: Place,
    recorded_by: Person,
    key: str,
    kind: str = Posting.Kind.BLEND,
    note: str = "",
    poured_on: date | None = None,
) -> Posting:
    """Pour honey from several vessels into one in a single posting.

    Each source comes with its grams, or None for all that is in it. The blend's moisture and
    colour are the mass-weighted means of its parents, which are kept. Without `poured_on` it
    happens now.
    Raises `BadValue`, `NotEnoughHoney`, `StockReserved`, `VesselTooSmall`, `AlreadyRecorded`, and
    `LotOnHold` where honey on hold would be mixed with other honey; the parameter is
    "sources.1.place" or "sources.1.grams" for the second source, "sources" for all.
    """
    _check_pouring(sources, target, poured_on)
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    moment = moments.of_draw(poured_on, *(source for source, _grams in sources))
    lines = pour(target=target, portions=_portions(sources, moment), at=moment)
    return ledger.post(
        kind=kind,
        lines=lines,
        recorded_by=recorded_by,
        key=key,
        note=note,
        occurred_at=moment,
        took_all=any(grams is None for _source, grams in sources),
    )


def preview_blend(
    *,
    sources: Sequence[tuple[Place, int | None]],
    target: Place,
    poured_on: date | None = None,
) -> HoneyPreview:
    """Say what pouring these into a vessel would change, that day, without doing it.

    Raises as `blend`.
    """
    _check_pouring(sources, target, poured_on)
    moment = moments.of_draw(poured_on, *(source for source, _grams in sources))
    portions = _portions(sources, moment)
    there = Balance.objects.in_vessel(target, moment)
    changes = [
        VesselChange(portion.source, in_source.quantity, in_source.quantity - portion.grams)
        for portion in portions
        if (in_source := Balance.objects.in_vessel(portion.source, moment))
    ]
    mixed = _with_what_is_there(target, portions, there, has_happened=moment is not None)
    return _preview(target, mixed, there, changes, has_happened=moment is not None)


def preview_transfer(
    *, source: Place, target: Place, grams: int | None, poured_on: date | None = None
) -> HoneyPreview:
    """Say what pouring `grams` (None: all) would change; raises as `transfer`."""
    with parameters_named(**ONE_SOURCE):
        return preview_blend(sources=[(source, grams)], target=target, poured_on=poured_on)


def preview_receipt(*, place: Place, lot: Lot) -> HoneyPreview:
    """Say what receiving `lot`, not saved yet, would change on its day; raises as `receive`."""
    problems = Problems()
    checks.check_grams(problems, "grams", lot.quantity_made)
    try:
        lots.moisture_known(lot.moisture_percent)
    except BadValue as error:
        problems.add_error(error)
    rules.check_vessel(problems, "place", place)
    problems.raise_any()
    moment = moments.of_arrival(lot.made_on, place)
    there = Balance.objects.in_vessel(place, moment)
    portion = lots.Portion(lot, lot.quantity_made, place)
    with parameters_named(target="place", sources="grams"):
        mixed = _with_what_is_there(place, [portion], there, has_happened=moment is not None)
        return _preview(place, mixed, there, has_happened=moment is not None)


def preview_write_off(
    *, place: Place, grams: int | None, written_off_on: date | None = None
) -> HoneyPreview:
    """Say what writing off `grams` (None: all) would leave; raises as `write_off`."""
    problems = Problems()
    if grams is not None:
        checks.check_grams(problems, "grams", grams)
    checks.check_day(problems, "written_off_on", written_off_on)
    problems.raise_any()
    moment = moments.of_draw(written_off_on, place)
    asked = all_of(place, parameter="place", at=moment) if grams is None else grams
    taken = take(source=place, grams=asked, source_parameter="place", at=moment)
    there = Balance.objects.in_vessel(place, moment)
    before = there.quantity if there else 0
    after = max(before - taken.grams, 0)
    litres = density.litres_of(after, moisture_percent=taken.lot.honey_moisture)
    return HoneyPreview((VesselChange(place, before, after),), taken.lot, litres)


def _preview(
    target: Place,
    mixed: Sequence[lots.Portion],
    there: Balance | None,
    changes: Sequence[VesselChange] = (),
    *,
    has_happened: bool = False,
) -> HoneyPreview:
    _refuse_two_owners(mixed)
    grams_after = sum(portion.grams for portion in mixed)
    lot = lots.mixed(mixed)
    in_books = there.quantity if there else 0
    _check_room(target, lot, grams_after - in_books if has_happened else grams_after)
    in_target = VesselChange(target, there.quantity if there else 0, grams_after)
    litres = density.litres_of(grams_after, moisture_percent=lot.honey_moisture)
    return HoneyPreview((*changes, in_target), lot, litres)


def _check_pouring(
    sources: Sequence[tuple[Place, int | None]], target: Place, poured_on: date | None = None
) -> None:
    problems = Problems()
    checks.check_day(problems, "poured_on", poured_on)
    if not sources:
        problems.add("sources", _("Choose the vessels to pour from."))
    seen = set()
    for index, (source, grams) in enumerate(sources):
        if grams is not None:
            checks.check_grams(problems, f"sources.{index}.grams", grams)
        if source == target:
            problems.add(
                "target", _("%(place)s can't be poured into itself.") % {"place": source.name}
            )
        if source in seen:
            problems.add(
                f"sources.{index}.place",
                _("%(place)s is listed twice. Put the whole amount in one line.")
                % {"place": source.name},
            )
        seen.add(source)
    rules.check_vessel(problems, "target", target)
    problems.raise_any()


def _portions(
    sources: Sequence[tuple[Place, int | None]], at: datetime | None = None
) -> list[lots.Portion]:
    portions = []
    for index, (source, grams) in enumerate(sources):
        parameter, source_parameter = f"sources.{index}.grams", f"sources.{index}.place"
        if grams is None:
            # No weight was typed, so the problem names the vessel.
            parameter = source_parameter
            grams = all_of(source, parameter=parameter, at=at)
        portions.append(
            take(
                source=source,
                grams=grams,
                parameter=parameter,
                source_parameter=source_parameter,
                at=at,
            )
        )
    return portions


def all_of(source: Place, *, parameter: str = "source", at: datetime | None = None) -> int:
    """Return the grams in a vessel, now or at an earlier moment.

    Raises `NotAllowedNow` when it is empty.
    """
    there = Balance.objects.in_vessel(source, at)
    if there is None and at is not None:
        raise NotAllowedNow(
            _(
                "%(place)s was empty on %(day)s by the books. Enter the weight that was in it, "
                "or first enter what came into it, with its day."
            )
            % {"place": source.name, "day": date_format(timezone.localdate(at))},
            parameter=parameter,
        )
    if there is None:
        raise NotAllowedNow(
            _("%(place)s is empty already.") % {"place": source.name}, parameter=parameter
        )
    return there.quantity


def take(
    *,
    source: Place,
    grams: int,
    parameter: str = "grams",
    source_parameter: str = "source",
    at: datetime | None = None,
) -> lots.Portion:
    """Return the portion that `grams` drawn from a vessel are; raise when they are not free.

    What was drawn at an earlier moment (`at`) is of the lot that was in the vessel then, or last
    before, or of a lot unknown that is not saved yet, however much the books had. Too much is said
    at `parameter`; that all of the vessel is promised, at `source_parameter`.
    """
    if at is not None:
        lot = lot_drawn(source, at) or lots.unknown(timezone.localdate(at))
        return lots.Portion(lot, grams, source)
    there = Balance.objects.in_vessel(source)
    if there is None or there.quantity < grams:
        asked, inside = words.weights_apart(grams, there.quantity if there else 0)
        raise NotEnoughHoney(
            _(
                "Not enough honey: you asked for %(asked)s, but %(place)s has only "
                "%(there)s. Enter less, or choose another vessel."
            )
            % {"asked": asked, "place": source.name, "there": inside},
            parameter=parameter,
        )
    if there.free < grams:
        asked, free = words.weights_apart(grams, there.free)
        raise StockReserved(
            _(
                "%(place)s is reserved for an order: you asked for %(asked)s, but only "
                "%(free)s is free. Choose another vessel, or cancel the order first."
            )
            % {"place": source.name, "asked": asked, "free": free},
            parameter=parameter if there.free else source_parameter,
        )
    return lots.Portion(there.honey_lot, grams, source)


def lot_drawn(source: Place, at: datetime | None = None) -> Lot | None:
    """Return the lot that is drawn from a vessel, now or at an earlier moment.

    The one that is in it, or where it is empty by the books the one that was last in it; None
    where it never had any.
    """
    there = Balance.objects.in_vessel(source, at)
    if there is not None:
        return there.honey_lot
    last = PostingLine.objects.standing().filter(
        place=source, item__kind=Item.Kind.HONEY, quantity__gt=0
    )
    if at is not None:
        last = last.filter(posting__occurred_at__lte=at)
    line = last.select_related("lot__owner").order_by("-posting__occurred_at", "-pk").first()
    return line.lot if line else None


def pour(
    *, target: Place, portions: Sequence[lots.Portion], at: datetime | None = None
) -> list[Line]:
    """Return the lines that bring `portions` into a vessel, now or at an earlier moment.

    Call it with the honey locked. Where lots meet, a blend lot of that day is made of all that is
    then in the vessel; what was poured at an earlier moment has happened, also where it was
    reserved or on hold, and a hold goes on with it.
    Raises `StockReserved`, `NotAllowedNow`, `VesselTooSmall`.
    """
    honey = Item.objects.honey()
    has_happened = at is not None
    for portion in portions:
        lots.save_unknown(portion.lot)
    there = Balance.objects.in_vessel(target, at)
    mixed = _with_what_is_there(target, portions, there, has_happened=has_happened)
    _refuse_two_owners(mixed)
    grams_after = sum(portion.grams for portion in mixed)
    distinct = {portion.lot for portion in mixed}
    if len(distinct) == 1:
        lot = distinct.pop()
    else:
        lot = lots.make_blend(mixed, made_on=timezone.localdate(at) if at else None)
        held.follow(lot, distinct)
    # What the books had in it that day may be wrong; that so much does not go in at all is not.
    arrived = sum(portion.grams for portion in portions)
    _check_room(target, lot, arrived if has_happened else grams_after)
    lines = [Line(honey, portion.source, portion.lot, -portion.grams) for portion in mixed]
    lines.append(Line(honey, target, lot, grams_after))
    return lines


def _with_what_is_there(
    target: Place,
    portions: Sequence[lots.Portion],
    there: Balance | None,
    *,
    has_happened: bool = False,
) -> list[lots.Portion]:
    parts = list(portions)
    if there is not None:
        parts.append(lots.Portion(there.honey_lot, there.quantity, target))
    if has_happened:
        return parts
    _check_mixing(parts, there)
    if there is None:
        return parts
    if there.reserved:
        raise StockReserved(
            _(
                "%(place)s is reserved for an order, so you can't add honey to it. Choose "
                "another vessel."
            )
            % {"place": target.name},
            parameter="target",
        )
    return parts


def _check_mixing(parts: Sequence[lots.Portion], there: Balance | None) -> None:
    """Refuse to mix a lot on hold with another; on its own it may be moved."""
    # A lot that is only previewed has no key yet, so lots are compared, not put into a set.
    if all(part.lot == parts[0].lot for part in parts):
        return
    for index, part in enumerate(parts):
        if part.lot.is_on_hold:
            is_in_target = there is not None and index == len(parts) - 1
            raise LotOnHold(
                _("Lot %(lot)s is on hold and can't be mixed with other honey: %(reason)s")
                % {"lot": part.lot.code, "reason": rules.hold_reason(part.lot)},
                parameter="target" if is_in_target else f"sources.{index}.place",
            )


def _refuse_two_owners(mixed: Sequence[lots.Portion]) -> None:
    """Raise where honey of one beekeeper would be mixed with that of another, or with ours."""
    owners = {portion.lot.owner_id for portion in mixed}
    if len(owners) == 1:
        return
    owner = next(portion.lot.owner for portion in mixed if portion.lot.owner)
    if None in owners:
        sentence = _(
            "Honey of %(owner)s can't be mixed with your own. Choose another vessel, or buy "
            "the honey of %(owner)s first."
        )
    else:
        sentence = _(
            "Honey of %(owner)s can't be mixed with that of another beekeeper. Choose another "
            "vessel."
        )
    raise NotAllowedNow(sentence % {"owner": owner}, parameter="target")


@transaction.atomic
def write_off(
    *,
    place: Place,
    grams: int | None,
    reason: str,
    recorded_by: Person,
    key: str,
    note: str = "",
    written_off_on: date | None = None,
    may_be_fed: bool = False,
) -> Posting:
    """Take honey off the books for a reason of `WRITE_OFF_PLACES`, and say so in the posting.

    `grams` None means all there is; `reason` is a posting kind, such as spoilage, skimmings or own
    use. Without `written_off_on` it happens now. `may_be_fed` confirms that honey that is not of
    the house's own hives may be fed to bees.
    Raises `BadValue`, `NotAllowedNow` for an empty vessel or honey of another that would be used,
    fed or given away, `LotOnHold` for honey on hold that would be, `NotEnoughHoney`,
    `StockReserved`, `AlreadyRecorded`.
    """
    problems = Problems()
    own_places.check(problems, "place", place, recorded_by)
    if grams is not None:
        checks.check_grams(problems, "grams", grams)
    if reason not in WRITE_OFF_PLACES:
        problems.add("reason", _("Choose why it is gone."))
    checks.check_day(problems, "written_off_on", written_off_on)
    problems.raise_any()
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    moment = moments.of_draw(written_off_on, place)
    asked = all_of(place, parameter="place", at=moment) if grams is None else grams
    portion = take(source=place, grams=asked, source_parameter="place", at=moment)
    lots.save_unknown(portion.lot)
    if moment is None:
        refuse_to_use(portion.lot, reason)
        refuse_to_feed(portion.lot, reason, may_be_fed=may_be_fed)
    return ledger.post(
        kind=reason,
        lines=ledger.move(
            item=Item.objects.honey(),
            lot=portion.lot,
            source=place,
            target=Place.objects.outside(WRITE_OFF_PLACES[reason]),
            quantity=portion.grams,
        ),
        recorded_by=recorded_by,
        key=key,
        note=note,
        occurred_at=moment,
        took_all=grams is None,
    )


def refuse_to_use(lot: Lot | None, reason: str) -> None:
    """Raise where a lot on hold or of another beekeeper would be used, fed or given away.

    Call with the item locked.
    """
    if lot is None or reason not in USES:
        return
    lot = Lot.objects.select_related("owner").get(pk=lot.pk)
    if lot.is_on_hold:
        raise LotOnHold(
            _(
                "Lot %(lot)s is on hold, so it can't be used or given away: %(reason)s It may "
                "only be written off as lost or spoiled, or as a sample."
            )
            % {"lot": lot.code, "reason": rules.hold_sentence(lot)},
            parameter="reason",
        )
    if lot.owner is None:
        return
    raise NotAllowedNow(
        _(
            "Lot %(lot)s belongs to %(owner)s, so it can't be used or given away. Hand it back, "
            "or buy it first."
        )
        % {"lot": lot.code, "owner": lot.owner},
        parameter="reason",
    )


def _check_room(place: Place, lot: Lot, grams: int) -> None:
    """Raise when so much of this honey would run over; the coldest reading takes least room."""
    if place.capacity_litres is None:
        return
    litres = density.litres_of(grams, moisture_percent=lot.honey_moisture)
    if litres > place.capacity_litres:
        capacity, made = words.volumes_apart(place.capacity_litres, litres)
        raise VesselTooSmall(
            _(
                "%(place)s would overflow: it has room for %(capacity)s, but would then "
                "have %(litres)s. Enter less, or choose another vessel."
            )
            % {
                "place": place.name,
                "capacity": capacity,
                "litres": made,
            },
            parameter="sources",
        )
