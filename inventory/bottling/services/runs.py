"""Bottling runs: planned, then recorded in one posting, or cancelled."""

from datetime import date
from decimal import Decimal
from typing import cast

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, PartReceipt, Product, Size
from inventory.bottling.rules import costs, filling, parts
from inventory.shared import checks, days, words
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    NotAllowedNow,
    NotEnoughParts,
    Problems,
)
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import lot_codes, rules
from inventory.stock.models import Balance, Item, Lot, LotParent, Place, Posting, ProductionSettings
from inventory.stock.services import ledger, stores

# A plan for a day further away is a slip of the finger.
PLAN_DAYS_MAX = 366
# Four weeks of one person's days and nights.
LABOUR_MINUTES_MAX = 28 * 24 * 60


@transaction.atomic
def plan(
    *,
    product: Product,
    source: Place,
    target: Place,
    pieces: int,
    planned_for: date,
    planned_by: Person,
    key: str,
    celsius: Decimal | None = None,
    lot_code: str = "",
    variety_is_right: bool = False,
    note: str = "",
) -> BottlingRun:
    """Plan to fill `pieces` from a vessel; no honey leaves the books yet, none is reserved.

    The run gets its lot code now, because the stamp is set before the first jar: the one typed, or
    one by the house's pattern. It never changes. Without `celsius` the house's usual filling
    temperature counts. Missing parts do not stop a plan. `variety_is_right` confirms a variety that
    the floral source of the honey does not name. Raises `BadValue`, `NotEnoughHoney`,
    `StockReserved`, and `VesselTooSmall` when the declared weight does not go into the size.
    """
    problems = Problems()
    _check_product(problems, product)
    rules.check_pieces(problems, "pieces", pieces)
    rules.check_vessel(problems, "source", source)
    rules.check_store(problems, "target", target)
    if abs((planned_for - timezone.localdate()).days) > PLAN_DAYS_MAX:
        problems.add("planned_for", _("That day is more than a year away. Check the date."))
    lot_code = lot_code.strip()
    if lot_code:
        lot_codes.check_code(problems, "lot_code", lot_code)
    problems.raise_any()
    size = product.honey_size
    ledger.lock_items([Item.objects.honey(), product.item])
    refuse_repeat(BottlingRun, key, message=_("This run was planned already."))
    if celsius is None:
        celsius = ProductionSettings.current().honey_house_celsius
    problems = Problems()
    there = Balance.objects.in_vessel(source)
    for error in (
        filling.honey_error(there, source, filling.grams_needed(size, pieces), parameter="pieces"),
        filling.fit_error(there, size, celsius),
    ):
        if error:
            problems.add_error(error)
    if there and not variety_is_right and (asked := filling.variety_sentence(product, there)):
        problems.add("variety_is_right", asked)
    if lot_code and _is_code_taken(lot_code, product):
        problems.add(
            "lot_code",
            _("Lot %(code)s of %(product)s is there already. Type another code.")
            % {"code": lot_code, "product": product.name},
        )
    elif lot_code and (other := _bearer_of(lot_code)):
        problems.add(
            "lot_code",
            _("%(code)s is %(other)s. Type a code that nothing else has.")
            % {"code": lot_code, "other": other},
        )
    problems.raise_any()
    run = BottlingRun(
        number=_next_number(planned_for),
        product=product,
        lot_code=lot_code or _next_lot_code(product, planned_for),
        source=source,
        target=target,
        lot=there.honey_lot if there else None,
        pieces_planned=pieces,
        planned_for=planned_for,
        celsius=celsius,
        recorded_by=planned_by,
        note=note,
        idempotency_key=key,
    )
    checks.save_checked(run)
    return run


@transaction.atomic
def record(
    *,
    run: BottlingRun,
    pieces_filled: int,
    pieces_broken: int,
    drawn_grams: int,
    drawn_by: str,
    loss_grams: int,
    labour_minutes: int | None,
    celsius: Decimal | None,
    recorded_by: Person,
    key: str,
    target: Place | None = None,
    bottled_on: date | None = None,
    figures_are_right: bool = False,
    note: str = "",
) -> BottlingRun:
    """Record what a planned run did, in one posting: honey out, parts out, packed lot in.

    `drawn_grams` left the vessel; `loss_grams` of it went into no jar; broken pieces take their
    label weight. The packed lot gets the code of the run, a best-by date and, where honey and parts
    have a cost, its own; labour is not in it where `labour_minutes` is None: not entered.
    `figures_are_right` confirms far more honey than the pieces hold.

    Raises `BadValue`, `NotEnoughHoney`, `StockReserved`, `NotEnoughParts`, `NotAllowedNow`,
    `AlreadyRecorded`; several at once as `SeveralProblems`.
    """
    run = BottlingRun.objects.select_for_update().get(pk=run.pk)
    product, size, source = run.product, run.size, run.source
    target = target or run.target
    bottled_on = bottled_on or timezone.localdate()
    honey_item = Item.objects.honey()
    ledger.lock_items([honey_item, product.item, *(use.part.item for use in product.uses())])
    if ledger.find(key):
        raise AlreadyRecorded(_("This run was recorded already."), made=run)
    _refuse_unless_planned(run)
    shares = filling.share_out(
        size, drawn_grams=drawn_grams, loss_grams=loss_grams, pieces_broken=pieces_broken
    )
    _check_figures(size, shares, pieces_filled, pieces_broken, labour_minutes)
    problems = Problems()
    rules.check_store(problems, "target", target)
    there = Balance.objects.in_vessel(source)
    if bottled_on > timezone.localdate():
        problems.add(
            "bottled_on", _("The day of the run is in the future. Choose today or an earlier day.")
        )
    elif there and bottled_on < (came_in_on := rules.came_in_on(there.honey_lot.origins())):
        problems.add(
            "bottled_on",
            _("This honey came in on %(day)s; it can't have been bottled before that.")
            % {"day": date_format(came_in_on)},
        )
    is_excessive = filling.is_excessive(size, shares, pieces_filled + pieces_broken)
    if is_excessive and not figures_are_right:
        problems.add("figures_are_right", filling.excess_sentence(size, shares, pieces_filled))
    if error := filling.honey_error(
        there, source, drawn_grams, parameter="drawn_grams", is_done=True
    ):
        problems.add_error(error)
    needs = parts.needs(product.uses_with_stock(), filled=pieces_filled, broken=pieces_broken)
    for need in needs:
        if need.short:
            problems.add_error(_parts_error(need))
    problems.raise_any()
    # An empty vessel is among the problems.
    lot = cast(Balance, there).honey_lot
    run.celsius = run.celsius if celsius is None else celsius
    _check_temperature(lot, size, run.celsius)
    run.honey_cents = costs.honey_cents(lot, Decimal(drawn_grams))
    run.parts_cents = costs.parts_cents(needs, PartReceipt.objects.average_costs())
    run.labour_cents = costs.labour_cents(
        labour_minutes, cents_per_hour=ProductionSettings.current().labour_cents_per_hour
    )
    packed = _make_packed_lot(run, lot, pieces_filled, bottled_on)
    LotParent.objects.create(lot=packed, parent=lot, grams=shares.packed_grams)
    run.posting = ledger.post(
        kind=Posting.Kind.BOTTLING,
        lines=[
            *_honey_lines(honey_item, lot, source, shares),
            *_part_lines(needs),
            *ledger.move(
                item=product.item,
                lot=packed,
                source=Place.objects.outside(Place.Kind.PACKING),
                target=target,
                quantity=pieces_filled,
            ),
        ],
        recorded_by=recorded_by,
        key=key,
        note=_("Run %(number)s, lot %(lot)s") % {"number": run.number, "lot": packed.code},
        occurred_at=days.moment(bottled_on),
    )
    run.status = BottlingRun.Status.RECORDED
    run.lot, run.packed_lot, run.target = lot, packed, target
    run.pieces_filled, run.pieces_broken = pieces_filled, pieces_broken
    run.drawn_grams, run.drawn_by, run.loss_grams = drawn_grams, drawn_by, loss_grams
    run.labour_minutes = labour_minutes
    run.recorded_at, run.recorded_by = timezone.now(), recorded_by
    run.note = note or run.note
    checks.save_checked(run)
    return run


@transaction.atomic
def cancel(*, run: BottlingRun, cancelled_by: Person, reason: str = "") -> BottlingRun:
    """Drop a planned run. Raises `NotAllowedNow` when it was recorded, undone or dropped."""
    run = BottlingRun.objects.select_for_update().get(pk=run.pk)
    _refuse_unless_planned(run)
    run.status = BottlingRun.Status.CANCELLED
    run.recorded_by, run.recorded_at = cancelled_by, timezone.now()
    run.note = reason.strip() or run.note
    checks.save_checked(run)
    return run


def _check_figures(
    size: Size,
    shares: filling.Shares,
    pieces_filled: int,
    pieces_broken: int,
    labour_minutes: int | None,
) -> None:
    problems = Problems()
    rules.check_pieces(problems, "pieces_filled", pieces_filled)
    if not 0 <= pieces_broken <= rules.PIECES_MAX:
        problems.add("pieces_broken", _("Enter how many broke, from 0 to a million."))
    checks.check_grams(problems, "drawn_grams", shares.drawn_grams)
    if shares.loss_grams < 0:
        problems.add("loss_grams", _("The loss can't be below zero."))
    if labour_minutes is not None and not 0 <= labour_minutes <= LABOUR_MINUTES_MAX:
        problems.add(
            "labour_minutes",
            _("Enter the minutes of work, from 0 to %(most)s.")
            % {"most": words.number(LABOUR_MINUTES_MAX)},
        )
    problems.raise_any()
    if filling.is_impossible(size, shares, pieces_filled):
        problems.add("drawn_grams", filling.impossible_sentence(size, shares, pieces_filled))
    problems.raise_any()


def _check_temperature(lot: Lot, size: Size, celsius: Decimal | None) -> None:
    if celsius is None:
        return
    try:
        filling.fit(size, moisture_percent=lot.honey_moisture, celsius=celsius)
    except ValueError as error:
        raise BadValue(str(error), parameter="celsius") from error


def _parts_error(need: parts.PartNeed) -> NotEnoughParts:
    return NotEnoughParts(
        _(
            "Not enough parts: the run used %(needed)s of %(part)s. In the books: "
            "%(there)s. Missing: %(short)s. Receive the parts or correct the count first."
        )
        % {
            "needed": need.needed,
            "part": need.part.name,
            "there": need.there,
            "short": need.short,
        },
        parameter="pieces_filled",
        short=need.short,
    )


def _refuse_unless_planned(run: BottlingRun) -> None:
    if run.status != BottlingRun.Status.PLANNED:
        raise NotAllowedNow(
            _("Run %(number)s is %(status)s, no longer planned. Plan another run.")
            % {"number": run.number, "status": run.get_status_display()}
        )


def _honey_lines(item: Item, lot: Lot, source: Place, shares: filling.Shares) -> list[ledger.Line]:
    lines = []
    for kind, grams in (
        (Place.Kind.PACKING, shares.packed_grams),
        (Place.Kind.FILLING_LOSS, shares.loss_grams),
        (Place.Kind.BROKEN, shares.broken_grams),
    ):
        place = Place.objects.outside(kind)
        lines += ledger.move(item=item, lot=lot, source=source, target=place, quantity=grams)
    return lines


def _part_lines(needs: list[parts.PartNeed]) -> list[ledger.Line]:
    packing = Place.objects.outside(Place.Kind.PACKING)
    places = list(Place.objects.filter(kind__in=Place.STORES))
    lines = []
    for need in needs:
        if not need.needed:
            continue
        for balance, taken in stores.pick(item=need.part.item, places=places, pieces=need.needed):
            lines += ledger.move(
                item=balance.item, lot=None, source=balance.place, target=packing, quantity=taken
            )
    return lines


def _make_packed_lot(run: BottlingRun, lot: Lot, pieces: int, bottled_on: date) -> Lot:
    """Make the lot of the jars, with the code that the run got when it was planned."""
    packed = Lot(
        kind=Lot.Kind.PACKED,
        code=run.lot_code,
        season=lot.season,
        floral_source=lot.floral_source,
        yard=lot.yard,
        made_on=bottled_on,
        moisture_percent=lot.moisture_percent,
        colour_mm=lot.colour_mm,
        quantity_made=pieces,
        cost_cents=costs.run_cents(
            honey_cents=run.honey_cents, parts_cents=run.parts_cents, labour_cents=run.labour_cents
        ),
        product=run.product,
        owner=lot.owner,
        best_by=filling.best_by(bottled_on, run.size.best_by_months),
    )
    checks.save_checked(packed)
    return packed


def _check_product(problems: Problems, product: Product) -> None:
    if not product.is_in_use:
        problems.add("product", _("%(product)s is out of use.") % {"product": product.name})
    elif not product.is_honey:
        problems.add(
            "product",
            _("%(product)s is not filled from a tank. Choose a honey.") % {"product": product.name},
        )


def _next_lot_code(product: Product, day: date) -> str:
    """Return the code by the house's pattern for a run of this product on a day.

    A pattern without a number gives all runs of a day one code; a second run of the same product
    gets a number behind it, so that the two stay apart.
    """
    code = lot_codes.of_day(ProductionSettings.current().lot_code_pattern, day)
    series = lot_codes.series(code)
    if lot_codes.has_number(code):
        while _is_code_taken(made := lot_codes.numbered(code, ledger.next_number(series)), product):
            pass
        return made
    made, number = code, 1
    while _is_code_taken(made, product):
        number += 1
        made = f"{code}-{number}"
    return made


def _is_code_taken(code: str, product: Product) -> bool:
    """Tell whether jars of this product bear the code, or a run is planned to stamp it."""
    return (
        Lot.objects.filter(code=code, product=product).exists()
        or BottlingRun.objects.filter(lot_code=code, product=product)
        .exclude(status=BottlingRun.Status.CANCELLED)
        .exists()
    )


def _bearer_of(code: str) -> str:
    """Say what else a code names: a vessel, or honey in bulk; an empty text for nothing.

    Whoever asks about a code then means one kind of thing.
    """
    vessel = Place.objects.filter(
        Q(code__iexact=code) | Q(name__iexact=code), kind__in=Place.VESSELS
    ).first()
    if vessel is not None:
        return _("the number of %(vessel)s") % {"vessel": vessel.name}
    if Lot.objects.filter(code__iexact=code, product=None).exists():
        return _("the code of a lot of honey in bulk")
    return ""


def _next_number(day: date) -> str:
    number = ledger.next_number(f"run-{day.year}")
    return f"R{day.year % 100:02d}-{number:03d}"
