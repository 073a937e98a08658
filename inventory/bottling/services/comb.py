"""Comb honey: taken from the hives by the piece or by weight, and cut into pieces."""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.models import CombCut, Product
from inventory.bottling.rules import costs, filling, forms_of_honey, parts
from inventory.bottling.services import packed_codes, part_closings, used_parts
from inventory.shared import checks, days
from inventory.shared.errors import AlreadyRecorded, HouseError, Problems, parameters_named
from inventory.shared.people import Person
from inventory.stock import lot_codes
from inventory.stock import rules as stock_rules
from inventory.stock.models import Balance, Item, Lot, LotParent, Place, Posting
from inventory.stock.services import honey, ledger, lots


@transaction.atomic
def receive(
    *,
    product: Product,
    place: Place,
    quantity: int,
    season: int,
    floral_source: str,
    harvested_on: date,
    recorded_by: Person,
    key: str,
    yard: str = "",
    cost_cents: int | None = None,
    lot_code: str = "",
    note: str = "",
) -> Lot:
    """Bring comb from the hives to a shelf, stand or van as a new lot, and return the lot.

    `quantity` is pieces, or grams of comb that is counted by weight, to be cut. It is harvest of
    the season but no extraction: no moisture is measured. The code is the one typed, or the next by
    the house's pattern. Raises `BadValue`, `AlreadyRecorded`.
    """
    problems = Problems()
    _check_comb(problems, "product", product)
    if product.item.is_weighed:
        checks.check_grams(problems, "quantity", quantity)
    else:
        stock_rules.check_pieces(problems, "quantity", quantity)
    stock_rules.check_store(problems, "place", place)
    if not floral_source.strip():
        problems.add("floral_source", _("Enter the floral source, for example clover."))
    checks.check_day(problems, "harvested_on", harvested_on)
    if abs(harvested_on.year - season) > 1:
        problems.add(
            "season",
            _("%(day)s does not belong to the season %(season)s. Check the date and the season.")
            % {"day": date_format(harvested_on), "season": season},
        )
    if cost_cents is not None and cost_cents < 0:
        problems.add("cost_cents", _("The cost can't be below zero."))
    lot_code = _code_checked(problems, lot_code)
    problems.raise_any()
    ledger.lock_items([product.item])
    ledger.refuse_repeat(key)
    if taken := packed_codes.taken_error(lot_code, product, parameter="lot_code"):
        raise taken
    lot = Lot(
        kind=Lot.Kind.PACKED,
        code=lot_code or packed_codes.next_code(product, harvested_on),
        season=season,
        floral_source=floral_source.strip(),
        yard=yard.strip(),
        made_on=harvested_on,
        quantity_made=quantity,
        cost_cents=cost_cents,
        product=product,
        best_by=filling.best_by(harvested_on, product.honey_size.best_by_months),
        note=note,
    )
    checks.save_checked(lot)
    ledger.post(
        kind=Posting.Kind.COMB_HARVEST,
        lines=ledger.move(
            item=product.item,
            lot=lot,
            source=Place.objects.outside(Place.Kind.HARVEST),
            target=place,
            quantity=quantity,
        ),
        recorded_by=recorded_by,
        key=key,
        note=note,
        occurred_at=days.moment(harvested_on),
    )
    return lot


@transaction.atomic
def cut(
    *,
    comb: Balance,
    comb_grams: int,
    product: Product,
    pieces: int,
    target: Place,
    recorded_by: Person,
    key: str,
    loss_grams: int = 0,
    drained_grams: int = 0,
    vessel: Place | None = None,
    moisture_percent: Decimal | None = None,
    cut_on: date | None = None,
    lot_code: str = "",
    figures_are_right: bool = False,
    note: str = "",
) -> CombCut:
    """Cut so much comb of a lot into pieces, in one posting: comb and parts out, pieces in.

    Of `comb_grams`, `drained_grams` went into a vessel as a lot of its own, or a blend with what is
    in it; `loss_grams` went nowhere; the rest is in the pieces. The pieces cost what all of the
    comb did less the drained honey, and their parts. `figures_are_right` confirms far more comb
    than the pieces hold. Raises `BadValue`, `LotOnHold`, `NotEnoughStock`, `StockReserved`,
    `NotEnoughParts`, `VesselTooSmall`, `AlreadyRecorded`.
    """
    cut_on = cut_on or timezone.localdate()
    problems = Problems()
    _check_figures(problems, comb, comb_grams, pieces, loss_grams, drained_grams)
    _check_comb(problems, "product", product)
    if product.item.is_weighed:
        problems.add("product", _("%(name)s is not counted in pieces.") % {"name": product.name})
    stock_rules.check_store(problems, "target", target)
    checks.check_day(problems, "cut_on", cut_on)
    lot_code = _code_checked(problems, lot_code)
    moisture = None
    if drained_grams > 0:
        if vessel is None:
            problems.add("vessel", _("Choose the vessel that the drained honey went into."))
        else:
            stock_rules.check_vessel(problems, "vessel", vessel)
        try:
            moisture = lots.moisture_known(moisture_percent)
        except HouseError as error:
            problems.add_error(error)
    problems.raise_any()
    honey_item = Item.objects.honey()
    ledger.lock_items(
        [honey_item, comb.item, product.item, *(use.part.item for use in product.uses())]
    )
    if posting := ledger.find(key):
        raise AlreadyRecorded(_("This was recorded already."), made=posting.comb_cut)
    lot = comb.honey_lot
    there = Balance.objects.of_lot_at(lot, comb.place)
    for found in forms_of_honey.comb_errors(there, comb_grams, parameter="comb_grams"):
        problems.add_error(found)
    if cut_on < lot.made_on:
        problems.add(
            "cut_on",
            _("This comb came in on %(day)s; it can't have been cut before that.")
            % {"day": date_format(lot.made_on)},
        )
    in_pieces = comb_grams - loss_grams - drained_grams
    impossible, asked = forms_of_honey.cut_sentences(product.honey_size, in_pieces, pieces)
    if impossible:
        problems.add("comb_grams", impossible)
    if asked and not figures_are_right:
        problems.add("figures_are_right", asked)
    if taken := packed_codes.taken_error(lot_code, product, parameter="lot_code"):
        problems.add_error(taken)
    needs = parts.needs(product.uses_with_stock(), filled=pieces)
    for need in needs:
        if need.short:
            problems.add_error(used_parts.error_of(need, "pieces"))
    problems.raise_any()
    packing = Place.objects.outside(Place.Kind.PACKING)
    lines = ledger.move(
        item=comb.item,
        lot=lot,
        source=comb.place,
        target=packing,
        quantity=comb_grams - loss_grams,
    )
    lines += ledger.move(
        item=comb.item,
        lot=lot,
        source=comb.place,
        target=Place.objects.outside(Place.Kind.FILLING_LOSS),
        quantity=loss_grams,
    )
    comb_cents = stock_rules.cost_cents([(lot, comb_grams)])
    drained = None
    if vessel is not None and moisture is not None:
        drained = _make_drained_lot(lot, drained_grams, moisture, cut_on)
        with parameters_named(target="vessel", sources="drained_grams"):
            lines += honey.pour(
                target=vessel,
                portions=[lots.Portion(drained, drained_grams, packing)],
                at=days.past_moment(cut_on),
            )
        if comb_cents is not None and drained.cost_cents is not None:
            comb_cents -= drained.cost_cents
    parts_cents = costs.parts_cents(needs, part_closings.heaps(need.part for need in needs))
    packed = Lot(
        kind=Lot.Kind.PACKED,
        code=lot_code or packed_codes.next_code(product, cut_on),
        season=lot.season,
        floral_source=lot.floral_source,
        yard=lot.yard,
        made_on=cut_on,
        quantity_made=pieces,
        cost_cents=costs.run_cents(
            honey_cents=comb_cents, parts_cents=parts_cents, labour_cents=None
        ),
        product=product,
        best_by=filling.best_by(cut_on, product.honey_size.best_by_months),
        note=note,
    )
    checks.save_checked(packed)
    LotParent.objects.create(lot=packed, parent=lot, grams=in_pieces)
    posting = ledger.post(
        kind=Posting.Kind.COMB_CUT,
        lines=[
            *lines,
            *used_parts.lines(needs),
            *ledger.move(
                item=product.item, lot=packed, source=packing, target=target, quantity=pieces
            ),
        ],
        recorded_by=recorded_by,
        key=key,
        note=note,
        occurred_at=days.moment(cut_on),
    )
    return CombCut.objects.create(
        posting=posting,
        comb_lot=lot,
        packed_lot=packed,
        drained_lot=drained,
        comb_grams=comb_grams,
        drained_grams=drained_grams,
        loss_grams=loss_grams,
        parts_cents=parts_cents,
    )


def _check_figures(
    problems: Problems,
    comb: Balance,
    comb_grams: int,
    pieces: int,
    loss_grams: int,
    drained_grams: int,
) -> None:
    if not comb.item.is_weighed:
        problems.add("comb", _("Only comb that is counted by weight can be cut."))
    checks.check_grams(problems, "comb_grams", comb_grams)
    stock_rules.check_pieces(problems, "pieces", pieces)
    if loss_grams < 0:
        problems.add("loss_grams", _("The loss can't be below zero."))
    if drained_grams < 0:
        problems.add("drained_grams", _("The honey drained can't be below zero."))


def _check_comb(problems: Problems, parameter: str, product: Product) -> None:
    if not product.is_in_use:
        problems.add(parameter, _("%(product)s is out of use.") % {"product": product.name})
    elif not product.is_honey or product.form != Product.Form.COMB:
        problems.add(parameter, _("%(product)s is not comb honey.") % {"product": product.name})


def _code_checked(problems: Problems, lot_code: str) -> str:
    lot_code = lot_code.strip()
    if lot_code:
        lot_codes.check_code(problems, "lot_code", lot_code)
    return lot_code


def _make_drained_lot(comb: Lot, grams: int, moisture: Decimal, day: date) -> Lot:
    """Make the lot of the honey that drained when comb was cut: a blend of one parent."""
    lot = Lot(
        kind=Lot.Kind.BLEND,
        code=lots.next_code(comb.season, "B"),
        season=comb.season,
        floral_source=comb.floral_source,
        yard=comb.yard,
        made_on=day,
        moisture_percent=moisture,
        quantity_made=grams,
        cost_cents=stock_rules.cost_cents([(comb, grams)]),
        note=_("Drained from cut comb of lot %(lot)s.") % {"lot": comb.code},
    )
    checks.save_checked(lot)
    LotParent.objects.create(lot=lot, parent=comb, grams=grams)
    return lot
