"""Sales by weight at the stand: tare, volume, price a pound, receipt, undo, and what is refused."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.template.loader import render_to_string
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing import papers
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import stand as stand_services
from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.queries import by_weight, trace
from apiary_sales.orders.rules import weighing
from apiary_sales.orders.rules.weighing import Weighed
from apiary_sales.pricing.models import TaxRate
from apiary_sales.pricing.services import weight_prices
from inventory.shared.errors import LotOnHold, NotEnoughHoney
from inventory.stock.models import Balance, Lot, Place
from tests import builders
from tests.billing.conftest import errors_in, order_of, queries_of, words_of
from tests.orders.by_weight_room import honey_line, there, wax, wax_line, wax_lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def pail(house):
    return builders.place("pail-1", Place.Kind.PAIL, name="Pail 1")


@pytest.fixture
def lot(pail):
    return builders.lot_in(pail, 27_000)


@pytest.fixture
def price(house):
    return weight_prices.set_price(
        tier="stand", price_per_pound=Decimal("4.25"), valid_from=date(2026, 1, 1)
    )


@pytest.fixture
def seller(client):
    client.force_login(builders.person("stand"))
    return client


@pytest.fixture
def form(pail, lot, stand, price):
    return {
        "key": "form-1",
        "what": f"vessel-{pail.pk}",
        "gross": "6000",
        "gross_unit": "g",
        "tare": "350",
        "tare_unit": "g",
        "method": "cash",
        "tendered": "60",
    }


ADDRESS = "/stand/weight/"


def sell(place, *lines, tendered_cents=100_000, **fields):
    return stand_services.sell(
        lines=lines,
        place=place,
        payments=builders.paid("cash", tendered_cents),
        sold_by=builders.person("stand"),
        key=builders.new_key(),
        **fields,
    )


def faults():
    return [*books.faults(), *order_books.faults()]


def test_honey_goes_into_the_buyers_container_with_its_tare(form, seller, pail, lot):
    answer = seller.post(ADDRESS, form)

    receipt = Invoice.objects.get()
    assert answer["Location"] == reverse("billing:receipt", args=[receipt.pk])
    [line] = receipt.lines.all()
    # 6 000 − 350 = 5 650 g; / 453.59237 × 4.25 = 52.938…; 12.46 × 4.25 would be 52.955
    assert (line.shown_quantity, line.unit, line.unit_price) == ("12.456", "lb", Decimal("4.25"))
    assert (receipt.total_cents, line.lot_code) == (5_294, lot.code)
    assert there(pail) == (21_350, 0)
    assert faults() == []
    page = words_of(seller.get(answer["Location"]).content.decode())
    assert "gross 13.23 lb , tare 0.77 lb , net 12.46 lb" in page.replace("\xa0", " ")


def test_the_paper_prints_the_weights_and_the_price_a_pound(form, seller):
    seller.post(ADDRESS, form)
    receipt = Invoice.objects.get()

    text = words_of(render_to_string("documents/receipt.html", papers.receipt_context(receipt)))

    assert "gross 13.23 lb , tare 0.77 lb , net 12.46 lb" in text.replace("\xa0", " ")
    assert "$4.25 a lb" in text


def test_the_page_shows_what_it_comes_to_before_it_sells(form, seller, house):
    TaxRate.objects.create(
        name="State", goods="honey", percent=Decimal("6.25"), valid_from=date(2026, 1, 1)
    )

    answer = seller.post(ADDRESS, {**form, "show": "1"})

    # 6.25 % of 52.94 is 3.308…
    assert (answer.status_code, answer.context["total"].total_cents) == (200, 5_625)
    assert not Invoice.objects.exists()


def test_a_volume_is_billed_by_its_weight(form, seller, lot):
    volume = {"volume": "1", "volume_unit": "gal", "celsius": "68", "celsius_unit": "F"}

    seller.post(ADDRESS, {**form, "gross": "", "tare": "", **volume})

    row = Order.objects.get().fulfilments.get().lines.get()
    weighed = row.weighing
    assert row.quantity == weighed.net_grams
    # A gallon of honey weighs a little less than 12 lb: 11 lb 12 oz at 18.6 % (see test_by_weight).
    assert 5_330 < row.quantity < 5_443
    assert (weighed.millilitres, weighed.celsius) == (3_785, Decimal("20.0"))
    assert weighed.moisture_percent == lot.moisture_percent
    page = words_of(seller.get(f"/stand/receipts/{Invoice.objects.get().pk}/").content.decode())
    assert "of honey with 17.4 % moisture" in page.replace("\xa0", " ")


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ({"tare": ""}, "Enter what the empty container weighs, or 0."),
        ({"tare": "6000"}, "The full container must weigh more than the empty one."),
        ({"net": "500"}, "Enter one of these: the full container, the net weight, or a volume."),
        ({"gross": ""}, "Enter one of these: the full container, the net weight, or a volume."),
        (
            {"gross": "28000"},
            "Not enough honey: you asked for 61.0 lb, but Pail 1 has only 59.5 lb.",
        ),
        ({"tendered": "50"}, "The sale comes to $52.94, but $50.00 was given."),
    ],
)
def test_what_is_missing_is_said_at_its_field(typed, message, form, seller):
    answer = seller.post(ADDRESS, {**form, **typed})

    assert answer.status_code == 422
    assert message in " ".join(errors_in(answer)).replace("\xa0", " ")
    assert not Invoice.objects.exists()


def test_only_who_sets_prices_sells_at_another_price(form, seller, client):
    seller.post(ADDRESS, {**form, "price_per_pound": "1.00"})
    client.force_login(builders.person("office"))
    client.post(ADDRESS, {**form, "key": "form-2", "price_per_pound": "4.00"})

    paid = [line.unit_price for line in (i.lines.get() for i in Invoice.objects.order_by("id"))]

    assert paid == [Decimal("4.25"), Decimal(4)]


def test_without_a_price_nothing_is_sold(form, seller, price):
    price.delete()

    answer = seller.post(ADDRESS, form)

    assert "Pail 1: Clover has no price per pound." in " ".join(errors_in(answer))


def test_honey_on_hold_is_neither_offered_nor_sold(form, seller, pail, lot, stand):
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="Smoky")

    with pytest.raises(LotOnHold):
        sell(stand, honey_line(pail, 500))

    assert "No honey in a vessel" in words_of(seller.get(ADDRESS).content.decode())


def test_a_pail_gives_no_more_than_is_in_it(pail, lot, stand):
    with pytest.raises(NotEnoughHoney):
        sell(stand, honey_line(pail, 27_001))

    sell(stand, honey_line(pail, 27_000))

    assert there(pail) == (0, 0)


def test_a_recall_finds_the_named_buyer_of_a_vessels_honey(pail, lot, stand, shop):
    sell(stand, honey_line(pail, 5_000), customer=shop)

    [row] = trace.sale_rows(trace.named(Lot.objects.family_keys([lot.pk])))

    assert (row.customer, row.sold, row.is_weighed) == (shop.pk, 5_000, True)


def test_wax_of_two_lots_shares_one_weighing_and_other_goods_tax(stand, house, honey_tax):
    TaxRate.objects.create(
        name="State", goods="other", percent=Decimal(5), valid_from=date(2026, 1, 1)
    )
    product = wax()
    wax_lot(product, stand, 300, code="W-1")
    wax_lot(product, stand, 900, code="W-2", made_on=date(2026, 7, 1))
    weighed = weighing.on_scale(gross_grams=820, tare_grams=20)

    sale = sell(stand, wax_line(product, 800, weighed=weighed))

    rows = list(sale.fulfilment.lines.order_by("id"))
    # 800 / 453.59237 × 9.50 = 16.755…, shared 6.29 and 10.47; 5 % of each is 0.3145 and 0.5235
    assert (sale.invoice.net_cents, sale.invoice.tax_cents) == (1_676, 31 + 52)
    assert [(row.lot.code, row.quantity) for row in rows] == [("W-1", 300), ("W-2", 500)]
    assert rows[0].weighing == rows[1].weighing
    assert faults() == []


def test_an_undone_sale_puts_the_honey_back_into_its_pail(pail, lot, stand):
    sale = sell(stand, honey_line(pail, 5_650, "4.25", weighed=Weighed(5_650)))

    stand_services.take_back(
        receipt=sale.invoice,
        taken_by=builders.person(),
        key="undo",
        reason="Not paid",
        weighed_comes_back=True,
    )

    sale.order.refresh_from_db()
    assert sale.order.status == Order.Status.CANCELLED
    assert there(pail) == (27_000, 0)
    assert faults() == []


def test_the_undo_page_books_honey_out_as_spoiled_unless_it_never_left(pail, lot, stand, seller):
    sale = sell(stand, honey_line(pail, 5_650, "4.25", weighed=Weighed(5_650)))
    address = reverse("billing:receipt_undo", args=[sale.invoice.pk])

    before = words_of(seller.get(address).content.decode())
    done = words_of(
        seller.post(address, {"key": "undo", "reason": "Too dark"}, follow=True).content.decode()
    )
    after = words_of(seller.get(address).content.decode())

    # 5 650 / 453.59237 = 12.456
    assert "spoiled unless it goes back to stock 12.456 lb" in before
    assert "pieces" not in before
    assert "What was sold by weight is booked out as spoiled." in done
    assert there(pail) == (21_350, 0)
    assert Balance.objects.get(place__kind="spoiled", lot=lot).quantity == 5_650
    assert "Open receipt" in after
    assert "Undo and give back" not in after
    assert faults() == []


def test_receipts_are_listed_with_their_pounds(pail, lot, stand, seller):
    sell(stand, honey_line(pail, 5_650, "4.25", weighed=Weighed(5_650)))

    page = seller.get(reverse("billing:receipt_list"))

    assert "12.456 lb × Pail 1" in words_of(page.content.decode())


def test_an_order_is_filled_by_gross_and_tare_on_its_page(shop, pail, lot, client):
    order = order_of(shop, honey_line(pail, 5_500), fill=False)
    line = order.lines.get()
    client.force_login(builders.person())

    client.post(
        reverse("orders:order_fulfil", args=[order.number]),
        {
            "key": "fill-1",
            "filled_on": "2026-09-10",
            f"line_{line.pk}": "5500",
            f"line_{line.pk}_unit": "g",
            f"gross_{line.pk}": "6000",
            f"gross_{line.pk}_unit": "g",
            f"tare_{line.pk}": "350",
            f"tare_{line.pk}_unit": "g",
        },
    )

    order.refresh_from_db()
    row = order.fulfilments.get().lines.get()
    assert (order.status, row.quantity) == (Order.Status.FILLED, 5_650)
    page = words_of(
        client.get(reverse("orders:order_detail", args=[order.number])).content.decode()
    )
    assert "ordered 12.13 lb" in page.replace("\xa0", " ")


def test_the_order_form_takes_gallons_and_pounds_by_weight(shop, pail, lot, shelf, client):
    product = wax()
    wax_lot(product, shelf, 5_000)
    weight_prices.set_price(
        tier="shop", price_per_pound=Decimal("3.90"), valid_from=date(2026, 1, 1)
    )
    client.force_login(builders.person())
    form = {
        "key": "form-1",
        "customer": shop.pk,
        "channel": "shop",
        "weight_what_0": f"vessel-{pail.pk}",
        "weight_amount_0": "1",
        "weight_unit_0": "gal",
        "weight_what_1": f"goods-{product.pk}",
        "weight_amount_1": "2.5",
        "weight_unit_1": "lb",
    }

    refused = client.post(reverse("orders:order_create"), form)
    client.post(reverse("orders:order_create"), {**form, "weight_price_1": "9.50"})

    assert "Beeswax has no price per pound for this customer." in " ".join(errors_in(refused))
    honey, goods = Order.objects.get().lines.order_by("id")
    assert (honey.kind, honey.is_drawn, honey.unit_price) == ("honey", True, Decimal("3.9"))
    assert 5_330 < honey.quantity < 5_443
    assert "ordered as 1.00 gal at 68 °F" in honey.description.replace("\xa0", " ")
    # 2.5 lb × 453.59237 g; 2.5 × 9.50 = 23.75
    assert (goods.kind, goods.quantity, goods.amount_cents) == ("weighed", 1_134, 2_375)


def test_more_vessels_take_no_more_queries(form, client):
    client.force_login(builders.person())
    few = queries_of(client, ADDRESS)
    for number in range(5):
        builders.lot_in(builders.place(f"tank-{number}"), 1_000)

    assert queries_of(client, ADDRESS) == few


def test_the_page_names_its_place_and_shows_the_net_weight_at_once(pail, lot, stand, seller):
    page = seller.get(ADDRESS).content.decode()

    assert f"Goods are taken from: {stand.name}." in words_of(page)
    assert page.index('name="net"') < page.index('<details class="card"')


def test_an_invoice_says_the_price_is_a_pound(pail, lot, shop, client):
    order = order_of(shop, honey_line(pail, 5_500, "4.25"))
    client.force_login(builders.person())

    client.post(
        reverse("billing:invoice_create", args=[order.number]),
        {"key": "i-1", "issued_on": timezone.localdate().isoformat()},
    )
    page = client.get(reverse("billing:invoice_detail", args=[Invoice.objects.get().pk]))

    assert "$4.25 a lb" in words_of(page.content.decode())


def test_what_is_offered_at_several_places_is_what_each_offers_in_the_same_number_of_queries(
    lot, shelf, stand, price, django_assert_num_queries
):
    van = builders.place("van", Place.Kind.VAN, name="Van")
    product = wax()
    wax_lot(product, stand, 300, code="W-1")
    wax_lot(product, shelf, 900, code="W-2")
    today = timezone.localdate()

    with CaptureQueriesContext(connection) as of_one:
        by_weight.offers_at([stand], today)
    with django_assert_num_queries(len(of_one)):
        found = by_weight.offers_at([stand, van, shelf], today)

    for place in (stand, van, shelf):
        alone = [offer.key for offer in by_weight.offers(place, today)]
        assert [offer.key for offer, where in found if place in where] == alone
