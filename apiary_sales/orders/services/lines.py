"""The lines of an order: written down, and what stock they are about."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from django.utils import translation
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.changes import LineFigures
from apiary_sales.orders.rules.lines import (
    OF_PRODUCTS,
    LineWanted,
    describe,
    is_whole_drum,
    parameter_of,
    product_of,
    vessel_of,
)
from apiary_sales.pricing.models import PrivateLabel
from inventory.shared import findable
from inventory.shared.errors import Problems
from inventory.stock.models import Balance, Item, ProductionSettings
from inventory.stock.rules import above_limit_sentence


def items_of(lines: Iterable[LineWanted | OrderLine]) -> set[Item]:
    """Return what the ledger counts of these lines, charges left out."""
    lines = list(lines)
    items = {product_of(line).item for line in lines if line.kind in OF_PRODUCTS}
    if any(line.kind == OrderLine.Kind.HONEY for line in lines):
        items.add(Item.objects.honey())
    return items


def check_private_labels(
    problems: Problems, customer: Customer | None, lines: Sequence[LineWanted | OrderLine]
) -> None:
    """Refuse a private label to everybody but its customer, buyers without a name included."""
    wanted = {line.product.brand_id for line in lines if line.product and line.product.brand_id}
    if not wanted:
        return
    labels = PrivateLabel.objects.filter(brand__in=wanted).select_related("customer")
    owners = {label.brand_id: label.customer for label in labels}
    for index, line in enumerate(lines):
        owner = owners.get(line.product.brand_id or 0) if line.product else None
        if line.product and owner is not None and owner != customer:
            problems.add(
                parameter_of(index, "product"),
                _(
                    "%(product)s is a private label of %(customer)s. It can't be sold to "
                    "anybody else."
                )
                % {"product": line.product.name, "customer": owner.name},
            )


def check_moisture(
    problems: Problems, lines: Sequence[LineWanted | OrderLine], *, moisture_is_right: bool
) -> None:
    """Ask whether honey in bulk above the house's own limit of moisture is to be sold."""
    vessels = [vessel_of(line) for line in lines if line.kind == OrderLine.Kind.HONEY]
    if moisture_is_right or not vessels:
        return
    limit = ProductionSettings.current().moisture_limit_percent
    there = Balance.objects.filter(
        place__in=vessels, item__kind=Item.Kind.HONEY, quantity__gt=0
    ).select_related("place", "lot")
    asked = [
        sentence
        for balance in there.order_by("place__code")
        if (sentence := above_limit_sentence(balance.honey_lot, balance.place, limit))
    ]
    if asked:
        problems.add("moisture_is_right", " ".join(asked))


def make(order: Order, wanted: Sequence[LineWanted]) -> list[OrderLine]:
    """Write the lines of a new order, with the lots now in their drums, and return them.

    They are named in the language of its papers.
    """
    with translation.override(order.paper_language):
        made = OrderLine.objects.bulk_create(
            OrderLine(
                order=order,
                kind=line.kind,
                product=line.product,
                drum=line.drum,
                lot=line.lot,
                service=line.service,
                is_drawn=line.is_drawn,
                description=(line.description or describe(line))[:160],
                quantity=line.quantity,
                unit_price=line.unit_price,
                discount_cents=line.discount_cents,
                amount_cents=line.amount_cents,
            )
            for line in _with_lots(wanted)
        )
    findable.written(made)
    return made


def take_figures(line: OrderLine, quantity: int, figures: LineFigures) -> None:
    """Let a line be of another quantity and come to these figures; save it."""
    line.quantity = quantity
    line.discount_cents = figures.discount_cents
    line.rounding_cents = figures.rounding_cents
    line.amount_cents = figures.amount_cents
    line.save()


def _with_lots(lines: Sequence[LineWanted]) -> list[LineWanted]:
    """Return the lines with the lot that is in each drum now, where none was named."""
    nameless = [vessel_of(line) for line in lines if is_whole_drum(line) and line.lot is None]
    if not nameless:
        return list(lines)
    lots = {
        balance.place_id: balance.lot
        for balance in Balance.objects.filter(
            place__in=nameless, item__kind=Item.Kind.HONEY, quantity__gt=0
        ).select_related("lot")
    }
    return [
        replace(line, lot=lots.get(line.drum.pk)) if line.drum and line.drum in nameless else line
        for line in lines
    ]
