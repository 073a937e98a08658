"""A count of everything or of one place: a sheet is opened, filled in, and closed in one act."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import checks, keys, series
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    NotAllowedNow,
    Problems,
    parameters_named,
)
from inventory.shared.people import Person
from inventory.shared.services import repeats
from inventory.stock import counting, density, own_places, rules, vessels
from inventory.stock.counting import ComparedLine
from inventory.stock.models import (
    Balance,
    CountLine,
    CountSheet,
    Item,
    Lot,
    Place,
    Posting,
    ProductionSettings,
)
from inventory.stock.models.counting import BookReading, book_since
from inventory.stock.services import ledger, numbers, shortages, surpluses

How = CountLine.How
NAME_LENGTH_MAX = 80
REASON_LENGTH_MAX = 300
# So far may the clock of a phone be ahead of ours.
CLOCK_AHEAD_MAX = timedelta(minutes=5)
# A tank has a lid, and no seal.
SEALED = (Place.Kind.DRUM, Place.Kind.PAIL, Place.Kind.TOTE)


@dataclass(frozen=True)
class CountedThing:
    """So many pieces, or grams of what is kept by weight, of an item and lot."""

    item: Item
    lot: Lot | None
    quantity: int


@transaction.atomic
def open_sheet(
    *, name: str, is_blind: bool, opened_by: Person, key: str, place: Place | None = None
) -> CountSheet:
    """Open a sheet for a count of everything, or of one shelf, stand or van.

    One of everything is open at a time, and one of each place. Raises `BadValue` without a name or
    for a place that is not the person's, `NotAllowedNow` while another is open, `AlreadyRecorded`.
    """
    problems = Problems()
    if place is not None:
        rules.check_for_goods(problems, "place", place)
        own_places.check(problems, "place", place, opened_by)
    elif not own_places.has_every(opened_by):
        problems.add("place", _("Choose the place that you count."))
    name = " ".join(name.split())
    if not 1 <= len(name) <= NAME_LENGTH_MAX:
        problems.add("name", _("Give the count a name, for example: year end 2026."))
    problems.raise_any()
    year = timezone.localdate().year
    # Taken first, since its lock makes two who open a sheet wait for each other.
    number = numbers.next_number(f"count-{year}")
    repeats.refuse_repeat(CountSheet, key)
    if other := CountSheet.objects.open().filter(place=place).first():
        raise NotAllowedNow(
            _("Count %(number)s is still open. Close or cancel it first.")
            % {"number": other.number}
        )
    return CountSheet.objects.create(
        number=f"{series.COUNTS}{year % 100:02d}-{number}",
        name=name,
        place=place,
        is_blind=is_blind,
        opened_by=opened_by,
        idempotency_key=key,
    )


@transaction.atomic
def enter(
    *,
    sheet: CountSheet,
    place: Place,
    things: Sequence[CountedThing],
    counted_by: Person,
    key: str,
    counted_at: datetime | None = None,
    note: str = "",
) -> list[CountLine]:
    """Enter what was counted in a store, now or at that moment; the books don't change yet.

    A thing that was entered before is replaced, and the earlier line stays readable. Raises
    `BadValue` at "things.0.quantity" for a wrong figure of the first thing, `NotAllowedNow` for a
    sheet that is not open, `AlreadyRecorded`.
    """
    problems = Problems()
    rules.check_for_goods(problems, "place", place)
    own_places.check(problems, "place", place, counted_by)
    _check_on_sheet(problems, "place", sheet, place)
    if not things:
        problems.add("things", _("Enter at least one count."))
    for index, thing in enumerate(things):
        parameter = f"things.{index}.quantity"
        if thing.quantity != 0 and thing.item.is_weighed:
            checks.check_grams(problems, parameter, thing.quantity)
        elif not 0 <= thing.quantity <= rules.PIECES_MAX:
            problems.add(parameter, _("Enter how many you counted, from 0 to a million."))
        if thing.item.kind == Item.Kind.HONEY:
            problems.add(f"things.{index}.item", _("Bulk honey is counted in its vessel."))
    _check_moment(problems, "counted_at", counted_at)
    problems.raise_any()
    sheet = _lock_open(sheet)
    repeats.refuse_repeat(CountLine, keys.part(key, 0))
    moment = counted_at or timezone.now()
    book = book_since(moment, [place])
    return [
        _add(
            CountLine(
                sheet=sheet,
                place=place,
                item=thing.item,
                lot=thing.lot,
                how=How.COUNTED,
                counted=thing.quantity,
                book_quantity=book.then(
                    (place.pk, thing.item.pk, thing.lot.pk if thing.lot else 0), moment
                ),
                counted_at=moment,
                counted_by=counted_by,
                note=note.strip(),
                idempotency_key=keys.part(key, index),
            )
        )
        for index, thing in enumerate(things)
    ]


@transaction.atomic
def enter_vessel(
    *,
    sheet: CountSheet,
    vessel: Place,
    how: str,
    counted_by: Person,
    key: str,
    grams: int | None = None,
    depth_mm: int | None = None,
    celsius: Decimal | None = None,
    gross_grams: int | None = None,
    tare_grams: int | None = None,
    lot: Lot | None = None,
    counted_at: datetime | None = None,
    note: str = "",
) -> CountLine:
    """Enter what is in a vessel: net weight, dip, gross weight, or that its seal is whole.

    `lot` is only needed where other honey is in it than the books say. A whole seal says that it
    is as full as the books say. Raises `BadValue` for a figure that is missing or can't be,
    `NotAllowedNow` for a sheet that is not open, `AlreadyRecorded`.
    """
    problems = Problems()
    rules.check_vessel(problems, "vessel", vessel)
    own_places.check(problems, "vessel", vessel, counted_by)
    _check_on_sheet(problems, "vessel", sheet, vessel)
    _check_moment(problems, "counted_at", counted_at)
    problems.raise_any()
    sheet = _lock_open(sheet)
    repeats.refuse_repeat(CountLine, key)
    moment = counted_at or timezone.now()
    book = book_since(moment, [vessel])
    book_lot, book_grams = _in_vessel(book, vessel, moment)
    line = CountLine(
        sheet=sheet,
        place=vessel,
        item=Item.objects.honey(),
        lot=lot or book_lot,
        lot_is_told=lot is not None,
        how=how,
        book_quantity=book_grams,
        counted_at=moment,
        counted_by=counted_by,
        note=note.strip(),
        idempotency_key=key,
    )
    if how == How.SEAL:
        _fill_seal(line)
    elif how == How.DIP:
        _fill_dip(line, depth_mm, celsius)
    elif how == How.GROSS:
        _fill_gross(line, gross_grams, tare_grams)
    elif how == How.WEIGHT:
        _fill_weight(line, grams)
    else:
        raise BadValue(_("Choose how it was counted."), parameter="how")
    _check_honey(line)
    return _add(line)


@transaction.atomic
def enter_seals(
    *,
    sheet: CountSheet,
    vessels: Sequence[Place],
    counted_by: Person,
    key: str,
    counted_at: datetime | None = None,
) -> list[CountLine]:
    """Enter that the seals of these vessels are whole; raises as `enter_vessel`."""
    if not vessels:
        raise BadValue(_("Tick the drums whose seal is whole."), parameter="vessels")
    with parameters_named(vessel="vessels"):
        return [
            enter_vessel(
                sheet=sheet,
                vessel=vessel,
                how=How.SEAL,
                counted_by=counted_by,
                key=keys.part(key, vessel.pk),
                counted_at=counted_at,
            )
            for vessel in vessels
        ]


@transaction.atomic
def close(
    *,
    sheet: CountSheet,
    reason: str,
    closed_by: Person,
    key: str,
    uncounted: str = CountSheet.Uncounted.LEFT,
    as_of: datetime | None = None,
    surplus_reason: str = "",
) -> CountSheet:
    """Post all differences of a sheet as of one moment, now without `as_of`, and close it.

    A line is compared with the books of the moment it was counted, with all that was entered
    since, so that what was sold or moved in the meantime is no difference. Each place has one
    posting of its own: what is missing in one place is not made up for by a surplus in another.
    `uncounted` says whether things without a line are left as they are, or counted as zero.
    `surplus_reason` says why there is more of a lot than was made of it and has not left.

    Raises `BadValue`, `NotAllowedNow` for a sheet that is not open or has no line, and for each
    line that can't be posted any more, in words; `AlreadyRecorded`.
    """
    problems = Problems()
    if not 1 <= len(reason.strip()) <= REASON_LENGTH_MAX:
        problems.add("reason", _("Enter a reason for changing the books to match the count."))
    if uncounted not in CountSheet.Uncounted.values:
        problems.add("uncounted", _("Choose what happens with what was not counted."))
    if len(surplus_reason) > REASON_LENGTH_MAX:
        problems.add("surplus_reason", _("That is too long. Say it in fewer words."))
    _check_moment(problems, "as_of", as_of)
    problems.raise_any()
    _check_whole(problems, sheet, closed_by)
    problems.raise_any()
    sheet = CountSheet.objects.select_for_update().get(pk=sheet.pk)
    if sheet.closing_key == key:
        raise AlreadyRecorded(_("This was recorded already."), made=sheet)
    _check_open(sheet)
    ledger.lock_items(_items_touched(sheet, uncounted))
    # With the items locked, so that nothing else is booked at this moment or later.
    now = timezone.now()
    if uncounted == CountSheet.Uncounted.ZERO:
        _count_the_rest_as_zero(sheet, closed_by, now, key)
    lines = list(sheet.lines.standing().with_all())
    if not lines:
        raise NotAllowedNow(_("Nothing is counted yet. Enter counts first, or cancel the sheet."))
    book = book_since(min([as_of or now, *(line.counted_at for line in lines)]))
    compared = [counting.compare(line, book, as_of) for line in lines]
    for each in compared:
        if each.problem:
            problems.add_error(NotAllowedNow(each.problem))
    surplus = surpluses.found([change for each in compared for change in each.changes])
    if not surplus_reason.strip():
        surpluses.ask_why(problems, surplus, "surplus_reason")
    problems.raise_any()
    _post(compared, reason.strip(), as_of or now, closed_by, key)
    for each in compared:
        # What was short after it was counted is not known by this count.
        shortages.settle_counted(
            item=each.line.item,
            place=each.line.place,
            lot=each.lot,
            settled_by=closed_by,
            key=keys.part(key, f"line-{each.line.pk}"),
            occurred_at=each.line.counted_at,
        )
    sheet.closed_at, sheet.closed_by, sheet.closing_key = now, closed_by, key
    sheet.as_of, sheet.reason, sheet.uncounted = as_of or now, reason.strip(), uncounted
    sheet.surplus_reason = surplus_reason.strip() if surplus else ""
    sheet.save()
    return sheet


@transaction.atomic
def cancel(*, sheet: CountSheet, cancelled_by: Person) -> CountSheet:
    """Close a sheet without changing the books; its lines stay readable."""
    problems = Problems()
    _check_whole(problems, sheet, cancelled_by)
    problems.raise_any()
    sheet = _lock_open(sheet)
    sheet.cancelled_at, sheet.cancelled_by = timezone.now(), cancelled_by
    sheet.save(update_fields=["cancelled_at", "cancelled_by"])
    return sheet


@transaction.atomic
def count_now(
    *,
    place: Place,
    things: Sequence[CountedThing],
    counted_by: Person,
    key: str,
    note: str = "",
    surplus_reason: str = "",
) -> CountSheet:
    """Count one shelf, stand or van in one act: a sheet that is opened, filled in and closed.

    What is not entered stays as it is in the books; of what is entered, shortages are settled.
    Raises as `open_sheet`, `enter` and `close`, with the same key for all.
    """
    if made := CountSheet.objects.filter(idempotency_key=key).first():
        raise AlreadyRecorded(_("This was recorded already."), made=made)
    sheet = open_sheet(
        name=(_("Count of %(place)s") % {"place": place.name})[:NAME_LENGTH_MAX],
        is_blind=True,
        opened_by=counted_by,
        key=key,
        place=place,
    )
    enter(
        sheet=sheet,
        place=place,
        things=things,
        counted_by=counted_by,
        key=keys.part(key, "lines"),
        note=note,
    )
    return close(
        sheet=sheet,
        reason=sheet.name,
        surplus_reason=surplus_reason,
        closed_by=counted_by,
        key=keys.part(key, "closing"),
    )


def _check_on_sheet(problems: Problems, parameter: str, sheet: CountSheet, place: Place) -> None:
    """Check that a place is on a sheet, which may be of one place alone."""
    if sheet.place is not None and sheet.place != place:
        problems.add(
            parameter,
            _("Count %(number)s is of %(place)s alone.")
            % {"number": sheet.number, "place": sheet.place.name},
        )


def _check_whole(problems: Problems, sheet: CountSheet, person: Person) -> None:
    """Check that a person may act at all places of a sheet."""
    if sheet.place is not None:
        own_places.check(problems, None, sheet.place, person)
    elif not own_places.has_every(person):
        problems.add(None, _("This count is of all places. Ask the office to do this."))


def _lock_open(sheet: CountSheet) -> CountSheet:
    sheet = CountSheet.objects.select_for_update().get(pk=sheet.pk)
    _check_open(sheet)
    return sheet


def _check_open(sheet: CountSheet) -> None:
    if sheet.closed_at:
        raise NotAllowedNow(_("Count %(number)s is closed.") % {"number": sheet.number})
    if sheet.cancelled_at:
        raise NotAllowedNow(_("Count %(number)s was cancelled.") % {"number": sheet.number})


def _check_moment(problems: Problems, parameter: str, moment: datetime | None) -> None:
    if moment is None:
        return
    if moment > timezone.now() + CLOCK_AHEAD_MAX:
        problems.add(parameter, _("This time is in the future. Choose an earlier one."))
    else:
        checks.check_day(problems, parameter, min(timezone.localdate(moment), timezone.localdate()))


def _add(line: CountLine) -> CountLine:
    """Save a line; one of the same thing that is there already gives way to it."""
    same = line.sheet.lines.standing().filter(place=line.place, item=line.item)
    if not line.place.is_vessel:
        same = same.filter(lot=line.lot)
    earlier = list(same.values_list("pk", flat=True))
    checks.save_checked(line)
    CountLine.objects.filter(pk__in=earlier).update(replaced_by=line)
    return line


def _in_vessel(book: BookReading, vessel: Place, moment: datetime) -> tuple[Lot | None, int]:
    """Return the honey that the books have in a vessel at a moment."""
    for key in book.at_place(vessel, Item.objects.honey()):
        if there := book.then(key, moment):
            return book.now[key].lot, there
    return None, 0


def _fill_seal(line: CountLine) -> None:
    if line.place.kind not in SEALED:
        raise BadValue(
            _("%(place)s has no seal. Dip it, or weigh what is in it.")
            % {"place": line.place.name},
            parameter="how",
        )
    if not line.book_quantity:
        raise BadValue(
            _("%(place)s is empty in the books, so a seal says nothing. Weigh what is in it.")
            % {"place": line.place.name},
            parameter="how",
        )
    line.counted = line.book_quantity


def _fill_weight(line: CountLine, grams: int | None) -> None:
    problems = Problems()
    if grams is None:
        problems.add("grams", _("Enter the weight of the honey. Enter 0 if it is empty."))
    elif grams:
        checks.check_grams(problems, "grams", grams)
    problems.raise_any()
    line.counted = grams or 0


def _fill_gross(line: CountLine, gross_grams: int | None, tare_grams: int | None) -> None:
    problems = Problems()
    tare = line.place.tare_grams if tare_grams is None else tare_grams
    if gross_grams is None:
        problems.add("gross_grams", _("Enter the gross weight."))
    else:
        checks.check_grams(problems, "gross_grams", gross_grams)
    if tare is None:
        problems.add(
            "tare_grams", _("Enter the empty weight of %(drum)s.") % {"drum": line.place.name}
        )
    elif tare < 0:
        problems.add("tare_grams", _("The empty weight can't be below zero."))
    elif gross_grams is not None and gross_grams < tare:
        problems.add("gross_grams", _("The gross weight can't be less than the empty weight."))
    problems.raise_any()
    line.gross_grams, line.tare_grams = gross_grams, tare
    line.counted = (gross_grams or 0) - (tare or 0)


def _fill_dip(line: CountLine, depth_mm: int | None, celsius: Decimal | None) -> None:
    problems = Problems()
    if depth_mm is None:
        problems.add("depth_mm", _("Enter how deep the honey is."))
    if celsius is None:
        problems.add("celsius", _("Enter the temperature of the honey."))
    if line.lot is None or line.lot.moisture_percent is None:
        problems.add("lot", _("Choose the lot that is in it: its weight depends on its moisture."))
    problems.raise_any()
    if depth_mm is None or celsius is None or line.lot is None:
        return
    with parameters_named(place="vessel"):
        litres = vessels.litres_at(line.place, depth_mm)
    try:
        weighed = density.grams_of(
            litres, moisture_percent=line.lot.honey_moisture, celsius=celsius
        )
    except ValueError as error:
        raise BadValue(str(error), parameter="celsius") from error
    line.depth_mm, line.celsius, line.counted = depth_mm, celsius, weighed.grams
    line.uncertainty_grams = weighed.uncertainty_grams + _stick_grams(
        line.place, depth_mm, litres, weighed.grams
    )


def _stick_grams(place: Place, depth_mm: int, litres: Decimal, grams: int) -> int:
    """Return how far a dip can be wrong because the stick is read to its nearest mark."""
    shape = vessels.shape_of(place)
    half_mark_cm = float(ProductionSettings.current().stick_mark_mm) / 20
    above_cm = min(depth_mm / 10 + half_mark_cm, shape.height_cm)
    volume = Decimal(str(shape.volume_l(above_cm)))
    return round((volume - litres) * grams / litres) if litres else 0


def _check_honey(line: CountLine) -> None:
    """Check that what was counted is of a lot of bulk honey, and has room in its vessel."""
    if line.counted and line.lot is None:
        raise BadValue(
            _(
                "The books have no honey in %(place)s. Choose the lot that is in it; honey that "
                "is in no lot yet is received first."
            )
            % {"place": line.place.name},
            parameter="lot",
        )
    if line.lot is not None and line.lot.product_id is not None:
        raise BadValue(_("Choose a lot of honey in bulk."), parameter="lot")
    if line.how == How.DIP or line.place.capacity_litres is None or not line.counted:
        return
    if line.lot is None or line.lot.moisture_percent is None:
        return
    litres = density.litres_of(line.counted, moisture_percent=line.lot.honey_moisture)
    if line.how != How.SEAL and litres > line.place.capacity_litres:
        raise BadValue(
            _("%(place)s has no room for so much honey. Check the figure and its unit.")
            % {"place": line.place.name},
            parameter="gross_grams" if line.how == How.GROSS else "grams",
        )


def _items_touched(sheet: CountSheet, uncounted: str) -> list[Item]:
    touched = Item.objects.filter(count_lines__sheet=sheet)
    if uncounted == CountSheet.Uncounted.ZERO:
        there = Balance.objects.filter(is_physical=True, quantity__gt=0)
        if sheet.place is not None:
            there = there.filter(place=sheet.place)
        touched = touched | Item.objects.filter(pk__in=there.values("item"))
    return list(touched.distinct())


def _count_the_rest_as_zero(
    sheet: CountSheet, counted_by: Person, moment: datetime, key: str
) -> None:
    counted = {line.key for line in sheet.lines.standing().select_related("place")}
    places = None if sheet.place is None else [sheet.place]
    for balance in book_since(moment, places).now.values():
        line = CountLine(
            sheet=sheet,
            place=balance.place,
            item=balance.item,
            lot=balance.lot,
            how=How.NOT_FOUND,
            counted=0,
            book_quantity=balance.quantity,
            counted_at=moment,
            counted_by=counted_by,
            idempotency_key=keys.part(key, f"rest-{balance.pk}"),
        )
        if balance.quantity and line.key not in counted:
            line.save()


def _post(
    compared: Sequence[ComparedLine],
    reason: str,
    as_of: datetime,
    closed_by: Person,
    key: str,
) -> None:
    """Post the changes, a posting for each place, and say at each line what its difference was."""
    by_place: dict[Place, list[ComparedLine]] = {}
    for each in compared:
        by_place.setdefault(each.line.place, []).append(each)
    difference = Place.objects.outside(Place.Kind.COUNT_DIFFERENCE)
    for place, lines in by_place.items():
        moves = [
            line
            for each in lines
            for change in each.changes
            for line in ledger.move(
                item=change.item,
                lot=change.lot,
                source=difference,
                target=place,
                quantity=change.quantity,
            )
        ]
        posting = None
        if moves:
            posting = ledger.post(
                kind=Posting.Kind.COUNT,
                lines=moves,
                recorded_by=closed_by,
                key=keys.part(key, place.pk),
                note=reason,
                occurred_at=as_of,
            )
        for each in lines:
            each.line.counted, each.line.difference = each.counted, each.difference
            each.line.lot = each.lot
            each.line.posting = posting if each.changes else None
    CountLine.objects.bulk_update(
        [each.line for each in compared], ["lot", "counted", "difference", "posting"]
    )
