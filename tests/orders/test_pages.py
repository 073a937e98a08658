"""The pages of selling: what they show, what they refuse, and who may use them."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.services import invoices
from apiary_sales.orders.models import Fulfilment, Order, Reservation
from apiary_sales.orders.queries import books
from apiary_sales.orders.services import orders, quotes
from apiary_sales.pricing.models import BulkPrice, PiecePrice
from inventory.bottling.services import products
from inventory.shared.models import House
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.queries import books as stock_books
from inventory.stock.services import drums
from tests import builders
from tests.orders.conftest import charge

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(stock_books.faults()) == []
    assert list(books.faults()) == []


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def shop_price(jars):
    return PiecePrice.objects.create(tier="shop", product=jars, piece_cents=650, case_cents=7_200)


@pytest.fixture
def shop_order(shop, jar_line, owner, key):
    def make(pieces=30, **fields):
        return orders.take(
            customer=shop,
            channel="shop",
            lines=[jar_line(pieces)],
            created_by=owner,
            key=key(),
            **fields,
        )

    return make


@pytest.fixture
def quoted(packer, owner, key, drum_line, today):
    def make(*drums, valid_until=None):
        return quotes.quote(
            customer=packer,
            lines=[*map(drum_line, drums), charge("drum_deposit", len(drums), "40")],
            valid_until=valid_until or today + timedelta(days=14),
            created_by=owner,
            key=key(),
        )

    return make


def sentences(response) -> list[str]:
    """Return every error a form of the page shows."""
    form = response.context["form"]
    return [message for messages in form.errors.values() for message in messages]


def order_data(shop, jars, pieces, **fields):
    return {
        "key": "form-1",
        "customer": shop.pk,
        "channel": "shop",
        f"pieces_{jars.pk}": pieces,
        **fields,
    }


def quote_data(packer, drums, today, **fields):
    data = {
        "key": "form-1",
        "customer": packer.pk,
        "drums_as": "own",
        "valid_until": today + timedelta(days=14),
        **fields,
    }
    for drum in drums:
        data |= {f"drum_{drum.pk}": "on", f"price_{drum.pk}": "2.15"}
    return data


# ---------------------------------------------------------------- taking an order


def test_an_order_is_taken_at_the_price_of_the_tier(office, shop, jars, shelf, shop_price):
    builders.packed_lot(jars, shelf, 48)

    response = office.post(reverse("orders:order_create"), order_data(shop, jars, 5))

    order = Order.objects.get()
    assert response.url == reverse("orders:order_detail", args=[order.number])
    assert (order.total_cents, order.created_by.username) == (3_250, "office")


def test_whole_cases_go_at_the_case_price(office, shop, jars, shelf, shop_price):
    builders.packed_lot(jars, shelf, 48)

    office.post(reverse("orders:order_create"), order_data(shop, jars, 24))

    assert Order.objects.get().total_cents == 14_400


def test_a_quantity_price_leaves_the_lower_case_price_as_it_is(
    office, shop, jars, shelf, shop_price
):
    builders.packed_lot(jars, shelf, 48)
    PiecePrice.objects.create(tier="shop", product=jars, min_pieces=6, piece_cents=640)

    office.post(reverse("orders:order_create"), order_data(shop, jars, 24))

    # Two cases of 12 at 72.00, not 24 at 6.40.
    assert Order.objects.get().total_cents == 14_400


def test_another_price_a_discount_and_a_delivery_charge_are_kept(
    office, shop, jars, shelf, shop_price
):
    builders.packed_lot(jars, shelf, 48)
    data = order_data(shop, jars, 5, freight="12.00", note="Back door")
    data |= {f"price_{jars.pk}": "6.1250", f"discount_{jars.pk}": "0.63"}

    office.post(reverse("orders:order_create"), data)

    order = Order.objects.get()
    # 5 × $6.1250 = $30.625 → $30.63, less $0.63, and $12.00
    assert [line.amount_cents for line in order.lines.all()] == [3_000, 1_200]
    assert order.note == "Back door"


def test_more_than_is_free_is_refused_at_its_row(office, shop, jars, shelf, shop_price):
    builders.packed_lot(jars, shelf, 48)

    response = office.post(reverse("orders:order_create"), order_data(shop, jars, 49))

    assert response.status_code == 422
    assert response.context["form"].errors == {
        f"pieces_{jars.pk}": [
            "Not enough One pound. Asked for: 49 pieces. Free: 48 pieces. Take fewer, or "
            "plan a bottling run."
        ]
    }
    assert Order.objects.count() == 0
    assert Balance.objects.get(place=shelf).reserved == 0


def test_the_same_order_form_sent_twice_takes_one_order(office, shop, jars, shelf, shop_price):
    builders.packed_lot(jars, shelf, 48)
    data = order_data(shop, jars, 5)

    office.post(reverse("orders:order_create"), data)
    response = office.post(reverse("orders:order_create"), data, follow=True)

    order = Order.objects.get()
    assert response.redirect_chain == [(reverse("orders:order_detail", args=[order.number]), 302)]
    assert [str(message) for message in response.context["messages"]] == [
        f"Order {order.number} is taken, and its goods are reserved.",
        "This was recorded already.",
    ]
    assert Balance.objects.get(place=shelf).reserved == 5


def test_an_order_form_without_jars_says_so(office, shop, jars, shop_price):
    response = office.post(reverse("orders:order_create"), order_data(shop, jars, ""))

    assert response.status_code == 422
    assert sentences(response) == ["Put at least one thing on the order."]


def test_a_product_without_a_price_asks_for_one(office, shop, jars, shelf):
    builders.packed_lot(jars, shelf, 48)

    response = office.post(reverse("orders:order_create"), order_data(shop, jars, 5))

    assert response.status_code == 422
    assert response.context["form"].errors[f"price_{jars.pk}"] == [
        "One pound has no price for this customer. Enter one."
    ]


def test_a_discount_beyond_the_line_is_refused_at_its_field(office, shop, jars, shelf, shop_price):
    builders.packed_lot(jars, shelf, 48)
    data = order_data(shop, jars, 1) | {f"discount_{jars.pk}": "6.51"}

    response = office.post(reverse("orders:order_create"), data)

    assert response.status_code == 422
    assert response.context["form"].errors[f"discount_{jars.pk}"] == [
        "The discount of $6.51 is more than the amount of the line, $6.50. Enter a smaller "
        "discount."
    ]


@pytest.mark.parametrize(
    ("name", "sentence"),
    [("order_create", "Choose the customer."), ("quote_create", "Choose the buyer.")],
)
def test_a_customer_is_asked_for_in_words(office, jars, name, sentence):
    response = office.post(reverse(f"orders:{name}"), {"key": "form-1"})

    assert response.status_code == 422
    assert response.context["form"].errors["customer"] == [sentence]


def test_a_day_beyond_a_year_is_a_slip(office, shop, packer, jars, shelf, shop_price, full_drum):
    builders.packed_lot(jars, shelf, 48)
    drum = full_drum(7)
    far = "2090-01-01"

    order = office.post(reverse("orders:order_create"), order_data(shop, jars, 5, wanted_on=far))
    quote = office.post(
        reverse("orders:quote_create"),
        quote_data(packer, [drum], builders.today(), valid_until=far),
    )

    sentence = "Jan 1, 2090 is more than a year away. Check the date."
    assert order.context["form"].errors["wanted_on"] == [sentence]
    assert quote.context["form"].errors["valid_until"] == [sentence]
    assert not Order.objects.exists()


def test_the_total_follows_what_is_typed(office, shop, jars, shelf, shop_price):
    builders.packed_lot(jars, shelf, 48)

    response = office.post(reverse("orders:order_total"), order_data(shop, jars, 5))

    assert "$32.50" in response.text
    assert Order.objects.count() == 0


def test_the_prices_are_those_of_the_chosen_customer(office, packer, jars, shelf, shop_price):
    PiecePrice.objects.create(tier="bulk", product=jars, piece_cents=599)

    for_shops = office.get(reverse("orders:order_create"))
    for_packer = office.get(reverse("orders:order_create"), {"customer": packer.pk})

    assert "$6.50" in for_shops.text
    assert "$5.99" in for_packer.text


# ---------------------------------------------------------------- one order


def test_the_order_page_shows_what_is_reserved_where(office, shop_order, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)

    page = office.get(reverse("orders:order_detail", args=[order.number]))

    assert lot.code in page.text
    assert "Shelf" in page.text
    assert reverse("billing:invoice_create", args=[order.number]) not in page.text

    orders.fulfil(order=order, filled_by=builders.person(), key="fill")
    page = office.get(reverse("orders:order_detail", args=[order.number]))

    assert reverse("billing:invoice_create", args=[order.number]) in page.text


def test_part_of_an_order_is_handed_over(office, shop_order, jars, shelf, today):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)
    line = order.lines.get()

    response = office.post(
        reverse("orders:order_fulfil", args=[order.number]),
        {"key": "f1", "filled_on": today, f"line_{line.pk}": "12"},
    )

    order.refresh_from_db()
    line.refresh_from_db()
    assert response.status_code == 302
    assert (order.status, line.filled) == (Order.Status.PART_FILLED, 12)


def test_too_many_are_refused_at_their_line(office, shop_order, jars, shelf, today):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)
    line = order.lines.get()

    response = office.post(
        reverse("orders:order_fulfil", args=[order.number]),
        {"key": "f1", "filled_on": today, f"line_{line.pk}": "31"},
    )

    assert response.status_code == 422
    assert response.context["form"].errors == {
        f"line_{line.pk}": [
            "Too much of One pound. Entered: 31 pieces. Left to hand over: 30 pieces. "
            "Enter no more than that."
        ]
    }
    assert Fulfilment.objects.count() == 0


def test_jars_on_hold_are_refused_at_their_line(office, shop_order, jars, shelf, today):
    lot = builders.packed_lot(jars, shelf, 48, code="L26001")
    order = shop_order(30)
    line = order.lines.get()
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="Short fill")

    response = office.post(
        reverse("orders:order_fulfil", args=[order.number]),
        {"key": "f1", "filled_on": today, f"line_{line.pk}": "30"},
    )

    assert response.status_code == 422
    assert response.context["form"].errors[f"line_{line.pk}"] == [
        "Lot L26001 is on hold and can't be sold: Short fill"
    ]
    assert Balance.objects.get(place=shelf).quantity == 48


def test_the_same_filling_sent_twice_hands_over_once(office, shop_order, jars, shelf, today):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)
    data = {"key": "f1", "filled_on": today, f"line_{order.lines.get().pk}": "12"}
    address = reverse("orders:order_fulfil", args=[order.number])

    office.post(address, data)
    response = office.post(address, data)

    assert response.url == reverse("orders:order_detail", args=[order.number])
    assert Balance.objects.get(place=shelf).quantity == 36


def test_an_order_is_cancelled_with_a_reason(office, shop_order, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)
    address = reverse("orders:order_cancel", args=[order.number])

    refused = office.post(address, {"key": "c1", "reason": ""})
    assert refused.status_code == 422
    assert Balance.objects.get(place=shelf).reserved == 30

    office.post(address, {"key": "c1", "reason": "Shop closed"})
    again = office.post(address, {"key": "c1", "reason": "Shop closed"})

    order.refresh_from_db()
    assert again.status_code == 302
    assert order.status == Order.Status.CANCELLED
    assert Balance.objects.get(place=shelf).reserved == 0


def test_goods_are_taken_back_from_the_order_page(office, shop_order, jars, shelf, owner):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)
    done = orders.fulfil(order=order, filled_by=owner, key="fill")
    address = reverse("orders:order_take_back", args=[order.number, done.pk])

    assert "30" in office.get(address).text
    office.post(address, {"key": "t1", "reason": "Wrong shop"})
    again = office.post(address, {"key": "t2", "reason": "Wrong shop"})

    order.refresh_from_db()
    assert order.status == Order.Status.OPEN
    assert again.status_code == 422
    assert sentences(again) == ["These goods were taken back already."]


def test_a_fulfilment_of_another_order_is_not_found_here(office, shop_order, jars, shelf, owner):
    builders.packed_lot(jars, shelf, 48)
    order, other = shop_order(3), shop_order(3)
    done = orders.fulfil(order=other, filled_by=owner, key="fill")

    response = office.get(reverse("orders:order_take_back", args=[order.number, done.pk]))

    assert response.status_code == 404


def test_drums_on_deposit_come_back(office, quoted, full_drum, owner, key):
    drum = full_drum(7)
    order = quotes.accept(order=quoted(drum), accepted_by=owner, key=key())
    orders.fulfil(order=order, filled_by=owner, key=key())
    address = reverse("orders:drums_back", args=[order.number])

    office.post(address, {"key": "b1", "drums": [drum.pk]})
    refused = office.post(address, {"key": "b2", "drums": [drum.pk]})

    drum.refresh_from_db()
    assert drum.is_active is True
    assert refused.status_code == 422


def test_an_unknown_order_is_not_found(office):
    for name in ("order_detail", "order_fulfil", "order_cancel", "pick_list", "quote_pdf"):
        url_name = f"orders:{name}"
        assert office.get(reverse(url_name, args=["99-9999"])).status_code == 404


def test_the_pick_list_goes_by_place_and_lot(office, shop_order, jars, shelf, stand, today):
    older = builders.packed_lot(jars, stand, 20, best_by=today)
    newer = builders.packed_lot(jars, shelf, 20)
    order = shop_order(25)

    page = office.get(reverse("orders:pick_list", args=[order.number]))

    assert [
        (place.name, [(row["lot"], row["quantity"]) for row in rows])
        for place, rows in page.context["shelves"]
    ] == [("Shelf", [(newer, 5)]), ("Stand", [(older, 20)])]
    assert "Never lift or tip" not in page.text


def test_a_pick_list_of_drums_warns_of_their_weight(office, quoted, full_drum, owner, key):
    order = quotes.accept(order=quoted(full_drum(7)), accepted_by=owner, key=key())

    page = office.get(reverse("orders:pick_list", args=[order.number]))

    assert "Never lift or tip one alone" in page.text
    # 295 kg of honey and 18 kg of drum are 690.05 lb
    assert ">690.0<" in page.text


def test_pick_list_and_quote_come_as_pdf(office, quoted, full_drum, owner, key):
    order = quotes.accept(order=quoted(full_drum(7)), accepted_by=owner, key=key())

    for name in ("pick_list_pdf", "quote_pdf"):
        response = office.get(reverse(f"orders:{name}", args=[order.number]))
        assert response["Content-Type"] == "application/pdf"
        assert response.content.startswith(b"%PDF-")


def test_a_line_by_weight_shows_the_pounds_that_its_price_multiplies_to_its_amount(
    office, packer, drum_line, full_drum, owner, key, today
):
    # 655.5 lb are 297,329.8 g; 655.50 × 2.65 = 1,737.075, half up 1,737.08. 656 × 2.65 is 1,738.40.
    order = quotes.quote(
        customer=packer,
        lines=[drum_line(full_drum(7, grams=297_330), price="2.65")],
        valid_until=today,
        created_by=owner,
        key=key(),
    )
    page = reverse("orders:order_detail", args=[order.number])
    shown = "<b>655.50</b> <small>lb</small>"

    quoted = office.get(page).text
    offered = office.get(reverse("orders:quote_create")).text
    accepting = office.get(reverse("orders:quote_accept", args=[order.number])).text
    quotes.accept(order=order, accepted_by=owner, key=key())
    reserved = office.get(page).text

    # The line and what the drums come to; then the line, what is reserved, and the sum.
    assert (quoted.count(shown), reserved.count(shown)) == (2, 3)
    assert shown in offered
    assert shown in accepting
    assert "$1,737.08" in quoted
    assert "656" not in quoted + reserved


# ---------------------------------------------------------------- quotes


def test_an_amount_ticks_the_drums_that_make_it_up(office, full_drum):
    one, two = full_drum(1), full_drum(2)
    BulkPrice.objects.create(price_per_pound="2.15", colour_class="", moisture_percent_max=30)

    page = office.get(reverse("orders:quote_create"), {"amount": "600", "unit": "lb"})

    form = page.context["form"]
    assert (form[f"drum_{one.pk}"].value(), form[f"drum_{two.pk}"].value()) == (True, None)
    assert page.context["figures"].honey_cents == 139_828
    assert "$1,398.28" in page.text


def test_an_amount_beyond_the_free_drums_is_refused_at_its_field(office, full_drum):
    full_drum(1)

    page = office.get(reverse("orders:quote_create"), {"amount": "2000", "unit": "lb"})

    # 295 kg = 650.36 lb
    assert page.context["pick_form"].errors == {
        "amount": [
            "Not enough honey in free drums. Asked for: 2,000 lb. Free and suitable: 650 "
            "lb. Ask for less, or change the colour or the moisture."
        ]
    }


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"amount": "-5", "unit": "lb"}, "amount"),
        ({"amount": "1.5", "unit": "drums"}, "amount"),
        ({"amount": "5", "unit": "bushels"}, "unit"),
        ({"amount": "5", "unit": "lb", "moisture": "55"}, "moisture"),
    ],
)
def test_an_amount_that_makes_no_sense_is_refused_at_its_field(office, full_drum, asked, field):
    full_drum(1)

    page = office.get(reverse("orders:quote_create"), asked)

    assert list(page.context["pick_form"].errors) == [field]


def test_a_quote_is_saved_with_deposit_and_freight(office, packer, full_drum, today):
    House(name="Test house", drum_deposit_cents=4_000).save()
    drums = [full_drum(1), full_drum(2)]

    office.post(
        reverse("orders:quote_create"),
        quote_data(packer, drums, today, drums_as="drum_deposit", freight="180"),
    )

    order = Order.objects.get()
    assert order.status == Order.Status.QUOTED
    assert [(line.kind, line.amount_cents) for line in order.lines.all()] == [
        ("honey", 139_828),
        ("honey", 139_828),
        ("drum_deposit", 8_000),
        ("freight", 18_000),
    ]


def test_a_quote_form_without_drums_says_so(office, packer, full_drum, today):
    full_drum(1)

    response = office.post(reverse("orders:quote_create"), quote_data(packer, [], today))

    assert response.status_code == 422
    assert sentences(response) == ["Tick the drums the buyer gets."]


def test_a_drum_without_a_price_asks_for_one(office, packer, full_drum, today):
    drum = full_drum(1)
    data = quote_data(packer, [drum], today) | {f"price_{drum.pk}": ""}

    response = office.post(reverse("orders:quote_create"), data)

    assert response.status_code == 422
    assert response.context["form"].errors[f"price_{drum.pk}"] == [
        "Enter a price per pound for Drum 1."
    ]


def test_a_drum_sold_while_the_page_was_open_is_named(
    office, packer, full_drum, today, quoted, owner, key
):
    drum, other = full_drum(1), full_drum(2)
    quotes.accept(order=quoted(drum), accepted_by=owner, key=key())

    response = office.post(reverse("orders:quote_create"), quote_data(packer, [drum, other], today))

    assert response.status_code == 422
    assert sentences(response) == ["Drum 1 is no longer free. Choose another."]
    assert Order.objects.count() == 1


def test_an_unknown_drum_is_refused(office, packer, full_drum, today):
    data = quote_data(packer, [full_drum(1)], today) | {"drum_987654": "on"}

    response = office.post(reverse("orders:quote_create"), data)

    assert response.status_code == 422
    assert sentences(response) == ["That drum was not found. Open the page again."]


def test_a_quote_valid_until_yesterday_is_refused_at_its_field(office, packer, full_drum, today):
    data = quote_data(packer, [full_drum(1)], today, valid_until=today - timedelta(days=1))

    response = office.post(reverse("orders:quote_create"), data)

    assert response.status_code == 422
    assert response.context["form"].errors == {
        "valid_until": [
            ("The last day the quote is valid is in the past. Choose today or a later day.")
        ]
    }


def test_the_same_quote_form_sent_twice_is_one_quote(office, packer, full_drum, today):
    data = quote_data(packer, [full_drum(1)], today)

    office.post(reverse("orders:quote_create"), data)
    response = office.post(reverse("orders:quote_create"), data)

    assert response.status_code == 302
    assert Order.objects.count() == 1


def test_an_accepted_quote_reserves_its_drums(office, quoted, full_drum):
    drum = full_drum(7)
    order = quoted(drum)

    office.post(reverse("orders:quote_accept", args=[order.number]), {"key": "a1"})

    order.refresh_from_db()
    assert order.status == Order.Status.OPEN
    assert Balance.objects.in_vessel(drum).reserved == 295_000


def test_a_quote_past_its_date_is_refused_on_its_page(office, quoted, full_drum, today):
    drum = full_drum(7)
    order = quoted(drum)
    Order.objects.update(valid_until=today - timedelta(days=1))

    response = office.post(reverse("orders:quote_accept", args=[order.number]), {"key": "a1"})

    assert response.status_code == 422
    [sentence] = sentences(response)
    assert sentence.startswith(f"Quote {order.number} was valid until ")
    assert sentence.endswith("Make a new quote at today's price.")
    assert Balance.objects.in_vessel(drum).reserved == 0
    page = office.get(reverse("orders:order_detail", args=[order.number]))
    assert f"?again={order.number}" in page.text


def test_a_drum_gone_since_the_quote_is_named_on_its_page(office, quoted, full_drum, owner, key):
    drum = full_drum(7)
    order = quoted(drum)
    drums.drain(drum=drum, target=builders.place("t9"), recorded_by=owner, key=key())

    response = office.post(reverse("orders:quote_accept", args=[order.number]), {"key": "a1"})

    assert response.status_code == 422
    assert sentences(response) == ["Drum 7 is empty or no longer here. Choose another."]


def test_the_last_drum_goes_to_one_of_two_buyers(office, quoted, full_drum):
    drum = full_drum(7)
    first, second = quoted(drum), quoted(drum)

    office.post(reverse("orders:quote_accept", args=[first.number]), {"key": "a1"})
    response = office.post(reverse("orders:quote_accept", args=[second.number]), {"key": "a2"})

    assert response.status_code == 422
    assert sentences(response) == [f"Drum 7 is reserved for order {first.number}. Choose another."]
    assert Reservation.objects.count() == 1


def test_quoting_again_ticks_the_same_drums(office, quoted, full_drum):
    drum, other = full_drum(7), full_drum(8)
    order = quoted(drum)

    page = office.get(reverse("orders:quote_create"), {"again": order.number})

    form = page.context["form"]
    assert (form[f"drum_{drum.pk}"].value(), form[f"drum_{other.pk}"].value()) == (True, None)
    assert form["drums_as"].value() == "drum_deposit"


def test_the_total_of_a_quote_follows_the_ticks(office, packer, full_drum, today):
    drum = full_drum(1)

    response = office.post(reverse("orders:quote_total"), quote_data(packer, [drum], today))

    assert "$1,398.28" in response.text
    assert Order.objects.count() == 0


# ---------------------------------------------------------------- lists and parts of other pages


def test_selling_shows_what_waits(office, shop_order, quoted, full_drum, jars, shelf, today):
    builders.packed_lot(jars, shelf, 48)
    late = shop_order(3, placed_on=today - timedelta(days=9), wanted_on=today - timedelta(days=1))
    soon = shop_order(3, wanted_on=today + timedelta(days=3))
    any_day = shop_order(3)
    quote = quoted(full_drum(7))

    page = office.get(reverse("orders:selling"))

    assert [row.order for row in page.context["to_fill"]] == [late, soon, any_day]
    assert [row.is_late for row in page.context["to_fill"]] == [True, False, False]
    assert [row.order for row in page.context["quotes"]] == [quote]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"status": "to_fill"}, ["shop"]),
        ({"status": "quoted"}, ["quote"]),
        ({"channel": "bulk"}, ["quote"]),
        ({"text": "grocery"}, ["shop"]),
        ({"text": "po-7"}, ["shop"]),
        ({"text": "nobody"}, []),
        ({"status": "nonsense"}, []),
    ],
)
def test_orders_are_found_by_state_way_and_words(
    office, shop_order, quoted, full_drum, jars, shelf, asked, found
):
    builders.packed_lot(jars, shelf, 48)
    made = {"shop": shop_order(3, customer_reference="PO-7"), "quote": quoted(full_drum(7))}

    page = office.get(reverse("orders:selling"), asked)

    assert [row.order for row in page.context["found"]] == [made[name] for name in found]


def test_selling_is_read_in_the_same_number_of_queries(
    office, shop_order, jars, shelf, django_assert_max_num_queries
):
    builders.packed_lot(jars, shelf, 48)
    for _number in range(12):
        shop_order(1)

    with django_assert_max_num_queries(14):
        office.get(reverse("orders:selling"))


@pytest.mark.parametrize("lines", [1, 8])
def test_an_order_is_read_in_the_same_number_of_queries(
    office, shop, shelf, jar_line, owner, key, lines, django_assert_max_num_queries
):
    products = [builders.product(f"Product {number}") for number in range(lines)]
    for product in products:
        builders.packed_lot(product, shelf, 10)
    order = orders.take(
        customer=shop,
        channel="shop",
        lines=[jar_line(3, product=product) for product in products],
        created_by=owner,
        key=key(),
    )
    orders.fulfil(
        order=order,
        quantities={line.pk: 1 for line in order.lines.all()},
        filled_by=owner,
        key=key(),
    )

    # Once before: Django keeps what it asks of the kinds of things that have files.
    office.get(reverse("orders:order_detail", args=[order.number]))

    # One of them is for the e-mails that were sent of it.
    with django_assert_max_num_queries(16):
        office.get(reverse("orders:order_detail", args=[order.number]))


def test_stock_by_size_shows_the_low_ones_first(office, jars, shelf):
    builders.packed_lot(jars, shelf, 48, cost_cents=9_600)
    low = builders.product("Two pound", low_stock_pieces=5)

    page = office.get(reverse("orders:stock"))

    assert [row.size for row in page.context["found"].sizes] == [low.size, jars.size]
    assert "$96.00" in page.text
    # A house with one product a size reads of sizes alone.
    assert "roduct" not in page.text[page.text.index("<main") : page.text.index("</main")]


def test_stock_of_a_size_is_the_sum_of_its_honeys_which_are_below_it(office, jars, shelf):
    buckwheat = products.save_honey(size=jars.size, new_variety="Buckwheat")
    builders.packed_lot(jars, shelf, 48)
    builders.packed_lot(buckwheat, shelf, 30)

    page = office.get(reverse("orders:stock"))

    [size] = page.context["found"].sizes
    assert size.stock.free == 78
    assert [(each.product, each.stock.free) for each in size.products] == [
        (jars, 48),
        (buckwheat, 30),
    ]
    assert "One pound, Buckwheat" in page.text


def test_stock_of_many_honeys_asks_the_database_no_more(
    office, jars, shelf, django_assert_num_queries, django_assert_max_num_queries
):
    builders.packed_lot(jars, shelf, 48)
    office.get(reverse("orders:stock"))
    with django_assert_max_num_queries(14) as before:
        office.get(reverse("orders:stock"))
    for number in range(4):
        honey = products.save_honey(size=jars.size, new_variety=f"Variety {number}")
        builders.packed_lot(honey, shelf, 3)

    with django_assert_num_queries(len(before)):
        office.get(reverse("orders:stock"))


def test_one_product_shows_its_lots_places_and_who_holds_it(office, shop_order, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)

    page = office.get(reverse("orders:stock_detail", args=[jars.code]))

    assert lot.code in page.text
    assert order.number in page.text
    assert "cost not entered" in page.text
    assert office.get(reverse("orders:stock_detail", args=["nothing"])).status_code == 404


def test_a_customer_page_gets_its_orders(office, shop_order, jars, shelf, shop):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)

    part = office.get(reverse("orders:customer_orders", args=[shop.pk]))

    assert order.number in part.text
    assert "$195.00" in part.text


def test_a_lot_page_gets_its_buyers(office, shop_order, jars, shelf, owner):
    lot = builders.packed_lot(jars, shelf, 48)
    address = reverse("orders:lot_buyers", args=[lot.pk])
    assert "Nobody has bought any of this lot yet." in office.get(address).text

    orders.fulfil(order=shop_order(30), filled_by=owner, key="fill")

    part = office.get(address, headers={"HX-Request": "true"})
    page = office.get(address)
    assert "Corner Grocery" in part.text
    assert "Corner Grocery" in page.text
    assert ("<h1" in part.text, "<h1" in page.text) == (False, True)


# ---------------------------------------------------------------- who may


@pytest.mark.parametrize(
    ("role", "name", "status"),
    [
        ("stand", "order_create", 403),
        ("stand", "quote_create", 403),
        ("bottling", "order_create", 403),
        ("bottling", "quote_create", 403),
        ("office", "order_create", 200),
        ("office", "quote_create", 200),
        ("owner", "order_create", 200),
    ],
)
def test_who_may_take_orders_and_quote(client, role, name, status):
    client.force_login(builders.person(role))

    assert client.get(reverse(f"orders:{name}")).status_code == status


@pytest.mark.parametrize(
    ("role", "name", "status"),
    [
        ("stand", "order_fulfil", 403),
        ("stand", "order_cancel", 403),
        ("stand", "quote_accept", 403),
        ("stand", "drums_back", 403),
        ("bottling", "order_fulfil", 200),
        ("bottling", "order_cancel", 403),
        ("bottling", "quote_accept", 403),
    ],
)
def test_who_may_act_on_an_order(client, shop_order, jars, shelf, role, name, status):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(3)
    client.force_login(builders.person(role))

    assert client.get(reverse(f"orders:{name}", args=[order.number])).status_code == status


@pytest.mark.parametrize(("role", "status"), [("stand", 403), ("bottling", 200), ("office", 200)])
def test_who_may_see_buyers_and_what_they_buy(client, shop_order, jars, shelf, role, status):
    lot = builders.packed_lot(jars, shelf, 48)
    order = shop_order(3)
    client.force_login(builders.person(role))

    answers = {
        name: client.get(reverse(f"orders:{name}", args=arguments)).status_code
        for name, arguments in {
            "selling": [],
            "order_detail": [order.number],
            "pick_list": [order.number],
            "pick_list_pdf": [order.number],
            "stock": [],
            "stock_detail": [jars.code],
            "customer_orders": [order.customer.pk],
            "lot_buyers": [lot.pk],
        }.items()
    }

    assert set(answers.values()) == {status}


@pytest.mark.parametrize(("role", "status"), [("stand", 403), ("bottling", 200), ("office", 200)])
def test_who_may_see_a_quote(client, quoted, full_drum, role, status):
    order = quoted(full_drum(1))
    client.force_login(builders.person(role))

    for name in ("order_detail", "quote_pdf"):
        address = reverse(f"orders:{name}", args=[order.number])
        assert client.get(address).status_code == status


def test_nobody_sees_orders_without_signing_in(client):
    response = client.get(reverse("orders:selling"))

    assert response.status_code == 302
    assert Place.objects.count() == 0


# ---------------------------------------------------------------- what nobody should have typed

NINES = "9" * 30
FAR_TOO_MUCH = "That is far too much. Check the figure."


def test_pieces_beyond_counting_are_refused_at_their_product(office, shop, jars, shelf, shop_price):
    builders.packed_lot(jars, shelf, 48)

    response = office.post(reverse("orders:order_create"), order_data(shop, jars, NINES))

    assert response.status_code == 422
    assert response.context["form"].errors == {f"pieces_{jars.pk}": [FAR_TOO_MUCH]}
    assert Order.objects.count() == 0


def test_the_total_stands_still_for_pieces_beyond_counting(office, shop, jars, shelf, shop_price):
    response = office.post(reverse("orders:order_total"), order_data(shop, jars, NINES))

    assert response.status_code == 200


def test_handing_over_more_than_can_be_counted_is_refused_at_its_line(
    office, shop_order, jars, shelf, today
):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)
    line = order.lines.get()

    response = office.post(
        reverse("orders:order_fulfil", args=[order.number]),
        {"key": "form-1", "filled_on": today, f"line_{line.pk}": NINES},
    )

    assert response.status_code == 422
    assert response.context["form"].errors == {f"line_{line.pk}": [FAR_TOO_MUCH]}
    assert Fulfilment.objects.count() == 0


def test_an_order_that_never_was_a_quote_has_no_paper_of_one(office, shop_order, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    order = shop_order(30)

    assert office.get(reverse("orders:quote_pdf", args=[order.number])).status_code == 404


def test_an_order_that_is_fully_invoiced_is_not_offered_to_be_invoiced(
    client, shop, jar_line, jars, shelf, owner, key
):
    builders.packed_lot(jars, shelf, 48)
    order = orders.take(
        customer=shop, channel="shop", lines=[jar_line(10)], created_by=owner, key=key()
    )
    orders.fulfil(order=order, filled_by=owner, key=key())
    client.force_login(owner)
    address = reverse("orders:order_detail", args=[order.number])
    before = client.get(address).text

    invoices.issue(order=order, issued_by=owner, key=key())

    assert ("Invoice it" in before, "Invoice it" in client.get(address).text) == (True, False)


def test_what_has_no_price_yet_is_named_and_the_total_is_incomplete(office, shop, jars):
    unpriced = builders.product("Half pound", "0.5", "lb", code="half")
    data = order_data(shop, jars, 5) | {f"pieces_{unpriced.pk}": "2"}

    page = office.post(reverse("orders:order_total"), data).content.decode()

    assert "no price yet" in page[page.index("Half pound") :]
    assert "This total is incomplete" in page
