"""Prices that come into force later are shown today, wherever today's are."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse

from apiary_sales.pricing.services import prices
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client):
    client.force_login(builders.person("owner"))
    return client


@pytest.fixture
def pound():
    return builders.product(code="pound")


def set_price(product, cents, *, in_days, tier="shop", **fields) -> None:
    prices.set_piece(
        product=product,
        tier=tier,
        piece_cents=cents,
        valid_from=builders.today() + timedelta(days=in_days),
        **fields,
    )


def words_of(page) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", page.text).split())


def day(in_days: int) -> str:
    then = builders.today() + timedelta(days=in_days)
    return f"{then:%b} {then.day}, {then.year}"


def test_lists_product_and_order_form_show_a_price_with_its_day(office, pound):
    set_price(pound, 800, in_days=-30)
    set_price(pound, 850, in_days=40, case_cents=9600)
    set_price(pound, 820, in_days=50, min_pieces=24)
    builders.customer(tier="shop")

    said = f"$8.50 from {day(40)} (a case $96.00"
    for address in ("pricing:prices", "orders:order_create"):
        text = words_of(office.get(reverse(address)))
        assert "$8.00" in text
        assert said in text
        assert f"$8.20 each from 24 pieces, from {day(50)}" in text
    assert f"To come Shop {said}" in words_of(
        office.get(reverse("pricing:product_prices", args=["pound"]))
    )


def test_a_price_that_is_in_force_or_was_entered_anew_for_its_day_is_not_to_come(office, pound):
    set_price(pound, 800, in_days=0)
    set_price(pound, 850, in_days=3)
    set_price(pound, 840, in_days=3)

    text = words_of(office.get(reverse("pricing:prices")))

    assert f"$8.40 from {day(3)}" in text
    assert "$8.50" not in text
    assert f"$8.00 from {day(0)}" not in text


@pytest.mark.parametrize(("in_days", "is_said"), [(0, False), (1, True), (7, True), (8, False)])
def test_the_first_page_says_which_prices_begin_within_a_week(office, pound, in_days, is_said):
    set_price(pound, 800, in_days=in_days)

    text = words_of(office.get(reverse("web:today")))

    assert (f"1 price begins on {day(in_days)}." in text) is is_said
