"""Consignment: jars carried to a shop's shelf, brought back, and reported as sold by the shop.

What is on the shelf is ours, and is sold by the shop's report alone. It is counted on count sheets
and written off as in any other store.
"""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Fulfilment, Order, OrderLine
from apiary_sales.orders.rules import pieces as rules
from apiary_sales.orders.rules.lines import (
    UNIT_PRICE_MAX,
    UNIT_PRICE_STEP,
    LineWanted,
    parameter_of,
)
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import fulfilments, orders, reservations
from apiary_sales.orders.services import lines as order_lines
from apiary_sales.orders.services.fulfilments import TakenGoods
from apiary_sales.orders.trade_models import (
    ConsignmentDelivery,
    ConsignmentDeliveryLine,
    ConsignmentPrice,
    ConsignmentShelf,
)
from inventory.bottling.models import Product
from inventory.shared import checks, days, keys
from inventory.shared.errors import HouseError, NotAllowedNow, NotEnoughStock, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Balance, Lot, Place, Posting
from inventory.stock.rules import check_pieces, check_store
from inventory.stock.services import ledger, numbers, places, stores

# As many characters of a customer's name as leave room in a short name.
CODE_LENGTH = 26


@transaction.atomic
def set_up(*, customer: Customer, key: str, name: str = "") -> ConsignmentShelf:
    """Give a customer a shelf for jars on consignment, and return it; its short name is made up.

    Raises `BadValue` for a customer who is not active, `AlreadyRecorded`.
    """
    Customer.objects.select_for_update(no_key=True).get(pk=customer.pk)
    refuse_repeat(ConsignmentShelf, key)
    problems = Problems()
    orders.check_customer(problems, customer)
    problems.raise_any()
    place = places.create(
        kind=Place.Kind.CONSIGNMENT,
        code=_free_code(customer),
        name=name.strip() or customer.name[:80],
    )
    return ConsignmentShelf.objects.create(place=place, customer=customer, idempotency_key=key)


def _free_code(customer: Customer) -> str:
    stem = slugify(customer.name)[:CODE_LENGTH].strip("-") or f"shop-{customer.pk}"
    taken = {
        code.lower()
        for code in Place.objects.filter(code__istartswith=stem).values_list("code", flat=True)
    }
    number, code = 1, stem
    while code in taken or code in places.TAKEN_BY_ADDRESSES:
        number += 1
        code = f"{stem}-{number}"
    return code


@transaction.atomic
def agree_price(
    *,
    shelf: ConsignmentShelf,
    product: Product,
    unit_price: Decimal,
    valid_from: date | None = None,
) -> ConsignmentPrice:
    """Set what a shop pays for one piece that it sold from a day on; the same day's is replaced.

    Raises `BadValue`.
    """
    problems = Problems()
    if not Decimal(0) <= unit_price <= UNIT_PRICE_MAX:
        problems.add("unit_price", _("Enter a price from zero to a million."))
    elif unit_price != unit_price.quantize(UNIT_PRICE_STEP):
        problems.add("unit_price", _("Enter a price with at most four decimals."))
    if product.item.is_weighed:
        problems.add(
            "product",
            _("%(product)s is sold by weight, not by the piece.") % {"product": product.name},
        )
    if valid_from:
        orders.check_not_far(problems, "valid_from", valid_from)
    problems.raise_any()
    price, _is_new = ConsignmentPrice.objects.update_or_create(
        shelf=shelf,
        product=product,
        valid_from=valid_from or timezone.localdate(),
        defaults={"unit_price": unit_price},
    )
    return price


@transaction.atomic
def plan(
    *,
    shelf: ConsignmentShelf,
    lines: Sequence[PiecesWanted],
    created_by: Person,
    key: str,
    planned_on: date | None = None,
    note: str = "",
) -> ConsignmentDelivery:
    """Write down what is to be carried to a shelf; nothing moves or is reserved before it is.

    Raises `BadValue`, `AlreadyRecorded`.
    """
    _lock(shelf)
    refuse_repeat(ConsignmentDelivery, key)
    problems = Problems()
    rules.check(problems, lines)
    _check_private_labels(problems, shelf, lines)
    _check_in_use(problems, "shelf", shelf)
    if planned_on:
        orders.check_not_far(problems, "planned_on", planned_on)
    problems.raise_any()
    planned_on = planned_on or timezone.localdate()
    year = planned_on.year % 100
    delivery = ConsignmentDelivery.objects.create(
        number=f"CD{year:02d}-{numbers.next_number(f'consignment-{year}'):04d}",
        shelf=shelf,
        planned_on=planned_on,
        note=note.strip(),
        created_by=created_by,
        idempotency_key=key,
    )
    ConsignmentDeliveryLine.objects.bulk_create(
        ConsignmentDeliveryLine(delivery=delivery, product=line.product, pieces=line.pieces)
        for line in lines
    )
    return delivery


@transaction.atomic
def deliver(
    *,
    delivery: ConsignmentDelivery,
    delivered_by: Person,
    key: str,
    delivered_on: date | None = None,
) -> ConsignmentDelivery:
    """Carry what was planned to the shelf, oldest lot first, from shelves, stand and van.

    Raises `NotAllowedNow` for one that is delivered or cancelled, `NotEnoughStock` at
    `lines.<position>.pieces`, `BadValue`, `AlreadyRecorded`.
    """
    delivery = _lock_delivery(delivery)
    refuse_repeat(Posting, key, made=delivery)
    _check_planned(delivery)
    problems = Problems()
    checks.check_day(problems, "delivered_on", delivered_on)
    _check_in_use(problems, "delivery", delivery.shelf)
    problems.raise_any()
    lines = list(delivery.lines.select_related("product__item"))
    ledger.lock_items([line.product.item for line in lines])
    moved: list[ledger.Line] = []
    for index, line in enumerate(lines):
        try:
            picked = stores.pick(
                item=line.product.item,
                places=reservations.shelves(),
                pieces=line.pieces,
                parameter=parameter_of(index, "pieces"),
            )
        except HouseError as error:
            problems.add_error(error)
            continue
        for balance, pieces in picked:
            moved += ledger.move(
                item=balance.item,
                lot=balance.lot,
                source=balance.place,
                target=delivery.shelf.place,
                quantity=pieces,
            )
    problems.raise_any()
    delivery.posting = ledger.post(
        kind=Posting.Kind.TRANSFER,
        lines=moved,
        recorded_by=delivered_by,
        key=key,
        note=delivery.number,
        occurred_at=days.moment(delivered_on),
    )
    delivery.status = ConsignmentDelivery.Status.DELIVERED
    delivery.delivered_on = delivered_on or timezone.localdate()
    delivery.save(update_fields=["posting", "status", "delivered_on"])
    return delivery


@transaction.atomic
def deliver_now(
    *,
    shelf: ConsignmentShelf,
    lines: Sequence[PiecesWanted],
    delivered_by: Person,
    key: str,
    delivered_on: date | None = None,
    note: str = "",
) -> ConsignmentDelivery:
    """Plan a delivery and carry it to the shelf in one act; raises as `plan` and `deliver` do."""
    delivery = plan(
        shelf=shelf,
        lines=lines,
        planned_on=delivered_on,
        note=note,
        created_by=delivered_by,
        key=key,
    )
    return deliver(
        delivery=delivery,
        delivered_by=delivered_by,
        delivered_on=delivered_on,
        key=keys.part(key, "carried"),
    )


@transaction.atomic
def cancel(*, delivery: ConsignmentDelivery) -> ConsignmentDelivery:
    """Cancel a delivery that is only planned; raises `NotAllowedNow`."""
    delivery = _lock_delivery(delivery)
    _check_planned(delivery)
    # The stops are of a module above, and found here only by the name of their relation.
    stop = delivery.stops.select_related("round").first()
    if stop is not None:
        raise NotAllowedNow(
            _("%(delivery)s is on round %(round)s. Take it off the round first.")
            % {"delivery": delivery.number, "round": stop.round.number}
        )
    delivery.status = ConsignmentDelivery.Status.CANCELLED
    delivery.save(update_fields=["status"])
    return delivery


@transaction.atomic
def bring_back(
    *,
    shelf: ConsignmentShelf,
    lots: Sequence[tuple[Lot, int]],
    target: Place,
    recorded_by: Person,
    key: str,
    brought_on: date | None = None,
    note: str = "",
) -> Posting:
    """Carry pieces of some lots from a shop's shelf back to a store of ours; return the posting.

    Raises `BadValue` at `lots.<position>.pieces`, `NotEnoughStock`, `AlreadyRecorded`.
    """
    problems = Problems()
    if not lots:
        problems.add("lots", _("Enter how many pieces come back of at least one lot."))
    for index, (_lot, pieces) in enumerate(lots):
        check_pieces(problems, f"lots.{index}.pieces", pieces)
    check_store(problems, "target", target)
    checks.check_day(problems, "brought_on", brought_on)
    problems.raise_any()
    items = {lot.pk: lot.product.item for lot, _pieces in lots if lot.product}
    ledger.lock_items(items.values())
    ledger.refuse_repeat(key)
    there = {
        balance.lot_id: balance.quantity
        for balance in Balance.objects.filter(place=shelf.place, lot__in=list(items))
    }
    for index, (lot, pieces) in enumerate(lots):
        on_shelf = there.get(lot.pk, 0)
        if brought_on in (None, timezone.localdate()) and pieces > on_shelf:
            problems.add_error(
                NotEnoughStock(
                    ngettext(
                        "Lot %(lot)s: %(there)s piece is on the shelf by the books.",
                        "Lot %(lot)s: %(there)s pieces are on the shelf by the books.",
                        on_shelf,
                    )
                    % {"lot": lot.code, "there": on_shelf},
                    parameter=f"lots.{index}.pieces",
                    asked=pieces,
                    there=on_shelf,
                )
            )
    problems.raise_any()
    return ledger.post(
        kind=Posting.Kind.TRANSFER,
        lines=[
            line
            for lot, pieces in lots
            for line in ledger.move(
                item=items[lot.pk], lot=lot, source=shelf.place, target=target, quantity=pieces
            )
        ],
        recorded_by=recorded_by,
        key=key,
        note=note.strip(),
        occurred_at=days.moment(brought_on),
    )


@transaction.atomic
def sell_reported(
    *,
    shelf: ConsignmentShelf,
    lines: Sequence[PiecesWanted],
    sold_on: date,
    recorded_by: Person,
    key: str,
    reference: str = "",
) -> Fulfilment:
    """Sell what a shop reports it sold from the shelf, at the agreed prices, oldest lot first.

    The jars are with their buyers, so a hold does not stop it. Raises `BadValue` for a product
    without an agreed price, `NotEnoughStock` for more than the books have on the shelf,
    `AlreadyRecorded`.
    """
    _lock(shelf)
    refuse_repeat(Fulfilment, key)
    problems = Problems()
    rules.check(problems, lines)
    _check_private_labels(problems, shelf, lines)
    checks.check_day(problems, "sold_on", sold_on)
    problems.raise_any()
    wanted = _priced(problems, shelf, lines, sold_on)
    problems.raise_any()
    ledger.lock_items(order_lines.items_of(wanted))
    order = orders.make(
        customer=shelf.customer,
        channel=Order.Channel.CONSIGNMENT,
        status=Order.Status.FILLED,
        placed_on=sold_on,
        customer_reference=reference.strip(),
        created_by=recorded_by,
        idempotency_key=key,
    )
    made = order_lines.make(order, wanted)
    taken: list[TakenGoods] = []
    for index, line in enumerate(made):
        try:
            taken += _on_shelf(line, shelf, parameter_of(index, "pieces"))
        except NotEnoughStock as error:
            problems.add_error(error)
    problems.raise_any()
    posting = fulfilments.post_sale(
        taken, recorded_by=recorded_by, key=key, day=sold_on, note=order.number
    )
    return fulfilments.record(
        order,
        wanted={line: line.quantity for line in made},
        taken=taken,
        posting=posting,
        filled_by=recorded_by,
        filled_on=sold_on,
        key=key,
    )


def _priced(
    problems: Problems, shelf: ConsignmentShelf, lines: Sequence[PiecesWanted], on: date
) -> list[LineWanted]:
    agreed: dict[int, Decimal] = {}
    for price in shelf.prices.filter(valid_from__lte=on).order_by("valid_from"):
        agreed[price.product_id] = price.unit_price
    for index, line in enumerate(lines):
        if line.product.pk not in agreed:
            problems.add(
                parameter_of(index, "product"),
                _(
                    "No price of %(product)s was agreed with %(customer)s for %(day)s. Enter the "
                    "agreed price first."
                )
                % {
                    "product": line.product.name,
                    "customer": shelf.customer.name,
                    "day": date_format(on),
                },
            )
    return [
        LineWanted(OrderLine.Kind.PACKED, line.pieces, agreed[line.product.pk], line.product)
        for line in lines
        if line.product.pk in agreed
    ]


def _on_shelf(line: OrderLine, shelf: ConsignmentShelf, parameter: str) -> list[TakenGoods]:
    """Return the pieces of a line that are on the shelf, oldest lot first, on hold or not."""
    [item] = order_lines.items_of([line])
    taken, wanted = [], line.quantity
    for balance in (
        Balance.objects.filter(item=item, place=shelf.place, quantity__gt=0)
        .select_related("item", "place", "lot")
        .order_by("lot__best_by", "lot__made_on", "lot_id")
    ):
        part = min(wanted, balance.quantity)
        if part:
            taken.append(TakenGoods(line, item, balance.place, balance.lot, part))
            wanted -= part
    if wanted:
        raise NotEnoughStock(
            _(
                "%(product)s: the shop reports %(asked)s sold, and the books have %(there)s on its "
                "shelf. Enter the delivery that is missing, or count the shelf first."
            )
            % {
                "product": line.description,
                "asked": line.quantity,
                "there": line.quantity - wanted,
            },
            parameter=parameter,
            asked=line.quantity,
            there=line.quantity - wanted,
        )
    return taken


def _check_private_labels(
    problems: Problems, shelf: ConsignmentShelf, lines: Sequence[PiecesWanted]
) -> None:
    wanted = [
        LineWanted(OrderLine.Kind.PACKED, line.pieces, Decimal(0), line.product) for line in lines
    ]
    order_lines.check_private_labels(problems, shelf.customer, wanted)


def _check_in_use(problems: Problems, parameter: str, shelf: ConsignmentShelf) -> None:
    if not shelf.place.is_active:
        problems.add(parameter, _("%(place)s is out of use.") % {"place": shelf.place.name})


def _check_planned(delivery: ConsignmentDelivery) -> None:
    if delivery.status != ConsignmentDelivery.Status.PLANNED:
        raise NotAllowedNow(
            _("Delivery %(delivery)s is already %(status)s.")
            % {"delivery": delivery.number, "status": delivery.get_status_display()}
        )


def _lock(shelf: ConsignmentShelf) -> None:
    """Lock a shelf, so that of two who send the same form at the same moment one waits."""
    ConsignmentShelf.objects.select_for_update(no_key=True).get(pk=shelf.pk)


def _lock_delivery(delivery: ConsignmentDelivery) -> ConsignmentDelivery:
    ConsignmentDelivery.objects.select_for_update(no_key=True).get(pk=delivery.pk)
    return ConsignmentDelivery.objects.select_related("shelf__place", "shelf__customer").get(
        pk=delivery.pk
    )
