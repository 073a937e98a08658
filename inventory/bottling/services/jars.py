"""Filled jars labelled later, relabelled as another product, or emptied back into a vessel."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, JarChange, PackagingPart, Product
from inventory.bottling.rules import jars as rules
from inventory.bottling.services import jar_changes
from inventory.shared import checks, days
from inventory.shared.errors import Problems, parameters_named
from inventory.shared.people import Person
from inventory.stock import rules as stock_rules
from inventory.stock.models import Item, Lot, LotParent, Place, Posting
from inventory.stock.models.lots import MOISTURE_MAX, MOISTURE_MIN
from inventory.stock.services import honey, ledger, lots

# The letter in the codes of honey that came out of jars.
EMPTIED_LETTER = "J"


@transaction.atomic
def label(
    *,
    lot: Lot,
    place: Place,
    product: Product,
    pieces: int,
    changed_by: Person,
    key: str,
    target: Place | None = None,
    labour_minutes: int | None = None,
    variety_is_right: bool = False,
    changed_on: date | None = None,
    note: str = "",
) -> JarChange:
    """Make so many pieces of a lot another product by a label, and book out the labels.

    Jars without a label get their first one; others lose theirs. The code on the jars stays: the
    pieces become a lot of the other product with the same code, or are added to it. Without
    `target` they stay where they are. `variety_is_right` confirms a variety that the floral source
    does not name. Raises `BadValue`, `LotOnHold`, `NotEnoughParts`, `StockReserved`,
    `AlreadyRecorded`.
    """
    target = target or place
    ledger.lock_items(jar_changes.items_of([lot], [product]))
    ledger.refuse_repeat(key)
    lot = _jars(lot)
    source = _product_of(lot)
    problems = Problems()
    stock_rules.check_pieces(problems, "pieces", pieces)
    stock_rules.check_store(problems, "place", place)
    stock_rules.check_store(problems, "target", target)
    rules.check_minutes(problems, "labour_minutes", labour_minutes)
    rules.check_changed_on(problems, "changed_on", changed_on, lot.made_on)
    rules.check_not_held(problems, "lot", lot)
    if not product.is_in_use:
        problems.add("product", _("%(product)s is out of use.") % {"product": product.name})
    elif not rules.can_become(source, product):
        problems.add(
            "product",
            _(
                "%(source)s can't become %(product)s. Choose another label for the same "
                "jar of honey."
            )
            % {"source": source.name, "product": product.name},
        )
    elif not variety_is_right and (asked := rules.variety_sentence(lot, source, product)):
        problems.add("variety_is_right", asked)
    problems.raise_any()
    jar_changes.check_pieces_there(problems, "pieces", lot, place, pieces)
    needs = rules.labels(product.uses_with_stock(), pieces)
    jar_changes.check_labels_there(problems, "pieces", needs)
    made = _lot_labelled(problems, lot, product)
    problems.raise_any()
    parts_cents, labour_cents = jar_changes.costs_of(needs, labour_minutes)
    cost_cents = rules.changed_cents(
        pieces_cents=[rules.pieces_cents(lot, pieces)],
        parts_cents=parts_cents,
        labour_cents=labour_cents,
    )
    if made.pk is None:
        made.cost_cents = 0
        checks.save_checked(made)
    jar_changes.start_anew_if_undone(made)
    cents_before = jar_changes.cents_before(made) if made.quantity_made else 0
    grams = {lot: lot.honey_in(pieces)}
    made.cost_cents = rules.sum_cents(made.cost_cents if made.quantity_made else 0, cost_cents)
    jar_changes.add_pieces(made, pieces, {lot: pieces})
    checks.save_checked(made)
    packing = Place.objects.outside(Place.Kind.PACKING)
    return jar_changes.record(
        act=JarChange.Act.LABEL if source.is_unlabelled else JarChange.Act.RELABEL,
        lot=made,
        pieces=pieces,
        changed={lot: pieces},
        grams=grams,
        kind=Posting.Kind.LABELLING,
        lines=[
            *jar_changes.move_pieces(lot, place, packing, pieces),
            *jar_changes.move_pieces(made, packing, target, pieces),
            *jar_changes.part_lines(needs, "pieces"),
        ],
        cost_cents=cost_cents,
        cents_before=cents_before,
        parts_cents=parts_cents,
        labour_minutes=labour_minutes,
        labour_cents=labour_cents,
        changed_by=changed_by,
        changed_on=changed_on,
        key=key,
        note=note,
    )


@transaction.atomic
def empty(
    *,
    lot: Lot,
    place: Place,
    pieces: int,
    grams: int,
    vessel: Place,
    changed_by: Person,
    key: str,
    parts_back: Mapping[PackagingPart, int] | None = None,
    moisture_percent: Decimal | None = None,
    figures_are_right: bool = False,
    changed_on: date | None = None,
    note: str = "",
) -> JarChange:
    """Empty so many pieces of a lot into a vessel, by scale: `grams` came out.

    The honey becomes a lot of its own, and a blend with what is in the vessel; what had gone into
    the pieces and did not come out is filling loss. `parts_back` says which parts were washed and
    go back to `place`; the others are lost. Without `moisture_percent` that of the jars counts.
    `figures_are_right` confirms more honey than went in. Raises `BadValue`, `LotOnHold`,
    `VesselTooSmall`, `StockReserved`, `AlreadyRecorded`.
    """
    parts_back = dict(parts_back or {})
    ledger.lock_items(jar_changes.items_of([lot], honey=True))
    ledger.refuse_repeat(key)
    lot = _jars(lot)
    product = _product_of(lot)
    problems = _problems_of_emptying(lot, place, pieces, grams, vessel, moisture_percent)
    rules.check_changed_on(problems, "changed_on", changed_on, lot.made_on)
    problems.raise_any()
    rules.check_parts_back(problems, "parts_back", parts_back, rules.washable(product, pieces))
    jar_changes.check_pieces_there(problems, "pieces", lot, place, pieces)
    if sentence := rules.room_sentence(product, lot, pieces, grams):
        problems.add("grams", sentence)
    elif not figures_are_right and (asked := rules.excess_sentence(lot, pieces, grams)):
        problems.add("figures_are_right", asked)
    problems.raise_any()
    inside = lot.honey_in(pieces)
    loss_grams = max(0, inside - grams)
    made = emptied_lot(
        lot=lot, pieces=pieces, grams=grams, moisture_percent=moisture_percent, made_on=changed_on
    )
    made.code = lots.next_code(made.season, EMPTIED_LETTER)
    checks.save_checked(made)
    LotParent.objects.create(lot=made, parent=lot, grams=made.quantity_made)
    packing = Place.objects.outside(Place.Kind.PACKING)
    with parameters_named(target="vessel", sources="grams"):
        into_vessel = honey.pour(
            target=vessel,
            portions=[lots.Portion(made, grams, packing)],
            at=days.past_moment(changed_on),
        )
    return jar_changes.record(
        act=JarChange.Act.EMPTY,
        lot=made,
        pieces=grams,
        changed={lot: pieces},
        grams={lot: inside},
        kind=Posting.Kind.EMPTYING,
        lines=[
            *jar_changes.move_pieces(lot, place, packing, pieces),
            *into_vessel,
            *ledger.move(
                item=Item.objects.honey(),
                lot=made,
                source=packing,
                target=Place.objects.outside(Place.Kind.FILLING_LOSS),
                quantity=loss_grams,
            ),
            *jar_changes.parts_back_lines(parts_back, place),
        ],
        cost_cents=made.cost_cents,
        loss_grams=loss_grams,
        changed_by=changed_by,
        changed_on=changed_on,
        key=key,
        note=note,
    )


def emptied_lot(
    *,
    lot: Lot,
    pieces: int,
    grams: int,
    moisture_percent: Decimal | None = None,
    made_on: date | None = None,
) -> Lot:
    """Return the lot of honey that so many emptied pieces become, not saved and without a code.

    It is all the honey that was in them: what is lost in emptying is of this lot too.
    """
    inside = lot.honey_in(pieces)
    return Lot(
        kind=Lot.Kind.BLEND,
        season=lot.season,
        floral_source=lot.floral_source,
        yard=lot.yard,
        made_on=made_on or timezone.localdate(),
        moisture_percent=lot.moisture_percent if moisture_percent is None else moisture_percent,
        colour_mm=lot.colour_mm,
        owner=lot.owner,
        quantity_made=max(grams, inside),
        cost_cents=rules.emptied_cents(
            lot.honey_unit_cost_cents(), inside, rules.pieces_cents(lot, pieces)
        ),
        note=_("Out of %(pieces)s of %(product)s, lot %(lot)s")
        % {"pieces": pieces, "product": _product_of(lot).name, "lot": lot.code},
    )


def preview_emptying(
    *,
    lot: Lot,
    place: Place,
    pieces: int,
    grams: int,
    vessel: Place,
    moisture_percent: Decimal | None = None,
) -> honey.HoneyPreview:
    """Say what emptying would leave in the vessel, without doing it; raises as `empty`."""
    _problems_of_emptying(lot, place, pieces, grams, vessel, moisture_percent).raise_any()
    made = emptied_lot(lot=lot, pieces=pieces, grams=grams, moisture_percent=moisture_percent)
    made.quantity_made = grams
    with parameters_named(place="vessel"):
        return honey.preview_receipt(place=vessel, lot=made)


def _problems_of_emptying(
    lot: Lot,
    place: Place,
    pieces: int,
    grams: int,
    vessel: Place,
    moisture_percent: Decimal | None,
) -> Problems:
    problems = Problems()
    stock_rules.check_pieces(problems, "pieces", pieces)
    stock_rules.check_store(problems, "place", place)
    stock_rules.check_vessel(problems, "vessel", vessel)
    checks.check_grams(problems, "grams", grams)
    rules.check_not_held(problems, "lot", lot)
    if not _product_of(lot).is_filled:
        problems.add(
            "lot",
            _("%(product)s is not honey in a jar, so it can't be emptied.")
            % {"product": _product_of(lot).name},
        )
    elif moisture_percent is None and lot.moisture_percent is None:
        problems.add("moisture_percent", _("Enter the moisture: it was not measured before."))
    if moisture_percent is not None and not MOISTURE_MIN <= moisture_percent <= MOISTURE_MAX:
        problems.add("moisture_percent", _("Enter a moisture from 10 to 30 percent."))
    return problems


def _jars(lot: Lot) -> Lot:
    """Return the lot as it is now, with its product; the items are locked."""
    return Lot.objects.select_related("product__item", "product__size").get(pk=lot.pk)


def _product_of(lot: Lot) -> Product:
    if lot.product is None:
        raise ValueError(f"{lot} is honey in bulk, not in jars.")
    return lot.product


def _lot_labelled(problems: Problems, lot: Lot, product: Product) -> Lot:
    """Return the lot that jars of `lot` become as another product: the one with their code, or new.

    Jars that go back to a product that they were made from get a number behind their code: a lot
    can't be made of itself.
    """
    code, number = lot.code, 1
    older = {lot.pk, *(relative.pk for relative in lot.ancestors())}
    known = Lot.objects.filter(code=code, product=product).first()
    while known is not None and known.pk in older:
        number += 1
        code = f"{lot.code}-{number}"
        known = Lot.objects.filter(code=code, product=product).first()
    planned = BottlingRun.objects.filter(
        lot_code=code, product=product, status=BottlingRun.Status.PLANNED
    ).first()
    if planned:
        problems.add(
            "product",
            _(
                "Run %(run)s is planned to fill %(product)s with the code %(lot)s. Record or "
                "cancel it first."
            )
            % {"run": planned.number, "product": product.name, "lot": code},
        )
    if known is not None:
        rules.check_not_held(problems, "product", known)
        if known.owner_id != lot.owner_id:
            problems.add(
                "product",
                _("Lot %(lot)s of %(product)s belongs to somebody else.")
                % {"lot": known.code, "product": product.name},
            )
        known.best_by = min(
            (day for day in (known.best_by, lot.best_by) if day is not None), default=None
        )
        return known
    return Lot(
        kind=Lot.Kind.PACKED,
        code=code,
        season=lot.season,
        floral_source=lot.floral_source,
        yard=lot.yard,
        made_on=lot.made_on,
        moisture_percent=lot.moisture_percent,
        colour_mm=lot.colour_mm,
        owner=lot.owner,
        quantity_made=0,
        product=product,
        best_by=lot.best_by,
        ready_on=lot.ready_on,
    )
