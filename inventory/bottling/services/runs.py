"""Bottling runs: planned, then recorded in one posting, or cancelled."""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, Product, Size
from inventory.bottling.rules import costs, filling, forms_of_honey, parts
from inventory.bottling.services import (
    additions,
    packed_codes,
    part_closings,
    products,
    run_dips,
    run_lines,
    used_parts,
)
from inventory.shared import checks, series
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    HouseError,
    NotAllowedNow,
    Problems,
)
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import lot_codes, rules
from inventory.stock.models import Balance, Item, Lot, LotParent, Place, Posting, ProductionSettings
from inventory.stock.services import held, honey, ledger, moments, numbers

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
    lot_code_is_right: bool = False,
    variety_is_right: bool = False,
    moisture_is_right: bool = False,
    seed_source: Place | None = None,
    seed_percent: Decimal | None = None,
    setting_place: str = "",
    setting_days: int | None = None,
    comb: Balance | None = None,
    comb_grams_each: int | None = None,
    share_is_right: bool = False,
    without_labels: bool = False,
    is_filled: bool = False,
    day_is_right: bool = False,
    note: str = "",
) -> BottlingRun:
    """Plan to fill `pieces` from a vessel; no honey leaves the books yet, none is reserved.

    For an earlier day, and where `is_filled`, it was made already: its honey is what was in the
    vessel that day, however much the books had. `day_is_right` confirms a day more than a year ago.

    The run gets its lot code now, because the stamp is set before the first jar: the one typed, or
    one by the house's pattern. It never changes. Without `celsius` the house's usual filling
    temperature counts. Missing parts do not stop a plan. `variety_is_right` confirms a variety that
    the floral source of the honey does not name, `moisture_is_right` honey above the house's own
    limit of moisture, `lot_code_is_right` a code that is on jars of
    other honey; one that is on jars of another owner is refused. `without_labels` fills jars that
    are labelled later, as another product.

    Creamed honey takes seed from another vessel, `seed_percent` of all the honey in the jars; an
    unusual share is confirmed by `share_is_right`. Without seed it was creamed in the vessel.
    Chunk honey takes `comb_grams_each` of the comb at a place into each jar. Raises `LotOnHold`,
    `BadValue`, `NotEnoughHoney`, `StockReserved`, and `VesselTooSmall` when the declared weight
    does not go into the size.
    """
    problems = Problems()
    _check_product(problems, product)
    if without_labels and not problems:
        product = products.unlabelled(product=product)
    rules.check_pieces(problems, "pieces", pieces)
    rules.check_vessel(problems, "source", source)
    rules.check_store(problems, "target", target)
    days_ahead = (planned_for - timezone.localdate()).days
    if days_ahead > PLAN_DAYS_MAX or (days_ahead < -PLAN_DAYS_MAX and not day_is_right):
        problems.add("planned_for", _("That day is more than a year away. Check the date."))
    additions.check_seed(
        problems,
        product=product,
        source=source,
        seed_source=seed_source,
        seed_percent=seed_percent,
        setting_days=setting_days,
        share_is_right=share_is_right,
    )
    additions.check_comb(problems, product=product, comb=comb, comb_grams_each=comb_grams_each)
    lot_code = lot_code.strip()
    if lot_code:
        lot_codes.check_code(problems, "lot_code", lot_code)
    problems.raise_any()
    size = product.honey_size
    ledger.lock_items([Item.objects.honey(), product.item, *([comb.item] if comb else [])])
    refuse_repeat(BottlingRun, key, message=_("This run was planned already."))
    if celsius is None:
        celsius = ProductionSettings.current().honey_house_celsius
    problems = Problems()
    moment = moments.of_draw(planned_for, source) if planned_for < timezone.localdate() else None
    there = Balance.objects.in_vessel(source, moment)
    is_made = is_filled or moment is not None
    if is_made and there is None and (last := honey.lot_drawn(source, moment)):
        there = Balance(item=Item.objects.honey(), place=source, lot=last, quantity=0)
    needed = forms_of_honey.needed(
        size,
        pieces,
        seed_percent=seed_percent if seed_source else None,
        comb=comb,
        comb_grams_each=comb_grams_each or 0,
    )
    found: list[HouseError | None] = [
        filling.fit_error(there, size, celsius, comb_grams=comb_grams_each or 0)
    ]
    if not is_made:
        found += _what_is_missing(source, there, seed_source, comb, needed)
    for error in found:
        if error:
            problems.add_error(error)
    limit = ProductionSettings.current().moisture_limit_percent
    if there and not moisture_is_right:
        asked = rules.above_limit_sentence(there.honey_lot, source, limit)
        if asked:
            problems.add("moisture_is_right", asked)
    if there and not variety_is_right and (asked := filling.variety_sentence(product, there)):
        problems.add("variety_is_right", asked)
    if taken := packed_codes.taken_error(lot_code, product, parameter="lot_code"):
        problems.add_error(taken)
    elif lot_code and there:
        packed_codes.check_honey(
            problems,
            lot_code=lot_code,
            honey=there.honey_lot,
            lot_code_is_right=lot_code_is_right,
        )
    problems.raise_any()
    planned = there.honey_lot if there else None
    run = BottlingRun(
        number=_next_number(planned_for),
        product=product,
        lot_code=lot_code or packed_codes.next_code(product, planned_for, honey=planned),
        source=source,
        target=target,
        lot=planned,
        pieces_planned=pieces,
        planned_for=planned_for,
        celsius=celsius,
        recorded_by=planned_by,
        note=note,
        idempotency_key=key,
    )
    checks.save_checked(run)
    additions.keep_plan(
        run,
        seed_source=seed_source,
        seed_percent=seed_percent,
        setting_place=setting_place,
        setting_days=setting_days,
        comb=comb,
        comb_grams_each=comb_grams_each,
    )
    return run


def _what_is_missing(
    source: Place,
    there: Balance | None,
    seed_source: Place | None,
    comb: Balance | None,
    needed: forms_of_honey.Needed,
) -> list[HouseError | None]:
    """Return what stands against a run that is still to be made; one of an earlier day was made."""
    found: list[HouseError | None] = [
        filling.honey_error(there, source, needed.liquid_grams, parameter="pieces")
    ]
    if seed_source:
        seed = Balance.objects.in_vessel(seed_source)
        found += forms_of_honey.seed_errors(
            seed, seed_source, needed.seed_grams, parameter="seed_source"
        )
        added = seed.lot if seed else None
        found.append(forms_of_honey.owner_error(there, added, parameter="seed_source"))
    if comb:
        found += forms_of_honey.comb_errors(
            Balance.objects.of_lot_at(comb.honey_lot, comb.place),
            needed.comb_quantity,
            parameter="comb",
        )
        found.append(forms_of_honey.owner_error(there, comb.lot, parameter="comb"))
    return found


@transaction.atomic
def record(
    *,
    run: BottlingRun,
    pieces_filled: int,
    pieces_broken: int,
    drawn_grams: int | None,
    drawn_by: str,
    loss_grams: int,
    labour_minutes: int | None,
    celsius: Decimal | None,
    recorded_by: Person,
    key: str,
    target: Place | None = None,
    bottled_on: date | None = None,
    figures_are_right: bool = False,
    seed_grams: int | None = None,
    comb_quantity: int | None = None,
    without_labels: bool = False,
    before_mm: int | None = None,
    after_mm: int | None = None,
    note: str = "",
) -> BottlingRun:
    """Record what a planned run did, in one posting: honey out, parts out, packed lot in.

    `drawn_grams` left the vessel; `loss_grams` of it went into no jar; broken pieces take their
    label weight. Where nobody measured it, `drawn_grams` is None: it is then estimated from the
    pieces, whatever `drawn_by` is, until a dip or a weight settles it. The packed lot gets the code
    of the run, a best-by date and, where honey and parts have a cost, its own; labour is not in it
    where `labour_minutes` is None: not entered.
    `figures_are_right` confirms far more honey than the pieces hold, or an odd share of seed; what
    they can't hold to the brim is then booked as lost. `before_mm` and `after_mm` are dips of the
    vessel, kept as readings beside the books.
    `seed_grams` and `comb_quantity`, in what the comb is counted in, went in beside the honey; None
    is what was planned. Creamed honey is ready so many days after it was bottled.
    `without_labels` says that the labels that were planned are not on the jars yet.

    The jars are there, so a run is never refused because the books lack honey or parts: what is
    short comes from "to be settled", and what was reserved or on hold is booked as well; jars of
    honey on hold are on hold too. On an earlier day it drew what was in the vessel that day. A run
    that was undone can be recorded again, and keeps its code and its holds.
    Raises `BadValue`, `NotAllowedNow`, `AlreadyRecorded`; several at once as `SeveralProblems`.
    """
    run = BottlingRun.objects.select_for_update().get(pk=run.pk)
    if without_labels and run.status == BottlingRun.Status.PLANNED:
        run.product = _without_labels(run)
    product, size, source = run.product, run.size, run.source
    target = target or run.target
    bottled_on = bottled_on or timezone.localdate()
    honey_item = Item.objects.honey()
    ledger.lock_items(
        [
            honey_item,
            product.item,
            *(use.part.item for use in product.uses()),
            *additions.items_of(run),
        ]
    )
    if ledger.find(key):
        raise AlreadyRecorded(_("This run was recorded already."), made=run)
    _refuse_unless_open(run)
    run_lines.check_figures(pieces_filled, pieces_broken, drawn_grams, loss_grams, labour_minutes)
    problems = Problems()
    rules.check_store(problems, "target", target)
    checks.check_day(problems, "bottled_on", bottled_on)
    problems.raise_any()
    moment = moments.of_draw(bottled_on, source)
    if drawn_grams is None:
        drawn_by = BottlingRun.DrawnBy.ESTIMATED
        drawn_grams = additions.estimated_drawn(
            run,
            pieces_filled=pieces_filled,
            pieces_broken=pieces_broken,
            loss_grams=loss_grams,
            seed_grams=seed_grams,
            comb_quantity=comb_quantity,
            at=moment,
        )
        checks.check_grams(problems, "pieces_filled", drawn_grams)
        problems.raise_any()
    lot = run_lines.lot_drawn(run, bottled_on, moment)
    addition = additions.taken(
        run,
        drawn_grams=drawn_grams,
        pieces=pieces_filled + pieces_broken,
        seed_grams=seed_grams,
        comb_quantity=comb_quantity,
        at=moment,
    )
    shares = filling.share_out(
        size,
        drawn_grams=drawn_grams + (addition.grams if addition else 0),
        loss_grams=loss_grams,
        pieces_broken=pieces_broken,
    )
    liquid, added = forms_of_honey.split(
        shares, addition, pieces_filled=pieces_filled, pieces_broken=pieces_broken
    )
    if sentence := forms_of_honey.impossible_sentence(size, liquid, added, pieces_filled, addition):
        raise BadValue(sentence, parameter="drawn_grams")
    if addition and bottled_on < addition.lot.made_on:
        problems.add(
            "bottled_on",
            _("Lot %(lot)s is of %(day)s; it can't have gone into jars before that.")
            % {"lot": addition.lot.code, "day": date_format(addition.lot.made_on)},
        )
    beyond = filling.beyond_brim(
        size,
        shares,
        pieces_filled,
        moisture_percent=lot.moisture_percent,
        celsius=run.celsius if celsius is None else celsius,
    )
    asked = forms_of_honey.odd_figures(
        size,
        shares,
        addition,
        pieces_filled=pieces_filled,
        pieces_broken=pieces_broken,
        beyond_brim=beyond,
    )
    if beyond:
        loss_grams += beyond
        liquid, added = forms_of_honey.split(
            shares.with_lost(beyond),
            addition,
            pieces_filled=pieces_filled,
            pieces_broken=pieces_broken,
        )
    if asked and not figures_are_right:
        problems.add("figures_are_right", " ".join(asked))
    if addition and lot.owner_id != addition.lot.owner_id:
        problems.add_error(run_lines.owner_error(lot, addition.lot))
    problems.raise_any()
    needs = parts.needs(product.uses_with_stock(), filled=pieces_filled, broken=pieces_broken)
    there = Balance.objects.in_vessel(source, moment)
    run.celsius = run.celsius if celsius is None else celsius
    _check_temperature(lot, size, run.celsius)
    run.honey_cents = costs.drawn_cents(lot, drawn_grams, addition)
    run.parts_cents = costs.parts_cents(needs, part_closings.heaps(need.part for need in needs))
    run.labour_cents = costs.labour_cents(
        labour_minutes, cents_per_hour=ProductionSettings.current().labour_cents_per_hour
    )
    in_jars = lot
    lines = run_lines.honey(lot, source, liquid)
    if addition:
        in_jars = additions.honey_in_jars(
            lot, liquid.packed_grams, source, addition, added.packed_grams
        )
        lines += additions.lines(
            addition, added, pieces_filled=pieces_filled, pieces_broken=pieces_broken
        )
        additions.keep_taken(run, addition)
    packed = _make_packed_lot(run, in_jars, pieces_filled, bottled_on)
    for parent, grams in forms_of_honey.parents(lot, liquid, addition, added):
        LotParent.objects.create(lot=packed, parent=parent, grams=grams)
    used = [(need.part, need.needed) for need in needs if need.needed]
    run.posting = ledger.post(
        kind=Posting.Kind.BOTTLING,
        lines=[
            *lines,
            *used_parts.lines_used(used, at=moment, short_at=target),
            *run_lines.jars(packed, target, pieces_filled),
        ],
        recorded_by=recorded_by,
        key=key,
        note=_("Run %(number)s, lot %(lot)s") % {"number": run.number, "lot": packed.code},
        occurred_at=moment,
        has_happened=True,
    )
    run.status = BottlingRun.Status.RECORDED
    run.lot, run.packed_lot, run.target = lot, packed, target
    run.pieces_filled, run.pieces_broken = pieces_filled, pieces_broken
    run.drawn_grams, run.drawn_by, run.loss_grams = drawn_grams, drawn_by, loss_grams
    run.labour_minutes = labour_minutes
    run.recorded_at, run.recorded_by = timezone.now(), recorded_by
    run.note = note or run.note
    checks.save_checked(run)
    run_dips.keep(
        run=run,
        book_grams_before=there.quantity if there else 0,
        before_mm=before_mm,
        after_mm=after_mm,
        celsius=run.celsius,
        read_by=recorded_by,
        key=key,
    )
    held.follow(packed, [parent for parent in (lot, addition and addition.lot) if parent])
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


def _without_labels(run: BottlingRun) -> Product:
    """Return the product that a run fills when its jars get no labels yet."""
    product = products.unlabelled(product=run.product)
    if product != run.product and packed_codes.is_taken(run.lot_code, product):
        raise BadValue(
            _("Lot %(code)s of %(product)s is there already, so this run can't fill it too.")
            % {"code": run.lot_code, "product": product.name},
            parameter="without_labels",
        )
    return product


def _check_temperature(lot: Lot, size: Size, celsius: Decimal | None) -> None:
    if celsius is None or lot.moisture_percent is None:
        return
    try:
        filling.fit(size, moisture_percent=lot.honey_moisture, celsius=celsius)
    except ValueError as error:
        raise BadValue(str(error), parameter="celsius") from error


def _refuse_unless_open(run: BottlingRun) -> None:
    """A planned run can be recorded, and one that was undone, with the code that is stamped."""
    if not run.can_be_recorded:
        _refuse_unless_planned(run)


def _refuse_unless_planned(run: BottlingRun) -> None:
    if run.status != BottlingRun.Status.PLANNED:
        raise NotAllowedNow(
            _("Run %(number)s is %(status)s, no longer planned. Plan another run.")
            % {"number": run.number, "status": run.get_status_display()}
        )


def _make_packed_lot(run: BottlingRun, lot: Lot, pieces: int, bottled_on: date) -> Lot:
    """Make the lot of the jars, or take the one that they have, with the code of the plan."""
    packed = run.packed_lot
    if packed is None or packed.product_id != run.product_id:
        packed = Lot(kind=Lot.Kind.PACKED, code=run.lot_code, product=run.product)
    # A run that was undone keeps its lot, with its holds: the jars are those that have its code.
    LotParent.objects.filter(lot=packed.pk).delete()
    packed.season, packed.floral_source, packed.yard = lot.season, lot.floral_source, lot.yard
    packed.made_on, packed.quantity_made = bottled_on, pieces
    packed.moisture_percent, packed.colour_mm = lot.moisture_percent, lot.colour_mm
    packed.cost_cents = costs.run_cents(
        honey_cents=run.honey_cents, parts_cents=run.parts_cents, labour_cents=run.labour_cents
    )
    packed.owner = lot.owner
    packed.best_by = filling.best_by(bottled_on, run.size.best_by_months)
    packed.ready_on = additions.ready_on(run, bottled_on)
    checks.save_checked(packed)
    return packed


def _check_product(problems: Problems, product: Product) -> None:
    if not product.is_in_use:
        problems.add("product", _("%(product)s is out of use.") % {"product": product.name})
    elif product.is_honey and not product.is_filled:
        problems.add(
            "product",
            _("%(product)s is comb honey, which is received or cut, not filled.")
            % {"product": product.name},
        )
    elif not product.is_honey:
        problems.add(
            "product",
            _("%(product)s is not filled from a tank. Choose a honey.") % {"product": product.name},
        )


def _next_number(day: date) -> str:
    number = numbers.next_number(f"run-{day.year}")
    return f"{series.RUNS}{day.year % 100:02d}-{number:03d}"
