"""What came of the story: a short table of figures, read from the books, and the papers."""

from typing import cast

from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.billing.services import stand
from apiary_sales.orders.models import Order
from apiary_sales.web.demo.fixtures import key
from inventory.bottling.models import BottlingRun, Product
from inventory.bottling.queries import packed_stock, runs
from inventory.bottling.rules.figures import RunFigures
from inventory.shared import words
from inventory.stock.models import Balance, DipReading, Lot, Place

Row = tuple[str, str]


def table() -> list[Row]:
    """Return the figures of the demo as pairs of what and how much."""
    return [*_honey(), *_runs(), *_jars(), *_sales()]


def _honey() -> list[Row]:
    dip = DipReading.objects.get(idempotency_key=key("dip"))
    tank = Balance.objects.get(place=dip.place, quantity__gt=0)
    blend = cast(Lot, tank.lot)
    drums = [
        Balance.objects.in_vessel(place) for place in Place.objects.filter(kind=Place.Kind.DRUM)
    ]
    full = [drum for drum in drums if drum]
    return [
        ("Dip of the holding tank", words.weight(dip.grams)),
        ("  the book said", words.weight(dip.book_grams)),
        ("Honey left in the holding tank", words.weight(tank.quantity)),
        ("  moisture of the blend", f"{blend.moisture_percent} %"),
        ("Drums filled", f"{len(full)}, {words.weight(sum(drum.quantity for drum in full))}"),
        ("  of it promised", words.weight(sum(drum.reserved for drum in full))),
    ]


def _runs() -> list[Row]:
    rows = []
    for run in BottlingRun.objects.filter(idempotency_key__startswith=key("run-")).order_by("id"):
        # The story has recorded every run that it planned.
        lot, figures = cast(Lot, run.packed_lot), cast(RunFigures, runs.figures_of(run))
        rows.append(
            (
                f"Bottled {run.product.name}",
                f"{run.pieces_filled} in lot {lot.code}, yield {figures.yield_percent} %, "
                f"{figures.overfill_grams_each} g over in each",
            )
        )
    return rows


def _jars() -> list[Row]:
    return [
        (
            f"{row.product.name} on hand",
            f"{_how_much(row.product, row.on_hand)}, {row.reserved} promised",
        )
        for row in packed_stock.products()
        if row.on_hand
    ]


def _how_much(product: Product, quantity: int) -> str:
    return product.item.in_words(quantity, 1) if product.item.is_weighed else str(quantity)


def _sales() -> list[Row]:
    quote = Order.objects.get(idempotency_key=key("quote"))
    sale = cast(StandSale, stand.find(key("stand-sale")))
    invoice = Invoice.objects.get(idempotency_key=key("shop-invoice"))
    paid_cents = sum(allocation.amount_cents for allocation in invoice.allocations.all())
    return [
        (f"Drum quote {quote.number}, now an order", words.money(quote.total_cents)),
        ("Stand sale", words.money(sale.invoice.total_cents)),
        ("  change given", words.money(sale.change_cents)),
        (f"Shop invoice {invoice}", words.money(invoice.total_cents)),
        ("  still to pay", words.money(invoice.total_cents - paid_cents)),
    ]
