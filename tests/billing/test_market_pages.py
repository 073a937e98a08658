"""Pages of market days and honesty boxes, as who sells at the stand uses them."""

from datetime import time, timedelta

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from apiary_sales.billing.models import HonestyBox, HonestyCount, MarketDay
from apiary_sales.billing.services import honesty_boxes, market_days
from apiary_sales.orders.rules.pieces import PiecesWanted
from inventory.stock.models import Balance, Place
from tests import builders
from tests.billing.conftest import TODAY, errors_in, queries_of, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def van(house):
    return builders.place("van", Place.Kind.VAN, name="Van")


@pytest.fixture
def suki(client):
    client.force_login(builders.person("stand"))
    return client


@pytest.fixture
def market_day(van, shelf, pounds):
    return market_days.plan(
        **where(van, shelf, TODAY, "Mill Square"),
        lines=[PiecesWanted(pounds, 30)],
        planned_by=builders.person("stand"),
        key=builders.new_key(),
    )


def where(van, shelf, day, market):
    hours = {"opens_at": time(8), "closes_at": time(13)}
    return {"place": van, "source": shelf, "day": day, "market": market, **hours}


def address(name, thing=None):
    return reverse(f"billing:{name}", args=[thing.pk] if thing else [])


def pieces_at(place):
    return sum(balance.quantity for balance in Balance.objects.filter(place=place))


def test_a_market_day_goes_from_the_plan_to_its_result(suki, van, shelf, pounds):
    planned = suki.post(
        address("market_day_create"),
        {
            "market": "Mill Square",
            "place": "van",
            "day": TODAY,
            "opens_at": "08:00",
            "closes_at": "13:00",
            "source": "shelf",
            "people": "Suki",
            "key": "plan-1",
        },
    )
    market_day = MarketDay.objects.get()
    assert planned.url == address("market_day_list_goods", market_day)

    goods = {f"pieces_{pounds.pk}": 24, "key": "list-1"}
    suki.post(address("market_day_list_goods", market_day), goods)
    suki.post(address("market_day_load", market_day), {**goods, "key": "load-1"})
    assert pieces_at(van) == 24

    home = {f"pieces_{pounds.pk}": 22, "target": "shelf", "key": "home-1"}
    asked = suki.post(address("market_day_unload", market_day), home)
    assert asked.status_code == 422
    assert "2 pieces are missing" in errors_in(asked)[0]
    suki.post(
        address("market_day_unload", market_day), {**home, f"sold_{pounds.pk}": 2, "key": "home-2"}
    )
    assert pieces_at(van) == 0

    cost = {"category": "selling", "payee": "Mill Square", "amount": "5.00", "paid_by": "cash"}
    suki.post(address("market_day_cost", market_day), {**cost, "spent_on": TODAY, "key": "fee-1"})
    suki.post(address("market_day_close", market_day), {"hours": "2.5", "key": "close-1"})

    # 16.00 taken in, 5.00 spent: 11.00, in two and a half hours 4.40 each
    office = Client()
    office.force_login(builders.person("office"))
    text = words_of(office.get(address("market_day", market_day)).content.decode())
    assert "Earned $11.00" in text
    assert "An hour of work $4.40" in text
    # What goods cost is not for the stand, nor what tells it by a subtraction.
    text = words_of(suki.get(address("market_day", market_day)).content.decode())
    assert "Taken in $16.00" in text
    assert "Earned" not in text


def test_the_load_list_suggests_what_was_sold_before(suki, van, shelf, pounds, market_day):
    market_days.load(
        market_day=market_day,
        lines=[PiecesWanted(pounds, 30)],
        loaded_by=builders.person("stand"),
        key=builders.new_key(),
    )
    suki.post(
        address("market_day_unload", market_day),
        {f"pieces_{pounds.pk}": 20, f"sold_{pounds.pk}": 10, "target": "shelf", "key": "home-1"},
    )
    coming = market_days.plan(
        **where(van, shelf, TODAY + timedelta(days=7), "Mill Square"),
        lines=[],
        planned_by=builders.person("stand"),
        key=builders.new_key(),
    )

    page = suki.get(address("market_day_list_goods", coming))

    assert page.context["form"].initial == {}
    assert "Suggested: 12 (1 case). Sold 10 on the last one (Mill Square)." in words_of(
        page.content.decode()
    )
    field = page.context["form"][f"pieces_{pounds.pk}"]
    assert field.initial == 12


def test_the_load_list_is_a_paper_with_pieces_cases_and_weight(suki, market_day):
    answer = suki.get(address("market_load_list_pdf", market_day))

    assert answer["Content-Type"] == "application/pdf"
    text = words_of(suki.get(address("market_day", market_day)).content.decode())
    # 30 jars of a pound in cases of 12
    assert "One pound 30 2 cases and 6 30.0 lb" in text


@pytest.mark.parametrize("grams", [0, 13_608])
def test_a_load_list_warns_of_weight_only_where_there_is_some(market_day, grams):
    context = {"market_day": market_day, "net_grams": grams, "pieces": 0, "lines": []}

    paper = render_to_string("documents/market_load_list.html", context)

    assert ("the honey alone weighs" in paper) == bool(grams)


def test_a_stand_person_pays_a_fee_in_cash_alone(suki, market_day, client):
    form = suki.get(address("market_day_cost", market_day)).context["form"]
    assert [value for value, _label in form.fields["paid_by"].choices] == ["cash"]

    office = Client()
    office.force_login(builders.person("office"))
    form = office.get(address("market_day_cost", market_day)).context["form"]
    assert "transfer" in [value for value, _label in form.fields["paid_by"].choices]


@pytest.mark.parametrize("name", ["market_days", "honesty_boxes"])
def test_who_fills_jars_has_no_business_at_the_market(client, house, name):
    client.force_login(builders.person("bottling"))

    assert client.get(address(name)).status_code == 403


def test_the_list_of_days_takes_as_many_questions_for_many_days_as_for_one(
    suki, van, shelf, pounds, market_day
):
    def close(day):
        market_days.close(market_day=day, labour_minutes=60)

    close(market_day)
    suki.get(address("market_days"))
    one = queries_of(suki, address("market_days"))
    for days in (1, 2, 3):
        close(
            market_days.plan(
                **where(van, shelf, TODAY - timedelta(days=days), "Harbour"),
                lines=[PiecesWanted(pounds, 12)],
                planned_by=builders.person("stand"),
                key=builders.new_key(),
            )
        )

    assert queries_of(suki, address("market_days")) == one


def test_a_box_is_set_up_and_counted(suki, stand, pounds):
    suki.post(address("honesty_box_create"), {"place": "stand", "key": "box-1"})
    box = HonestyBox.objects.get()
    shelf = {f"pieces_{pounds.pk}": 24, "cash": "0", "counted_on": TODAY}
    suki.post(address("honesty_box_count", box), {**shelf, "key": "count-1"})

    counted = suki.post(
        address("honesty_box_count", box),
        {**shelf, f"pieces_{pounds.pk}": 20, "cash": "30.00", "key": "count-2"},
        follow=True,
    )

    text = words_of(counted.content.decode())
    assert "Sold for $32.00, and $30.00 was in the box: $2.00 is missing." in text
    assert "4 × One pound" in text
    # 2.00 of 32.00 is 6.25 %, half to even 6.2
    assert "Missing $2.00 ( 6.2 % )" in text


def test_a_count_is_undone_with_a_reason(suki, stand, pounds):
    box = honesty_boxes.set_up(place=stand, set_up_by=builders.person(), key="box")
    suki.post(
        address("honesty_box_count", box), {f"pieces_{pounds.pk}": 24, "cash": "0", "key": "c-1"}
    )
    made = HonestyCount.objects.get()

    suki.post(address("honesty_count_undo", made), {"reason": "Miscounted", "key": "u-1"})

    assert not HonestyCount.objects.standing().exists()
    assert "It is not counted yet." in words_of(
        suki.get(address("honesty_box", box)).content.decode()
    )


def test_who_may_not_count_beyond_what_was_made_is_told_so(suki, stand, pounds):
    box = honesty_boxes.set_up(place=stand, set_up_by=builders.person(), key="box")

    refused = suki.post(
        address("honesty_box_count", box), {f"pieces_{pounds.pk}": 200, "cash": "0", "key": "c-1"}
    )

    assert refused.status_code == 422
    assert "surplus_reason" not in refused.context["form"].fields
    assert not HonestyCount.objects.exists()
