"""A change by percent says what it really comes to after rounding."""

import re
from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.services import prices
from inventory.stock.models import Place
from tests import builders

ASKED = {"tiers": ["shop"], "percent": "2", "ending": "49", "valid_from": "2030-01-01"}
PAGE = reverse("pricing:price_change")


@pytest.fixture
def office(client, db):
    client.force_login(builders.person("owner"))
    return client


def sold(product, pieces: int) -> None:
    shelf = Place.objects.filter(code="shelf").first() or builders.place("shelf", "shelf")
    builders.packed_lot(product, shelf, pieces)
    order = orders.take(
        customer=builders.customer(tier="shop", name=f"Shop {product.name}"),
        channel="shop",
        lines=[
            LineWanted(
                kind=OrderLine.Kind.PACKED,
                product=product,
                quantity=pieces,
                unit_price=Decimal("1.00"),
            )
        ],
        created_by=builders.person(),
        key=builders.new_key(),
    )
    orders.fulfil(order=order, filled_by=builders.person(), key=builders.new_key())


def priced(name: str, amount: str, cents: int, **fields):
    product = builders.product(name, amount)
    prices.set_piece(
        product=product, tier="shop", piece_cents=cents, valid_from=date(2020, 1, 1), **fields
    )
    return product


def words_of(page) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", page.text).split())


def test_each_price_and_all_together_show_the_real_percent(office):
    # 2 % more are 8.6598 and 5.0898; the nearest with .49 or .99 are 8.49 and 4.99, as before.
    sold(priced("One pound", "1", 849), 100)
    sold(priced("Half pound", "0.5", 499), 50)
    # 2 % more are 15.7998: 15.99, which is 3.23 %.
    sold(priced("Two pounds", "2", 1549), 10)

    page = office.get(PAGE, ASKED)

    shown = {row.product.name: row.piece_percent for row in page.context["table"]}
    assert shown == {
        "Half pound": Decimal("0.00"),
        "One pound": Decimal("0.00"),
        "Two pounds": Decimal("3.23"),
    }
    # 849.00 + 249.50 + 154.90 = 1,253.40; 5.00 more are 0.40 %.
    text = words_of(page)
    assert "You asked for +2.00 %. With the rounding it is really +0.40 %" in text
    for figure in ("160 pieces", "$1,258.40", "$1,253.40"):
        assert figure in text
    assert text.count("the rounding leaves it as it is") == 2

    done = office.post(PAGE, {**ASKED, "seen": page.context["seen"]}, follow=True)
    assert (
        "1 price changes on Jan 1, 2030. With the rounding it is +0.40 %, weighted by the pieces "
        "of a year." in done.text
    )


def test_prices_that_are_set_for_later_are_named_since_they_end_the_change(office):
    product = priced("One pound", "1", 1000)
    prices.set_piece(product=product, tier="shop", piece_cents=1050, valid_from=date(2030, 6, 1))

    before = words_of(office.get(PAGE, ASKED))
    after = words_of(office.get(PAGE, {**ASKED, "valid_from": "2030-07-01"}))

    assert "1 price of these lists is set for later already, on Jun 1, 2030." in before
    assert "set for later" not in after


def test_whole_cases_weigh_at_the_price_of_a_case(office):
    # 24 pieces are two cases of 12 at 90.00; up by 10 %: 98.99 is nearest to 99.00.
    sold(priced("One pound", "1", 849, case_cents=9000), 24)

    total = office.get(PAGE, ASKED | {"percent": "10"}).context["total"]

    # The price of one in a case has four places: 98.99 ÷ 12 = 8.2492.
    assert (total.before, total.after) == (Decimal("180.0000"), 24 * Decimal("8.2492"))
    assert total.percent == Decimal("9.99")


def test_without_sales_the_total_is_unknown_and_not_zero(office):
    priced("One pound", "1", 849)

    page = office.get(PAGE, ASKED)

    assert page.context["total"].percent is None
    assert "so the real change of all prices together is not known" in words_of(page)
