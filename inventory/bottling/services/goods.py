"""Other goods: set up, received from a supplier, and made or gathered by the house."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Sum
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.models import GoodsMade, GoodsReceipt, PackagingPart, Product
from inventory.bottling.rules import costs
from inventory.bottling.services import part_closings, products
from inventory.bottling.services.runs import LABOUR_MINUTES_MAX
from inventory.shared import checks, codes, days, words
from inventory.shared.errors import Problems
from inventory.shared.money import share_cents
from inventory.shared.people import Person
from inventory.stock import lot_codes, rules
from inventory.stock.models import (
    Balance,
    Item,
    Lot,
    LotParent,
    Place,
    Posting,
    PostingLine,
    ProductionSettings,
    Supplier,
)
from inventory.stock.services import ledger, numbers, stores, suppliers

# A delivery that cost more than this is a slip of the finger.
COST_CENTS_MAX = 100_000_000
SUPPLIER_LENGTH_MAX = 120


@dataclass(frozen=True)
class Material:
    """So much of goods or of a part that goes into other goods; `lost` of it is spilled or spoiled.

    Pieces, or grams of goods by weight.
    """

    thing: Product | PackagingPart
    quantity: int
    lost: int = 0


# What is taken of a material: from which balance, how much.
Taken = list[tuple[Balance, int]]


@transaction.atomic
def save(
    *,
    name: str,
    is_weighed: bool = False,
    gtin: str = "",
    low_stock: int = 0,
    is_active: bool = True,
    product: Product | None = None,
    code: str = "",
) -> Product:
    """Add goods, or change `product`; its short name, which is in its address, stays as it was.

    `low_stock` is in pieces, or in grams for goods by weight. Whether they are weighed can't change
    once there was a lot of them. Raises `BadValue` and `SeveralProblems`.
    """
    name = " ".join(name.split())
    gtin = "".join(character for character in gtin if character not in " -")
    problems = Problems()
    rivals = Product.objects.exclude(pk=product.pk) if product else Product.objects.all()
    products.check_name(problems, rivals, name)
    if code and product is None and rivals.filter(code=code).exists():
        problems.add(
            "code",
            _("There is a product with the short name %(code)s already. Choose another.")
            % {"code": code},
        )
    products.check_gtin(problems, gtin)
    products.check_gtin_is_free(problems, rivals, gtin)
    most = checks.GRAMS_MAX if is_weighed else rules.PIECES_MAX
    if not 0 <= low_stock <= most:
        problems.add("low_stock", _("That is far too much. Check the figure."))
    if product and product.item.is_weighed != is_weighed and product.lots.exists():
        problems.add(
            "is_weighed",
            _(
                "There is stock of %(product)s in the books already, so this can't be changed. "
                "Add new goods, and take these out of use."
            )
            % {"product": product.name},
        )
    problems.raise_any()
    if product is None:
        item = Item.objects.create(kind=Item.Kind.GOODS, name=name, is_weighed=is_weighed)
        code = code or codes.free(Product, name, fallback="goods")
        product = Product(item=item, kind=Product.Kind.GOODS, form="", code=code)
    elif (product.item.name, product.item.is_weighed) != (name, is_weighed):
        product.item.name, product.item.is_weighed = name, is_weighed
        product.item.save(update_fields=["name", "is_weighed"])
    product.name = name
    product.gtin = gtin
    product.low_stock_pieces = low_stock
    product.is_active = is_active
    checks.save_checked(product)
    return product


@transaction.atomic
def receive(
    *,
    product: Product,
    place: Place,
    quantity: int,
    cost_cents: int,
    supplier: str,
    received_on: date,
    recorded_by: Person,
    key: str,
    maker_lot: str = "",
    best_by: date | None = None,
) -> GoodsReceipt:
    """Bring goods in from a supplier with what all of them cost; `quantity` is pieces or grams.

    `supplier` is a name, and a new one is added.

    Their lot has the maker's code, or the house's next one for goods. Where the maker's code is
    there already, the delivery joins that lot, so that a recall finds all of it: the lot then costs
    what all its deliveries did, and what was sold before keeps the cost it was sold at.
    Raises `BadValue` for figures that cannot be, `AlreadyRecorded`.
    """
    problems = Problems()
    maker_lot = maker_lot.strip()
    _check_goods(problems, product)
    rules.check_quantity(problems, "quantity", product.item, quantity)
    rules.check_store(problems, "place", place)
    if not 0 <= cost_cents <= COST_CENTS_MAX:
        problems.add("cost_cents", _("Enter what all of it cost, from 0 to a million."))
    if len(supplier.strip()) > SUPPLIER_LENGTH_MAX:
        problems.add("supplier", _("Enter 120 characters or fewer."))
    checks.check_day(problems, "received_on", received_on)
    if maker_lot:
        lot_codes.check_code(problems, "maker_lot", maker_lot)
    if best_by and best_by < received_on:
        problems.add("best_by", _("This day is before the goods came in. Check the date."))
    problems.raise_any()
    ledger.lock_items([product.item])
    ledger.refuse_repeat(key)
    lot = product.lots.filter(code=maker_lot).first() if maker_lot else None
    if lot:
        _join(lot, quantity, cost_cents, best_by)
    else:
        code = maker_lot or _next_code(product, received_on)
        lot = _new_lot(product, code, quantity, received_on, cost_cents, best_by)
    posting = ledger.post(
        kind=Posting.Kind.GOODS_RECEIPT,
        lines=ledger.move(
            item=product.item,
            lot=lot,
            source=Place.objects.outside(Place.Kind.SUPPLIER),
            target=place,
            quantity=quantity,
        ),
        recorded_by=recorded_by,
        key=key,
        note=supplier.strip(),
        occurred_at=days.moment(received_on),
    )
    receipt = GoodsReceipt(
        product=product,
        lot=lot,
        place=place,
        quantity=quantity,
        cost_cents=cost_cents,
        supplier=suppliers.named(supplier, kind=Supplier.Kind.PARTS),
        received_on=received_on,
        posting=posting,
    )
    checks.save_checked(receipt)
    return receipt


@transaction.atomic
def make(
    *,
    product: Product,
    place: Place,
    quantity: int,
    made_on: date,
    recorded_by: Person,
    key: str,
    materials: Sequence[Material] = (),
    labour_minutes: int | None = None,
    lot_code: str = "",
    best_by: date | None = None,
    note: str = "",
) -> GoodsMade:
    """Make goods of other goods and parts, or gather them where there are no materials.

    The materials come from all stores, oldest lot first; what is lost of them is written off as
    spoiled, and its cost is in the goods. The new lot costs its materials and the work; its cost is
    unknown while that of a material is, or where nothing was entered at all. Work that was not
    entered (None) is left out. Raises `BadValue`, `NotEnoughStock`, `AlreadyRecorded`; several at
    once as `SeveralProblems`.
    """
    problems = Problems()
    lot_code = lot_code.strip()
    _check_goods(problems, product)
    rules.check_quantity(problems, "quantity", product.item, quantity)
    rules.check_store(problems, "place", place)
    checks.check_day(problems, "made_on", made_on)
    if labour_minutes is not None and not 0 <= labour_minutes <= LABOUR_MINUTES_MAX:
        problems.add(
            "labour_minutes",
            _("Enter the minutes of work, from 0 to %(most)s.")
            % {"most": words.number(LABOUR_MINUTES_MAX)},
        )
    if lot_code:
        lot_codes.check_code(problems, "lot_code", lot_code)
    if best_by and best_by < made_on:
        problems.add("best_by", _("This day is before the goods were made. Check the date."))
    _check_materials(problems, product, materials)
    problems.raise_any()
    ledger.lock_items([product.item, *(each.thing.item for each in materials)])
    ledger.refuse_repeat(key)
    if lot_code and product.lots.filter(code=lot_code).exists():
        problems.add(
            "lot_code",
            _("Lot %(code)s of %(product)s is there already. Type another code.")
            % {"code": lot_code, "product": product.name},
        )
    problems.raise_any()
    taken = [_pick(index, each) for index, each in enumerate(materials)]
    materials_cents = _materials_cents(materials, taken)
    labour_cents = costs.labour_cents(
        labour_minutes, cents_per_hour=ProductionSettings.current().labour_cents_per_hour
    )
    is_known = materials_cents is not None and (bool(materials) or labour_cents is not None)
    lot = _new_lot(
        product,
        lot_code or _next_code(product, made_on),
        quantity,
        made_on,
        (materials_cents or 0) + (labour_cents or 0) if is_known else None,
        best_by,
    )
    _link(lot, taken)
    posting = ledger.post(
        kind=Posting.Kind.GOODS_MADE,
        lines=[
            *_material_lines(materials, taken),
            *ledger.move(
                item=product.item,
                lot=lot,
                source=Place.objects.outside(Place.Kind.PACKING),
                target=place,
                quantity=quantity,
            ),
        ],
        recorded_by=recorded_by,
        key=key,
        note=note.strip(),
        occurred_at=days.moment(made_on),
    )
    made = GoodsMade(
        product=product,
        lot=lot,
        place=place,
        quantity=quantity,
        materials_cents=materials_cents,
        labour_minutes=labour_minutes,
        labour_cents=labour_cents,
        made_on=made_on,
        posting=posting,
    )
    checks.save_checked(made)
    return made


def take_off_lot(posting: Posting) -> None:
    """Take a delivery that was undone off its lot, so that the lot costs what is left of it.

    A lot of which no delivery is left keeps its figures, as jars of a run that was undone do.
    """
    receipt = GoodsReceipt.objects.select_related("lot").filter(posting=posting).first()
    if receipt is None:
        return
    quantity, cost_cents = _delivered(receipt.lot)
    if quantity:
        receipt.lot.quantity_made, receipt.lot.cost_cents = quantity, cost_cents
        receipt.lot.save(update_fields=["quantity_made", "cost_cents"])


def _delivered(lot: Lot) -> tuple[int, int]:
    """Return how much of a lot was delivered and not undone, and what that cost."""
    receipts = GoodsReceipt.objects.filter(lot=lot, posting__reversed_by__reverses=None)
    found = receipts.aggregate(quantity=Sum("quantity"), cents=Sum("cost_cents"))
    return found["quantity"] or 0, found["cents"] or 0


def _check_goods(problems: Problems, product: Product) -> None:
    if product.kind != Product.Kind.GOODS:
        problems.add(
            "product",
            _("%(product)s is not among the other goods. Choose another.")
            % {"product": product.name},
        )
    elif not product.is_in_use:
        problems.add("product", _("%(product)s is out of use.") % {"product": product.name})


def _check_materials(problems: Problems, product: Product, materials: Sequence[Material]) -> None:
    named = set()
    for index, material in enumerate(materials):
        item, thing = material.thing.item, material.thing
        if item == product.item:
            problems.add(
                f"materials.{index}.thing",
                _("%(name)s can't be made of itself.") % {"name": item.name},
            )
        elif isinstance(thing, Product) and thing.kind != Product.Kind.GOODS:
            problems.add(
                f"materials.{index}.thing",
                _("%(product)s is not among the other goods. Choose another.")
                % {"product": item.name},
            )
        if item.pk in named:
            problems.add(
                f"materials.{index}.thing",
                _("%(part)s is listed twice. Put it in one line.") % {"part": item.name},
            )
        named.add(item.pk)
        rules.check_quantity(problems, f"materials.{index}.quantity", item, material.quantity)
        if not 0 <= material.lost <= material.quantity:
            problems.add(
                f"materials.{index}.lost",
                _("%(name)s: no more can be lost than was used.") % {"name": item.name},
            )


def _join(lot: Lot, quantity: int, cost_cents: int, best_by: date | None) -> None:
    """Add a delivery to the lot that it is part of."""
    problems = Problems()
    if GoodsMade.objects.filter(lot=lot).exists():
        problems.add(
            "maker_lot",
            _("Lot %(lot)s was made here, not bought. Check the code.") % {"lot": lot.code},
        )
    elif best_by and lot.best_by and best_by != lot.best_by:
        problems.add(
            "best_by",
            _("Lot %(lot)s is in the books with best by %(day)s. Check both dates.")
            % {"lot": lot.code, "day": date_format(lot.best_by)},
        )
    problems.raise_any()
    delivered, cents = _delivered(lot)
    lot.quantity_made, lot.cost_cents = delivered + quantity, cents + cost_cents
    lot.best_by = lot.best_by or best_by
    checks.save_checked(lot)


def _new_lot(
    product: Product,
    code: str,
    quantity: int,
    day: date,
    cost_cents: int | None,
    best_by: date | None,
) -> Lot:
    lot = Lot(
        kind=Lot.Kind.GOODS,
        code=code,
        product=product,
        season=day.year,
        made_on=day,
        quantity_made=quantity,
        cost_cents=cost_cents,
        best_by=best_by,
    )
    checks.save_checked(lot)
    return lot


def _next_code(product: Product, day: date) -> str:
    """Return the house's next code for goods of a day: "G26330-1". The letter is not honey's."""
    while True:
        code = f"G{day:%y%j}-{numbers.next_number(f'goods-{day:%y%j}')}"
        if not product.lots.filter(code=code).exists():
            return code


def _pick(index: int, material: Material) -> Taken:
    places = list(Place.objects.filter(kind__in=Place.STORES))
    return stores.pick(
        item=material.thing.item,
        places=places,
        pieces=material.quantity,
        parameter=f"materials.{index}.quantity",
    )


def _materials_cents(materials: Sequence[Material], taken: Sequence[Taken]) -> int | None:
    """Return what the materials cost in all; None while the cost of any is unknown."""
    heaps = part_closings.heaps(
        {each.thing for each in materials if isinstance(each.thing, PackagingPart)}
    )
    goods = [each.thing.item.pk for each in materials if isinstance(each.thing, Product)]
    is_average = ProductionSettings.current().costs_by_average
    averages = PostingLine.objects.average_costs(goods) if is_average else {}
    total = 0
    for material, balances in zip(materials, taken, strict=True):
        cents: int | None
        if isinstance(material.thing, PackagingPart):
            cents = heaps[material.thing.pk].issue(material.quantity)
        elif is_average:
            cents = averages[material.thing.item.pk].issue(material.quantity)
        else:
            cents = _lots_cents(balances)
        if cents is None:
            return None
        total += cents
    return total


def _lots_cents(taken: Taken) -> int | None:
    """Return what so much of these lots costs: what they are worth before, less what after.

    So the makes that use up a lot cost together what was in it, to the cent.
    """
    by_lot: dict[Lot, int] = {}
    for balance, quantity in taken:
        lot = balance.honey_lot
        by_lot[lot] = by_lot.get(lot, 0) + quantity
    total = 0
    for lot, quantity in by_lot.items():
        if lot.cost_cents is None or lot.quantity_made <= 0:
            return None
        there = Balance.objects.filter(lot=lot, is_physical=True).aggregate(all=Sum("quantity"))
        before = share_cents(lot.cost_cents, there["all"], lot.quantity_made)
        after = share_cents(lot.cost_cents, there["all"] - quantity, lot.quantity_made)
        total += before - after
    return total


def _link(lot: Lot, taken: Sequence[Taken]) -> None:
    """Name the lots that went in as parents, so that a recall of one finds what was made of it."""
    by_lot: dict[Lot, int] = {}
    for balance, quantity in (pair for each in taken for pair in each):
        if balance.lot:
            by_lot[balance.lot] = by_lot.get(balance.lot, 0) + quantity
    for parent, quantity in by_lot.items():
        LotParent.objects.create(lot=lot, parent=parent, grams=quantity)


def _material_lines(materials: Sequence[Material], taken: Sequence[Taken]) -> list[ledger.Line]:
    """Carry what went in to the packing line, and the last of it, so far as lost, to spoiled."""
    packing = Place.objects.outside(Place.Kind.PACKING)
    spoiled = Place.objects.outside(Place.Kind.SPOILED)
    lines = []
    for material, balances in zip(materials, taken, strict=True):
        used = material.quantity - material.lost
        for balance, quantity in balances:
            for target, much in ((packing, min(used, quantity)), (spoiled, quantity - used)):
                if much > 0:
                    lines += ledger.move(
                        item=balance.item,
                        lot=balance.lot,
                        source=balance.place,
                        target=target,
                        quantity=much,
                    )
            used = max(used - quantity, 0)
    return lines
