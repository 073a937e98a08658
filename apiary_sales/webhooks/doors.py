"""By which rows it is seen that something happened, and what is said of it.

A row that is saved by `save()` or `create()` is seen by the signal of Django, in the transaction of
the act; holds of lots, which are written in bulk, by the signal of the stock. What is said has keys
and numbers of things, and the address of the API where the rest can be read; nobody's name.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Model
from django.db.models.signals import post_save, pre_save
from django.urls import reverse

from apiary_sales.billing.models import Invoice, Payment, StandSale
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Fulfilment, GoodsReturn, Order, Recall
from apiary_sales.pricing.models import BulkPrice, PiecePrice, WeightPrice
from apiary_sales.webhooks.models import HouseEvent
from apiary_sales.webhooks.services import events
from inventory.bottling.models import BottlingRun, Product
from inventory.shared import public_address
from inventory.stock.models import Lot, Posting
from inventory.stock.signals import holds_changed

K = HouseEvent.Kind
Fields = frozenset[str] | None


@dataclass(frozen=True)
class EventDoor:
    """What a saved row tells.

    `kind` is given the row, whether it is new, and which fields were saved (None for all); it
    answers which kind of event that is, or None. `data` is what is said of it.
    """

    model: type[Model]
    kind: Callable[[Any, bool, Fields], HouseEvent.Kind | None]
    data: Callable[[Any], Mapping[str, object]]


def _always(kind: HouseEvent.Kind) -> Callable[[Any, bool, Fields], HouseEvent.Kind | None]:
    return lambda _row, _is_new, _fields: kind


def _when_new(kind: HouseEvent.Kind) -> Callable[[Any, bool, Fields], HouseEvent.Kind | None]:
    return lambda _row, is_new, _fields: kind if is_new else None


def _of_order(order: Order, is_new: bool, fields: Fields) -> HouseEvent.Kind | None:
    # A sale at the stand is told as such.
    if order.channel == Order.Channel.STAND or order.is_quote:
        return None
    was_quote = getattr(order, "_was_quote", False)
    return K.ORDER_PLACED if is_new or was_quote else K.ORDER_CHANGED


def _of_invoice(invoice: Invoice, is_new: bool, fields: Fields) -> HouseEvent.Kind | None:
    if not is_new or invoice.is_opening:
        return None
    if invoice.is_credit_note:
        return K.INVOICE_CREDITED
    return None if invoice.is_receipt else K.INVOICE_ISSUED


def _of_run(run: BottlingRun, is_new: bool, fields: Fields) -> HouseEvent.Kind | None:
    is_status = fields is None or "status" in fields
    return K.RUN_RECORDED if is_status and run.status == run.Status.RECORDED else None


def _of_stand_sale(sale: StandSale, is_new: bool, fields: Fields) -> HouseEvent.Kind | None:
    if is_new:
        return K.STAND_SALE_MADE
    is_taken_back = sale.undone_on is not None and "undone_on" in (fields or ())
    return K.STAND_SALE_TAKEN_BACK if is_taken_back else None


def _of_payment(payment: Payment, is_new: bool, fields: Fields) -> HouseEvent.Kind | None:
    return K.PAYMENT_TAKEN if is_new and payment.method != Payment.Method.OPENING else None


def _order(order: Order) -> dict[str, object]:
    return {
        "order_id": order.pk,
        "order": order.number,
        "channel": order.channel,
        "status": order.status,
        "customer_id": order.customer_id,
        "url": api("order-detail", order.number),
    }


def _fulfilment(handed_over: Fulfilment) -> dict[str, object]:
    return {"fulfilment_id": handed_over.pk, **_order(handed_over.order)}


def _stand_sale(sale: StandSale) -> dict[str, object]:
    return {
        "stand_sale_id": sale.pk,
        "invoice_id": sale.receipt_id,
        "url": api("invoice-detail", sale.receipt_id),
    }


def _goods_return(back: GoodsReturn) -> dict[str, object]:
    order = back.fulfilment_line.fulfilment.order
    return {"goods_return_id": back.pk, "posting_id": back.posting_id, **_order(order)}


def _invoice(invoice: Invoice) -> dict[str, object]:
    return {
        "invoice_id": invoice.pk,
        "invoice": str(invoice),
        "credits_id": invoice.credits_id,
        "order_id": invoice.order_id,
        "customer_id": invoice.customer_id,
        "url": api("invoice-detail", invoice.pk),
    }


def _payment(payment: Payment) -> dict[str, object]:
    return {
        "payment_id": payment.pk,
        "reverses_id": payment.reverses_id,
        "customer_id": payment.customer_id,
        "url": api("payment", payment.pk),
    }


def _run(run: BottlingRun) -> dict[str, object]:
    return {
        "run_id": run.pk,
        "run": run.number,
        "product_id": run.product_id,
        "url": api("run", run.number),
    }


def _posting(posting: Posting) -> dict[str, object]:
    return {
        "posting_id": posting.pk,
        "kind": posting.kind,
        "url": api("posting-detail", posting.pk),
    }


def _customer(customer: Customer) -> dict[str, object]:
    return {"customer_id": customer.pk, "url": api("customer-detail", customer.pk)}


def _product(product: Product) -> dict[str, object]:
    return {
        "product_id": product.pk,
        "product": product.code,
        "url": api("product-detail", product.code),
    }


def _piece_price(price: PiecePrice) -> dict[str, object]:
    return {
        "tier": price.tier,
        "valid_from": price.valid_from.isoformat(),
        **_product(price.product),
        "url": api("product-prices", price.product.code),
    }


def _weight_price(price: WeightPrice) -> dict[str, object]:
    about = _product(price.product) if price.product else {"variety_id": price.variety_id}
    return {"tier": price.tier, "valid_from": price.valid_from.isoformat(), **about}


def _bulk_price(price: BulkPrice) -> dict[str, object]:
    return {"tier": "bulk", "valid_from": price.valid_from.isoformat()}


def _lot(lot: Lot) -> dict[str, object]:
    return {"lot_id": lot.pk, "lot": lot.code, "url": api("lot-detail", lot.code)}


def _recall(recall: Recall) -> dict[str, object]:
    return {
        "recall_id": recall.pk,
        "kind": recall.kind,
        "url": api("recall-record", recall.pk),
    }


DOORS = (
    EventDoor(Order, _of_order, _order),
    EventDoor(Fulfilment, _when_new(K.ORDER_HANDED_OVER), _fulfilment),
    EventDoor(StandSale, _of_stand_sale, _stand_sale),
    EventDoor(GoodsReturn, _when_new(K.GOODS_RETURNED), _goods_return),
    EventDoor(Invoice, _of_invoice, _invoice),
    EventDoor(Payment, _of_payment, _payment),
    EventDoor(BottlingRun, _of_run, _run),
    EventDoor(Posting, _when_new(K.STOCK_POSTED), _posting),
    EventDoor(Customer, _always(K.CUSTOMER_CHANGED), _customer),
    EventDoor(Product, _always(K.PRODUCT_CHANGED), _product),
    EventDoor(PiecePrice, _when_new(K.PRICE_CHANGED), _piece_price),
    EventDoor(WeightPrice, _when_new(K.PRICE_CHANGED), _weight_price),
    EventDoor(BulkPrice, _when_new(K.PRICE_CHANGED), _bulk_price),
    EventDoor(Recall, _when_new(K.RECALL_OPENED), _recall),
)
_BY_MODEL = {door.model: door for door in DOORS}


def api(name: str, *args: object) -> str:
    """Return the address of the API: whole where the house has a public name, else its path."""
    return public_address.beginning() + reverse(f"api:{name}", args=args)


def watch() -> None:
    """See what is saved, from now on."""
    pre_save.connect(_remember_quote, sender=Order, dispatch_uid="webhooks")
    for door in DOORS:
        post_save.connect(_follow_save, sender=door.model, dispatch_uid="webhooks")
    holds_changed.connect(_follow_holds, dispatch_uid="webhooks")


def _remember_quote(instance: Order, raw: bool = False, **_named: Any) -> None:
    """Note at an order whether it is a quote until it is saved: accepted, it is placed then."""
    if raw or instance.pk is None:
        return
    before = Order.objects.filter(pk=instance.pk).values_list("status", flat=True).first()
    instance._was_quote = before in Order.QUOTE_STATUSES  # type: ignore[attr-defined]


def _follow_save(
    sender: type[Model],
    instance: Model,
    created: bool,
    raw: bool = False,
    update_fields: Fields = None,
    **_named: Any,
) -> None:
    door = _BY_MODEL[sender]
    kind = None if raw else door.kind(instance, created, update_fields)
    if kind is not None and (told := events.told_of(kind)):
        events.record(kind=kind, thing=instance, data=door.data(instance), to=told)


def _follow_holds(lots: Sequence[Lot], **_named: Any) -> None:
    for lot in lots:
        kind = K.LOT_HELD if lot.is_on_hold else K.LOT_RELEASED
        if told := events.told_of(kind):
            events.record(kind=kind, thing=lot, data=_lot(lot), to=told)
