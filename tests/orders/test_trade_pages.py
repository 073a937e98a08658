"""The pages of consignment, contracts, standing orders and delivery rounds."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.models import ConsignmentReport
from apiary_sales.orders.models import Order
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import consignments, orders
from apiary_sales.orders.trade_models import (
    CallOff,
    ConsignmentDelivery,
    ConsignmentShelf,
    Contract,
    DeliveryRound,
    StandingOrder,
    StandingOrderDay,
)
from apiary_sales.pricing.models import PiecePrice
from inventory.stock.models import Balance
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _signed_in(client, owner):
    client.force_login(owner)


@pytest.fixture
def lot(jars, shelf):
    PiecePrice.objects.create(
        tier="shop", product=jars, piece_cents=650, valid_from=date(2026, 1, 1)
    )
    return builders.packed_lot(jars, shelf, 24, code="A1", cost_cents=4_800)


@pytest.fixture
def there(shop, key):
    return consignments.set_up(customer=shop, key=key())


@pytest.fixture
def send(client, key):
    """Send a form; the page must take it, or say why not with status 422."""

    def send(address, /, *args, expect=302, **typed):
        answer = client.post(reverse(address, args=args), {"key": key(), **typed})
        assert answer.status_code == expect, answer.context and answer.context["form"].errors
        return answer

    return send


@pytest.fixture
def shown(client):
    """Return what a page shows."""

    def shown(name, *args, query=""):
        answer = client.get(reverse(name, args=args) + query)
        assert answer.status_code == 200
        return answer.content.decode()

    return shown


def today():
    return timezone.localdate().isoformat()


def test_jars_go_to_a_shop_and_its_report_is_invoiced(send, shown, lot, jars, shop):
    send("orders:consignment_create", customer=shop.pk, name="Grocery shelf")
    shelf = ConsignmentShelf.objects.get()
    code = shelf.place.code
    send("orders:consignment_price", code, product=jars.pk, unit_price="5.25", valid_from=today())
    send(
        "orders:consignment_deliver",
        code,
        **{f"pieces_{jars.pk}": "10", "planned_on": today(), "is_there": "on"},
    )
    page = shown("orders:consignment_shelf", code)
    assert "Grocery shelf" in page
    assert "A1" in page
    assert "10 pieces of yours are in shops" in shown("orders:consignment_list")

    assert "10 pieces on the shelf, $5.25 each" in shown("billing:consignment_report", code)
    send(
        "billing:consignment_report",
        code,
        **{f"pieces_{jars.pk}": "4", "sold_from": today(), "sold_until": today()},
    )

    assert ConsignmentReport.objects.get().invoice.net_cents == 2_100
    assert Balance.objects.get(item=jars.item, place=shelf.place).quantity == 6
    assert "$21.00" in shown("billing:consignment_report", code)


def test_a_report_of_too_many_says_so_at_the_product(send, lot, jars, there):
    consignments.agree_price(shelf=there, product=jars, unit_price=Decimal("5.25"))
    send(
        "orders:consignment_deliver",
        there.place.code,
        **{f"pieces_{jars.pk}": "3", "planned_on": today(), "is_there": "on"},
    )

    answer = send(
        "billing:consignment_report",
        there.place.code,
        expect=422,
        **{f"pieces_{jars.pk}": "4", "sold_from": today(), "sold_until": today()},
    )

    assert list(answer.context["form"].errors) == [f"pieces_{jars.pk}"]


def test_a_planned_delivery_is_shown_carried_and_printed(send, shown, client, lot, jars, there):
    send(
        "orders:consignment_deliver",
        there.place.code,
        **{f"pieces_{jars.pk}": "5", "planned_on": today()},
    )
    delivery = ConsignmentDelivery.objects.get()
    assert "Cancel the delivery" in shown("orders:consignment_delivery", delivery.number)

    send("orders:consignment_delivery_deliver", delivery.number)

    assert "lot A1" in shown("orders:consignment_delivery", delivery.number)
    paper = client.get(reverse("orders:consignment_delivery_pdf", args=[delivery.number]))
    assert paper.content[:5] == b"%PDF-"


def test_a_planned_delivery_is_cancelled_by_its_button(send, lot, jars, there, owner, key):
    delivery = consignments.plan(
        shelf=there, lines=[PiecesWanted(jars, 5)], created_by=owner, key=key()
    )

    send("orders:consignment_delivery_cancel", delivery.number)

    delivery.refresh_from_db()
    assert delivery.status == ConsignmentDelivery.Status.CANCELLED


def test_jars_come_back_by_lot(send, lot, jars, there, shelf, owner, key):
    consignments.deliver_now(
        shelf=there, lines=[PiecesWanted(jars, 5)], delivered_by=owner, key=key()
    )

    wrong = send(
        "orders:consignment_bring_back",
        there.place.code,
        expect=422,
        **{f"lot_{lot.pk}": "6", "target": "shelf"},
    )
    assert list(wrong.context["form"].errors) == [f"lot_{lot.pk}"]
    send(
        "orders:consignment_bring_back",
        there.place.code,
        **{f"lot_{lot.pk}": "2", "target": "shelf"},
    )

    assert Balance.objects.get(lot=lot, place=there.place).quantity == 3


def test_too_many_of_two_lots_are_each_refused_at_their_own_field(
    send, lot, jars, there, shelf, owner, key
):
    later = builders.packed_lot(jars, shelf, 24, code="A2", cost_cents=4_800)
    consignments.deliver_now(
        shelf=there, lines=[PiecesWanted(jars, 40)], delivered_by=owner, key=key()
    )

    wrong = send(
        "orders:consignment_bring_back",
        there.place.code,
        expect=422,
        **{f"lot_{lot.pk}": "600", f"lot_{later.pk}": "600", "target": "shelf"},
    )

    assert list(wrong.context["form"].errors) == [f"lot_{lot.pk}", f"lot_{later.pk}"]


def test_a_contract_is_agreed_and_called_off(send, shown, packer, full_drum):
    drum = full_drum("1")
    send(
        "orders:contract_create",
        customer=packer.pk,
        min_grams="500",
        min_grams_unit="lb",
        max_grams="600",
        max_grams_unit="lb",
        unit_price="2.40",
        starts_on=today(),
        ends_on=(timezone.localdate() + timedelta(days=90)).isoformat(),
        colour_class="Extra White",
        step_1="1000",
        step_1_unit="lb",
        step_price_1="2.30",
    )
    contract = Contract.objects.get()
    assert [step.unit_price for step in contract.price_steps.all()] == [
        Decimal("2.40"),
        Decimal("2.30"),
    ]
    assert "Drum 1 is white. Agreed: extra white or lighter." in shown(
        "orders:contract_call_off", contract.number
    )

    asked = send(
        "orders:contract_call_off", contract.number, expect=422, drums=drum.pk, drums_as="own"
    )
    assert set(asked.context["form"].errors) == {"beyond_is_right", "quality_is_right"}
    send(
        "orders:contract_call_off",
        contract.number,
        drums=drum.pk,
        drums_as="own",
        beyond_is_right="on",
        quality_is_right="on",
    )

    made = CallOff.objects.get()
    assert made.order.lines.get().unit_price == Decimal("2.40")
    page = shown("orders:contract", contract.number)
    assert made.order.number in page
    assert "more were called off than agreed" in page


def test_a_sample_is_approved_and_a_contract_gets_another_last_day(
    send, shown, packer, full_drum, owner, key
):
    drum = full_drum("1")
    lot = Balance.objects.in_vessel(drum).lot
    send(
        "orders:contract_create",
        customer=packer.pk,
        max_grams="600",
        max_grams_unit="lb",
        unit_price="2.40",
        starts_on=today(),
        ends_on=today(),
    )
    contract = Contract.objects.get()

    send(
        "orders:contract_sample",
        contract.number,
        lot=lot.pk,
        approved_on=today(),
        approved_by="Ida Roth",
    )
    later = (timezone.localdate() + timedelta(days=30)).isoformat()
    send("orders:contract_end", contract.number, ends_on=later)

    page = shown("orders:contract", contract.number)
    assert "Ida Roth" in page
    assert lot.code in page
    contract.refresh_from_db()
    assert contract.ends_on.isoformat() == later


def test_standing_orders_are_confirmed_paused_and_left_out(send, shown, lot, jars, shop):
    send(
        "orders:standing_create",
        customer=shop.pk,
        channel="shop",
        rhythm="weekly",
        starts_on=today(),
        **{f"pieces_{jars.pk}": "6"},
    )
    standing = StandingOrder.objects.get()
    page = shown("orders:standing_confirm")
    assert "$39.00" in page

    send("orders:standing_confirm", due=f"{standing.pk}:{today()}")

    assert Order.objects.get().total_cents == 3_900
    assert "proposes an order for this day" in shown("orders:standing_confirm")
    send("orders:standing_pause", standing.pk)
    assert "paused" in shown("orders:standing_list")
    send("orders:standing_pause", standing.pk)
    following = (timezone.localdate() + timedelta(days=7)).isoformat()
    send("orders:standing_leave_out", standing.pk, due_on=following)
    assert StandingOrderDay.objects.filter(order=None).count() == 1
    send(
        "orders:standing_change",
        standing.pk,
        rhythm="monthly",
        starts_on=today(),
        **{f"pieces_{jars.pk}": "7"},
    )
    assert "7 One pound" in shown("orders:standing", standing.pk)


def test_an_order_that_lacks_goods_is_refused_and_named(send, lot, jars, shop):
    send(
        "orders:standing_create",
        customer=shop.pk,
        channel="shop",
        rhythm="weekly",
        starts_on=today(),
        **{f"pieces_{jars.pk}": "25"},
    )
    standing = StandingOrder.objects.get()

    answer = send("orders:standing_confirm", expect=422, due=f"{standing.pk}:{today()}")

    assert "Corner Grocery: Not enough One pound" in answer.content.decode()
    assert not Order.objects.exists()


def test_a_round_is_planned_loaded_and_delivered(
    send, shown, client, lot, jars, there, shop, jar_line, full_drum, drum_line, owner, key
):
    order = orders.take(
        customer=shop,
        channel="delivery",
        lines=[jar_line(4), drum_line(full_drum("1"))],
        created_by=owner,
        key=key(),
    )
    delivery = consignments.plan(
        shelf=there, lines=[PiecesWanted(jars, 5)], created_by=owner, key=key()
    )

    send(
        "orders:round_create",
        day=today(),
        vehicle="Blue van",
        **{f"stop_order_{order.pk}": "2", f"stop_delivery_{delivery.pk}": "1"},
    )

    made = DeliveryRound.objects.get()
    stops = list(made.stops.all())
    assert [stop.delivery for stop in stops] == [delivery, None]
    page = shown("orders:round", made.number)
    assert "with the drums" in page
    assert "Never lift or tip one alone" in page
    paper = client.get(reverse("orders:load_list_pdf", args=[made.number]))
    assert paper.content[:5] == b"%PDF-"

    send(
        "orders:round_change",
        made.number,
        day=today(),
        vehicle="Truck",
        **{f"stop_order_{order.pk}": "1", f"stop_delivery_{delivery.pk}": "2"},
    )
    for stop in made.stops.all():
        shown("orders:round_stop_deliver", made.number, stop.pk)
        send("orders:round_stop_deliver", made.number, stop.pk)

    order.refresh_from_db()
    delivery.refresh_from_db()
    assert (order.status, delivery.status) == ("filled", "delivered")
    assert "all delivered" in shown("orders:round_list")
    assert "Blue van" not in shown("orders:trade")
