"""Gift boxes: what is in one, put together from lots on a shelf, and taken apart again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import (
    ChangedPieces,
    JarChange,
    PackagingPart,
    Product,
)
from inventory.bottling.rules import jars as rules
from inventory.bottling.rules.parts import needs as needs_of
from inventory.bottling.services import jar_changes, packed_codes, products
from inventory.bottling.services.products import LOW_STOCK_MAX, NAME_LENGTH_MAX, PartUse
from inventory.shared import checks, codes, words
from inventory.shared.errors import BadValue, NotEnoughStock, Problems
from inventory.shared.people import Person
from inventory.stock import lot_codes
from inventory.stock import rules as stock_rules
from inventory.stock.models import Item, Lot, Place, Posting
from inventory.stock.services import ledger, stores


@dataclass(frozen=True)
class BoxLine:
    """So many of a product in one gift box."""

    product: Product
    quantity: int = 1


@transaction.atomic
def save(
    *,
    name: str,
    contents: Sequence[BoxLine],
    parts: Sequence[PartUse] = (),
    gtin: str = "",
    low_stock_pieces: int = 0,
    box: Product | None = None,
) -> Product:
    """Add a gift box, or change one; `contents` and `parts` take the place of what it had.

    Boxes that are put together already keep what is in them. Raises `BadValue` and
    `SeveralProblems`.
    """
    name = " ".join(name.split())
    gtin = "".join(character for character in gtin if character not in " -")
    problems = Problems()
    rivals = Product.objects.exclude(pk=box.pk) if box else Product.objects.all()
    products.check_name(problems, rivals, name)
    products.check_gtin(problems, gtin)
    products.check_gtin_is_free(problems, rivals, gtin)
    if not 0 <= low_stock_pieces <= LOW_STOCK_MAX:
        problems.add("low_stock_pieces", _("Enter how many, from 0 to a million."))
    products.check_parts(problems, parts)
    _check_contents(problems, contents)
    problems.raise_any()
    if box is None:
        box = Product(
            item=Item.objects.create(kind=Item.Kind.GOODS, name=name),
            kind=Product.Kind.GIFT_BOX,
            code=codes.free(Product, name, fallback="box"),
        )
    elif box.item.name != name:
        box.item.name = name
        box.item.save(update_fields=["name"])
    box.name, box.gtin, box.low_stock_pieces, box.form = (
        name[:NAME_LENGTH_MAX],
        gtin,
        low_stock_pieces,
        "",
    )
    checks.save_checked(box)
    box.contents.exclude(product__in=[line.product for line in contents]).delete()
    for line in contents:
        box.contents.update_or_create(product=line.product, defaults={"quantity": line.quantity})
    box.product_parts.exclude(part__in=[use.part for use in parts]).delete()
    for use in parts:
        box.product_parts.update_or_create(
            part=use.part, defaults={"quantity": use.quantity, "per_pieces": use.per_pieces}
        )
    return box


@transaction.atomic
def put_together(
    *,
    box: Product,
    place: Place,
    boxes: int,
    changed_by: Person,
    key: str,
    target: Place | None = None,
    lots: Mapping[Lot, int] | None = None,
    lot_code: str = "",
    labour_minutes: int | None = None,
    changed_on: date | None = None,
    note: str = "",
) -> JarChange:
    """Put so many gift boxes together from what is at a place, in one posting.

    The oldest lots are taken first, or those in `lots` with their pieces; reserved pieces, lots on
    hold and honey that sets are not. The boxes are a lot of their own, with the code typed or the
    next of the house's pattern, best by the earliest day of what is in them and ready by the
    latest. Raises `BadValue`, `NotEnoughStock`, `NotEnoughParts`, `LotOnHold`, `AlreadyRecorded`.
    """
    target, lot_code = target or place, lot_code.strip()
    contents = list(box.contents.select_related("product__item", "product__size"))
    chosen = dict(lots or {})
    ledger.lock_items(
        jar_changes.items_of([], [box]) + [content.product.item for content in contents]
    )
    ledger.refuse_repeat(key)
    problems = Problems()
    stock_rules.check_pieces(problems, "boxes", boxes)
    stock_rules.check_store(problems, "place", place)
    stock_rules.check_store(problems, "target", target)
    rules.check_minutes(problems, "labour_minutes", labour_minutes)
    checks.check_day(problems, "changed_on", changed_on)
    if box.kind != Product.Kind.GIFT_BOX or not contents:
        problems.add("box", _("Say first what is in a %(box)s.") % {"box": box.name})
    elif not box.is_in_use:
        problems.add("box", _("%(product)s is out of use.") % {"product": box.name})
    if lot_code:
        lot_codes.check_code(problems, "lot_code", lot_code)
        if taken_code := packed_codes.taken_error(lot_code, box, parameter="lot_code"):
            problems.add_error(taken_code)
    problems.raise_any()
    wanted = rules.per_box([(each.product, each.quantity) for each in contents], boxes)
    taken = _chosen(problems, chosen, wanted, place) if chosen else _oldest(problems, wanted, place)
    needs = needs_of(box.uses_with_stock(), filled=boxes)
    jar_changes.check_labels_there(problems, "boxes", needs)
    problems.raise_any()
    parts_cents, labour_cents = jar_changes.costs_of(needs, labour_minutes)
    day = changed_on or timezone.localdate()
    cost_cents = rules.changed_cents(
        pieces_cents=[rules.pieces_cents(lot, count) for lot, count in taken.items()],
        parts_cents=parts_cents,
        labour_cents=labour_cents,
    )
    made = Lot(
        kind=Lot.Kind.GOODS,
        code=lot_code or packed_codes.next_code(box, day),
        season=max(lot.season for lot in taken),
        made_on=day,
        quantity_made=0,
        cost_cents=cost_cents,
        product=box,
        best_by=min((lot.best_by for lot in taken if lot.best_by), default=None),
        ready_on=max((lot.ready_on for lot in taken if lot.ready_on), default=None),
    )
    checks.save_checked(made)
    grams = {lot: lot.honey_in(count) for lot, count in taken.items()}
    jar_changes.add_pieces(made, boxes, taken)
    checks.save_checked(made)
    packing = Place.objects.outside(Place.Kind.PACKING)
    return jar_changes.record(
        act=JarChange.Act.BOX,
        lot=made,
        pieces=boxes,
        changed=taken,
        grams=grams,
        kind=Posting.Kind.BOXING,
        lines=[
            *(
                line
                for lot, count in taken.items()
                for line in jar_changes.move_pieces(lot, place, packing, count)
            ),
            *jar_changes.move_pieces(made, packing, target, boxes),
            *jar_changes.part_lines(needs, "boxes"),
        ],
        cost_cents=cost_cents,
        cents_before=0,
        parts_cents=parts_cents,
        labour_minutes=labour_minutes,
        labour_cents=labour_cents,
        changed_by=changed_by,
        changed_on=changed_on,
        key=key,
        note=note,
    )


@transaction.atomic
def take_apart(
    *,
    lot: Lot,
    place: Place,
    boxes: int,
    changed_by: Person,
    key: str,
    target: Place | None = None,
    lots: Mapping[Lot, int] | None = None,
    parts_back: Mapping[PackagingPart, int] | None = None,
    changed_on: date | None = None,
    note: str = "",
) -> JarChange:
    """Take so many boxes of a lot apart: their pieces go back to the lots they came from.

    Those are in the lot's own record. Where pieces of one product came from several lots, `lots`
    says how many of each come out; without it they come out as they went in, oldest lot first.
    `parts_back` goes back to the stock, other parts are lost. Raises `BadValue`, `StockReserved`,
    `AlreadyRecorded`.
    """
    target, parts_back = target or place, dict(parts_back or {})
    inside = inside_of(lot)
    ledger.lock_items(jar_changes.items_of([lot, *inside]))
    ledger.refuse_repeat(key)
    inside = inside_of(lot)
    made = (
        JarChange.objects.standing()
        .filter(lot=lot, act=JarChange.Act.BOX)
        .select_related("lot__product__item")
        .first()
    )
    problems = Problems()
    if made is None or made.lot.product is None:
        raise BadValue(
            _("Lot %(lot)s was not put together here, so it can't be taken apart.")
            % {"lot": lot.code},
            parameter="lot",
        )
    stock_rules.check_pieces(problems, "boxes", boxes)
    stock_rules.check_store(problems, "place", place)
    stock_rules.check_store(problems, "target", target)
    rules.check_changed_on(problems, "changed_on", changed_on, made.lot.made_on)
    problems.raise_any()
    jar_changes.check_pieces_there(problems, "boxes", made.lot, place, boxes)
    most = {use.part: use.used_by(filled=boxes) for use in made.lot.product.uses()}
    rules.check_parts_back(problems, "parts_back", parts_back, most)
    problems.raise_any()
    per_product = _per_product(made, boxes)
    out = dict(lots) if lots else rules.out_of_boxes(inside, per_product)
    out = {each: count for each, count in out.items() if count}
    _check_coming_out(problems, out, inside, per_product)
    problems.raise_any()
    packing = Place.objects.outside(Place.Kind.PACKING)
    return jar_changes.record(
        act=JarChange.Act.UNBOX,
        lot=made.lot,
        pieces=boxes,
        changed=out,
        grams={each: each.honey_in(count) for each, count in out.items()},
        kind=Posting.Kind.UNBOXING,
        lines=[
            *jar_changes.move_pieces(made.lot, place, packing, boxes),
            *(
                line
                for each, count in out.items()
                for line in jar_changes.move_pieces(each, packing, target, count)
            ),
            *jar_changes.parts_back_lines(parts_back, target),
        ],
        cost_cents=None,
        changed_by=changed_by,
        changed_on=changed_on,
        key=key,
        note=note,
    )


def inside_of(lot: Lot) -> dict[Lot, int]:
    """Return what is in all the boxes of a lot that are not taken apart: pieces of each lot."""
    inside: dict[Lot, int] = {}
    rows = (
        ChangedPieces.objects.filter(change__in=JarChange.objects.standing().filter(lot=lot))
        .select_related("change", "lot__product__item", "lot__product__size")
        .order_by("lot__made_on", "lot_id")
    )
    for row in rows:
        sign = -1 if row.change.act == JarChange.Act.UNBOX else 1
        inside[row.lot] = inside.get(row.lot, 0) + sign * row.pieces
    return inside


def _check_contents(problems: Problems, contents: Sequence[BoxLine]) -> None:
    if not contents:
        problems.add("contents", _("Say what is in the box."))
    named = set()
    for index, line in enumerate(contents):
        product = line.product
        if product.pk in named:
            problems.add(
                f"contents.{index}.product",
                _("%(product)s is listed twice. Put it in one line.") % {"product": product.name},
            )
        named.add(product.pk)
        if product.kind == Product.Kind.GIFT_BOX or product.is_unlabelled:
            problems.add(
                f"contents.{index}.product",
                _("%(product)s can't be in a gift box. Choose jars with a label, or other goods.")
                % {"product": product.name},
            )
        elif product.item.is_weighed:
            problems.add(
                f"contents.{index}.product",
                _("%(product)s is sold by weight. Choose something that is counted in pieces.")
                % {"product": product.name},
            )
        if not 1 <= line.quantity <= rules.CONTENT_MAX:
            problems.add(
                f"contents.{index}.quantity",
                _("%(product)s: enter how many are in one box, from 1 to %(most)s.")
                % {"product": product.name, "most": words.number(rules.CONTENT_MAX)},
            )


def _oldest(problems: Problems, wanted: Mapping[Product, int], place: Place) -> dict[Lot, int]:
    taken: dict[Lot, int] = {}
    for product, pieces in wanted.items():
        try:
            picked = stores.pick(
                item=product.item, places=[place], pieces=pieces, parameter="boxes"
            )
        except NotEnoughStock as error:
            problems.add_error(error)
            continue
        for balance, count in picked:
            taken[balance.honey_lot] = taken.get(balance.honey_lot, 0) + count
    return _with_products(taken)


def _chosen(
    problems: Problems, lots: Mapping[Lot, int], wanted: Mapping[Product, int], place: Place
) -> dict[Lot, int]:
    taken = _with_products({lot: count for lot, count in lots.items() if count})
    for lot, count in taken.items():
        rules.check_not_held(problems, "lots", lot)
        rules.check_ready(problems, "lots", lot)
        if not lot.is_ours:
            problems.add("lots", _("Lot %(lot)s belongs to somebody else.") % {"lot": lot.code})
        jar_changes.check_pieces_there(problems, "lots", lot, place, count)
    _check_sums(problems, taken, {product.pk: count for product, count in wanted.items()})
    return taken


def _with_products(lots: Mapping[Lot, int]) -> dict[Lot, int]:
    """Return the lots as they are now, with their products, oldest first."""
    found = Lot.objects.select_related("product__item", "product__size").in_bulk(
        [lot.pk for lot in lots]
    )
    counts = {lot.pk: count for lot, count in lots.items()}
    return {
        lot: counts[lot.pk] for lot in sorted(found.values(), key=lambda lot: (lot.made_on, lot.pk))
    }


def _per_product(made: JarChange, boxes: int) -> dict[int, int]:
    """Return how many pieces of each product come out of so many boxes, by its key."""
    went_in: dict[int, int] = {}
    for row in made.changed.select_related("lot"):
        product = row.lot.product_id or 0
        went_in[product] = went_in.get(product, 0) + row.pieces
    # Every box of a lot has the same in it.
    return {product: count * boxes // made.pieces for product, count in went_in.items()}


def _check_coming_out(
    problems: Problems,
    out: Mapping[Lot, int],
    inside: Mapping[Lot, int],
    per_product: Mapping[int, int],
) -> None:
    for lot, count in out.items():
        if not 0 <= count <= inside.get(lot, 0):
            problems.add(
                "lots",
                _("There are only %(there)s of lot %(lot)s in these boxes.")
                % {"there": words.pieces(inside.get(lot, 0)), "lot": lot.code},
            )
    _check_sums(problems, out, per_product)


def _check_sums(
    problems: Problems, lots: Mapping[Lot, int], per_product: Mapping[int, int]
) -> None:
    """Add a problem where the pieces of the lots are not as many of each product as wanted."""
    left = dict(per_product)
    for lot, count in lots.items():
        left[lot.product_id or 0] = left.get(lot.product_id or 0, 0) - count
    if any(left.values()):
        problems.add(
            "lots",
            _("The pieces of these lots come to %(chosen)s; the boxes have %(wanted)s in them.")
            % {
                "chosen": words.pieces(sum(lots.values())),
                "wanted": words.pieces(sum(per_product.values())),
            },
        )
