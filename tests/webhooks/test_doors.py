"""Which acts of the house are told, and what is said of them: keys, and nobody's name."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest

from apiary_sales.billing.models import Invoice
from apiary_sales.billing.services import credit_notes, payments
from apiary_sales.billing.services import stand as stand_services
from apiary_sales.customers.services import customers
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries import recall
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders, quotes, recalls
from apiary_sales.pricing.services import prices
from apiary_sales.webhooks.models import KINDS, HouseEvent
from apiary_sales.webhooks.services import endpoints
from inventory.bottling.services import holds
from tests import builders
from tests.billing.conftest import (  # noqa: F401
    _today,
    house,
    invoice_of,
    jars,
    order_of,
    pay,
    pounds,
    shelf,
    shop,
    stand,
)
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db

ALL = [kind for kind, _label in KINDS]


@pytest.fixture
def told_of(owner):
    """Let a program be told of some kinds; return a maker of the list of what it was told since."""

    def begin(*kinds):
        endpoints.add(
            name="Web shop",
            url="https://shop.example/",
            kinds=kinds or ALL,
            is_in_own_network=False,
            made_by=owner,
        )
        return lambda: [
            (event.kind, json.loads(event.body)["data"])
            for event in HouseEvent.objects.order_by("id")
        ]

    return begin


def kinds_of(told):
    return [kind for kind, _data in told]


def test_without_a_program_nothing_is_noted(shop, pounds):  # noqa: F811
    invoice_of(shop, jars(pounds, 2))

    assert not HouseEvent.objects.exists()


def test_a_program_is_told_of_what_it_asked_for_alone(told_of, shop, pounds):  # noqa: F811
    told = told_of("invoice.issued")

    invoice_of(shop, jars(pounds, 2))

    assert kinds_of(told()) == ["invoice.issued"]


def test_an_order_is_told_when_it_is_placed_changed_and_handed_over(
    told_of,
    shop,  # noqa: F811
    pounds,  # noqa: F811
):
    told = told_of("order.placed", "order.changed", "order.handed_over")

    order = order_of(shop, jars(pounds, 2), fill=False)
    assert kinds_of(told()) == ["order.placed"]
    orders.fulfil(order=order, filled_by=builders.person(), key="fill")

    assert set(kinds_of(told())) == {"order.placed", "order.changed", "order.handed_over"}
    [placed] = [data for kind, data in told() if kind == "order.placed"]
    assert placed == {
        "order_id": order.pk,
        "order": order.number,
        "channel": "shop",
        "status": "open",
        "customer_id": shop.pk,
        "url": f"/api/v1/orders/{order.number}/",
    }
    assert [data["status"] for kind, data in told() if kind == "order.changed"] == ["filled"]


def test_a_quote_is_told_as_an_order_once_it_is_accepted(told_of, shop, pounds):  # noqa: F811
    told = told_of("order.placed", "order.changed")
    tank = builders.place("tank-1")
    builders.lot_in(tank, 50_000)
    line = LineWanted(
        kind=OrderLine.Kind.HONEY, quantity=20_000, unit_price=Decimal("2.15"), drum=tank
    )
    quote = quotes.quote(
        customer=shop,
        lines=[line],
        valid_until=builders.today() + timedelta(days=7),
        created_by=builders.person(),
        key="quote",
    )
    assert told() == []

    quotes.accept(order=quote, accepted_by=builders.person(), key="accept")

    assert [kind for kind in kinds_of(told()) if kind == "order.placed"] == ["order.placed"]


def test_invoice_payment_credit_and_what_came_back_are_told(told_of, shop, pounds):  # noqa: F811
    told = told_of("invoice.issued", "invoice.credited", "payment.taken")

    invoice = invoice_of(shop, jars(pounds, 2))
    payment = pay(shop, 1200)
    payments.reverse(
        payment=payment, reversed_by=builders.person(), key="undo", reason="Typed twice"
    )
    note = credit_notes.credit(
        invoice=invoice, issued_by=builders.person(), key="credit", reason="Broken"
    )

    assert kinds_of(told()) == [
        *("invoice.issued", "payment.taken", "payment.taken", "invoice.credited"),
    ]
    issued, paid, undone, credited = [data for _kind, data in told()]
    assert issued["invoice_id"] == invoice.pk
    assert issued["url"] == f"/api/v1/invoices/{invoice.pk}/"
    assert paid["reverses_id"] is None
    assert undone["reverses_id"] == payment.pk
    assert credited["credits_id"] == invoice.pk
    assert credited["invoice_id"] == note.pk


def test_a_stand_sale_is_told_as_such_and_when_it_is_taken_back(
    told_of,
    pounds,  # noqa: F811
    stand,  # noqa: F811
):
    told = told_of()
    line = jars(pounds, 2, price="8.00")

    sale = stand_services.sell(
        lines=[line],
        place=stand,
        payments=builders.paid(tendered_cents=1600),
        sold_by=builders.person(),
        key="sale",
    )
    receipt = Invoice.objects.get(stand_sale__isnull=False)
    made = kinds_of(told())
    stand_services.take_back(
        receipt=receipt, taken_by=builders.person(), key="back", reason="Wrong jar"
    )

    assert sale
    assert made.count("stand_sale.made") == 1
    assert not {"order.placed", "invoice.issued"} & set(made)
    assert {"stock.posted", "payment.taken"} <= set(made)
    assert kinds_of(told()).count("stand_sale.taken_back") == 1
    assert "invoice.credited" in kinds_of(told())


def test_a_run_is_told_once_it_is_recorded(told_of):
    told = told_of("run.recorded")
    room = bottling_room.set_up()
    run = bottling_room.plan(room)
    assert told() == []

    bottling_room.record(run)

    [(kind, data)] = told()
    assert kind == "run.recorded"
    assert (data["run_id"], data["run"]) == (run.pk, run.number)


def test_lots_on_hold_and_released_are_told_each(told_of, owner):
    told = told_of("lot.held", "lot.released")
    lot = builders.lot_in(builders.place("tank-1"), 1000)

    holds.hold(lots=[lot], reason="Recall of the jars", held_by=owner)
    holds.release_lot(lot=lot, reason="It was another lot", released_by=owner)

    said = {"lot_id": lot.pk, "lot": lot.code, "url": f"/api/v1/lots/{lot.code}/"}
    assert told() == [("lot.held", said), ("lot.released", said)]


def test_a_recall_is_told(told_of, owner):
    told = told_of("recall.opened")
    lot = builders.lot_in(builders.place("tank-1"), 1000)
    answer = recall.answer([lot.pk], with_sales=True)

    record = recalls.start(
        kind="mock",
        code=lot.code,
        lots=[lot],
        reason="Yearly exercise",
        answer=answer.as_json(),
        percent_accounted=answer.percent_accounted,
        percent_found=answer.percent_found,
        started_by=owner,
        key="recall",
    )

    assert told() == [
        (
            "recall.opened",
            {
                "recall_id": record.pk,
                "kind": "mock",
                "url": f"/api/v1/recall/records/{record.pk}/",
            },
        )
    ]


def test_goods_and_prices_are_told(told_of, pounds):  # noqa: F811
    told = told_of("product.changed", "price.changed")

    prices.set_piece(product=pounds, tier="stand", piece_cents=850, valid_from=builders.today())
    pounds.low_stock_pieces = 20
    pounds.save()

    assert kinds_of(told()) == ["price.changed", "product.changed"]
    assert {about["url"] for _kind, about in told()} == {
        f"/api/v1/products/{pounds.code}/",
        f"/api/v1/prices/{pounds.code}/",
    }


def test_what_is_told_of_a_customer_names_nobody(told_of, owner):
    told_of("customer.changed")

    customers.add(name="Ada Lind", email="ada@corner.example", phone="555 0100", street="2 Main St")

    [body] = HouseEvent.objects.values_list("body", flat=True)
    for word in ("Ada", "corner.example", "555", "Main"):
        assert word not in body


def test_an_address_is_whole_where_the_house_has_a_public_name(told_of, settings):
    settings.HTTPS, settings.ALLOWED_HOSTS = True, ["honey.example"]
    told = told_of("customer.changed")

    customer = builders.customer()

    [(_kind, data)] = told()
    assert data["url"] == f"https://honey.example/api/v1/customers/{customer.pk}/"
