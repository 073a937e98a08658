"""Private labels: a brand that one customer alone can buy, wherever products are offered."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.services import stand
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders, quotes
from apiary_sales.planning.queries import books
from apiary_sales.pricing.models import PrivateLabel
from apiary_sales.pricing.queries import costs
from apiary_sales.pricing.services import prices, private_labels
from inventory.bottling.services import products
from inventory.shared.errors import BadValue
from inventory.stock.models import Place
from tests import builders

pytestmark = pytest.mark.django_db

SENTENCE = (
    "One pound, Wren Hollow is a private label of Wren Hollow Shop. It can't be sold to "
    "anybody else."
)


@pytest.fixture
def size():
    return builders.size("One pound", code="1-lb")


@pytest.fixture
def owner():
    return builders.customer("Wren Hollow Shop")


@pytest.fixture
def own_label(size, owner):
    """A pound jar under Wren Hollow's name, with a price in every list and 48 on the stand."""
    made = products.save_honey(size=size, new_brand="Wren Hollow")
    private_labels.set_customer(brand=made.brand, customer=owner)
    for tier in ("stand", "shop", "distributor"):
        prices.set_piece(product=made, tier=tier, piece_cents=700, valid_from=timezone.localdate())
    builders.packed_lot(made, builders.place("stand", Place.Kind.STAND, name="Stand"), 48)
    return made


def line_of(product, pieces=12):
    return LineWanted(OrderLine.Kind.PACKED, pieces, Decimal("7.00"), product=product)


def order(customer, product, **more):
    return orders.take(
        customer=customer,
        channel="shop",
        lines=[line_of(product)],
        created_by=builders.person(),
        key=builders.new_key(),
        **more,
    )


def sell(product, **more):
    return stand.sell(
        lines=[line_of(product, 1)],
        place=Place.objects.get(code="stand"),
        payments=builders.paid("card", None),
        sold_by=builders.person(),
        key=builders.new_key(),
        **more,
    )


def test_its_customer_orders_it_and_nobody_else(own_label, owner):
    taken = order(owner, own_label)
    with pytest.raises(BadValue) as refused:
        order(builders.customer("Corner Grocery"), own_label)

    assert taken.lines.get().product == own_label
    assert (refused.value.parameter, refused.value.message) == ("lines.0.product", SENTENCE)


def test_it_is_quoted_to_nobody_else_and_no_old_quote_is_accepted(own_label, owner):
    other = builders.customer("Corner Grocery")
    asked = {
        "customer": other,
        "lines": [line_of(own_label)],
        "valid_until": timezone.localdate() + timedelta(days=7),
        "created_by": builders.person(),
    }
    private_labels.set_customer(brand=own_label.brand, customer=None)
    quote = quotes.quote(**asked, key="before")
    private_labels.set_customer(brand=own_label.brand, customer=owner)

    with pytest.raises(BadValue, match="can't be sold to anybody else"):
        quotes.quote(**asked, key="after")
    with pytest.raises(BadValue, match="can't be sold to anybody else"):
        quotes.accept(order=quote, accepted_by=builders.person(), key="accept")


def test_the_stand_sells_it_to_its_customer_by_name_alone(own_label, owner):
    with pytest.raises(BadValue) as refused:
        sell(own_label)
    sale = sell(own_label, customer=owner)

    assert refused.value.message == SENTENCE
    assert sale.order.lines.get().product == own_label


def test_the_stand_and_the_order_form_of_others_do_not_list_it(client, own_label, owner, size):
    place = Place.objects.get(code="stand")
    prices.set_piece(
        product=size.standard_product,
        tier="stand",
        piece_cents=800,
        valid_from=timezone.localdate(),
    )
    client.force_login(builders.person("office"))
    url = reverse("orders:order_create")

    at_stand = stand_queries.offer([place], timezone.localdate()).at(place)
    forms = {
        customer: client.get(url, {"customer": customer.pk}).context["form"]
        for customer in (owner, builders.customer("Corner Grocery"))
    }
    nobody = client.get(url).context["form"]

    assert [row.product for row in at_stand] == [size.standard_product]
    offered = [[row.product.product for row in form.rows()] for form in forms.values()]
    assert offered == [[size.standard_product, own_label], [size.standard_product]]
    assert [row.product.product for row in nobody.rows()] == [size.standard_product]


def test_without_a_customer_a_brand_is_sold_to_everybody(own_label):
    private_labels.set_customer(brand=own_label.brand, customer=None)

    assert sell(own_label).payment is not None
    assert not PrivateLabel.objects.exists()


def test_an_inactive_customer_gets_no_private_label(own_label):
    gone = builders.customer("Gone Shop", is_active=False)

    with pytest.raises(BadValue) as refused:
        private_labels.set_customer(brand=own_label.brand, customer=gone)

    assert refused.value.parameter == "customer"


def test_drum_or_jar_and_the_plan_count_it_in_the_channels_of_its_customer(own_label, owner):
    """A customer of the list for shops: collected or delivered, though every list has a price."""
    book = costs.book(timezone.localdate())

    net_backs = {each.channel for each in book.net_backs()}
    offers = books.read(timezone.localdate(), months=3).offers

    assert net_backs == {"shop", "delivery"}
    assert {(offer.product, offer.channel) for offer in offers} == {
        (own_label, "shop"),
        (own_label, "delivery"),
    }


def test_the_customer_is_set_on_a_page_and_shown_on_the_price_lists(client, own_label):
    client.force_login(builders.person("office"))
    new = builders.customer("Lantern Tea Room")
    url = reverse("pricing:private_label_set", args=[own_label.brand.pk])

    form = client.get(url)
    done = client.post(url, {"customer": new.pk}, follow=True)
    lists = client.get(reverse("pricing:prices"))
    of_product = client.get(reverse("pricing:product_prices", args=[own_label.code]))
    open_to_all = client.post(url, {"customer": ""}, follow=True)

    assert "selected>Wren Hollow Shop</option>" in form.text
    assert "Wren Hollow is sold only to Lantern Tea Room." in done.text
    assert "only for Lantern Tea Room" in lists.text
    assert "Sold only to Lantern Tea Room." in of_product.text
    assert "Wren Hollow is sold to everybody." in open_to_all.text


def test_price_lists_of_many_products_ask_the_database_no_more(
    client, own_label, size, django_assert_num_queries, django_assert_max_num_queries
):
    client.force_login(builders.person("office"))
    urls = [reverse("pricing:prices"), reverse("pricing:private_labels")]
    change = {"tiers": ["shop"], "percent": "5", "ending": "cent", "valid_from": "2026-12-01"}

    def ask():
        for url in urls:
            client.get(url)
        return client.get(reverse("pricing:price_change"), change)

    ask()
    # One a page more since the conventions of the house are read, and what was sold in a year.
    with django_assert_max_num_queries(25) as before:
        ask()
    for number in range(4):
        made = products.save_honey(size=size, new_brand=f"Brand {number}")
        private_labels.set_customer(brand=made.brand, customer=builders.customer(f"Shop {number}"))
        prices.set_piece(
            product=made, tier="shop", piece_cents=650, valid_from=timezone.localdate()
        )

    with django_assert_num_queries(len(before)):
        table = ask().context["table"]
    assert len(table) == 5
