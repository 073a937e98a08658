"""Jars of another beekeeper are counted, coded and listed as theirs."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.shared.errors import BadValue
from inventory.stock.models import Balance, Posting
from inventory.stock.services import others, production, stores
from tests import builders
from tests.inventory import bottling_room, others_room, pages
from tests.inventory.others_room import act, packed

pytestmark = pytest.mark.django_db

TOO_MANY = (
    "Lot {} belongs to Hanna Birch. Packed: 96 pieces. Handed back or lost: 90 pieces. So 6 pieces "
    "can be here, but with this count there would be 7 pieces. Count again. If the count is right, "
    "the owner or the office can say why."
)


@pytest.fixture
def there():
    """Six jars of theirs on the shelf: 96 were packed, 90 went back."""
    room, lot = packed(others_room.hanna())
    there = Balance.objects.get(lot=lot, is_physical=True)
    act(others.hand_back_jars, item=there.item, lot=lot, place=room.shelf, pieces=90)
    return there


def count(there, counted, **told):
    return act(
        stores.count,
        item=there.item,
        lot=there.lot,
        place=there.place,
        counted=counted,
        reason="counted",
        **told,
    )


def test_a_count_of_more_than_were_packed_and_are_left_is_asked_about(there):
    with pytest.raises(BadValue) as refused, pages.books_unchanged():
        count(there, 7)

    assert refused.value.parameter == "surplus_reason"
    assert refused.value.message == TOO_MANY.format(there.lot.code)
    count(there, 7, surplus_reason="One was packed and not written down.")
    there.refresh_from_db()
    assert there.quantity == 7


def test_what_one_count_missed_another_may_find(there):
    count(there, 4)

    count(there, 6)

    there.refresh_from_db()
    assert there.quantity == 6


def test_the_page_asks_why_only_where_it_must(there):
    client, url = pages.signed_in("office"), reverse("inventory:stock_count")
    form = {
        "place": there.place.code,
        "thing": f"lot-{there.lot_id}",
        "counted": "7",
        "reason": "counted",
    }

    assert "Why there are more than were made" not in pages.text(client.get(url))
    refused = client.post(url, {**form, "key": "one"})
    assert "Why there are more than were made" in pages.text(refused)
    done = client.post(url, {**form, "key": "two", "surplus_reason": "Not written down."})

    assert done.status_code == 302
    assert Posting.objects.filter(kind="count").count() == 1


@pytest.mark.parametrize("page", ["stock_count", "stock_write_off", "stock_transfer"])
def test_lists_of_jars_say_whose_they_are(there, page):
    words = pages.text(pages.signed_in().get(reverse(f"inventory:{page}")))

    assert f"lot {there.lot.code}, belongs to Hanna Birch" in words


def test_one_code_is_not_on_jars_of_two_owners():
    room, theirs = packed(others_room.hanna())
    half = builders.product("Half pound", "8", "oz")

    with pytest.raises(BadValue) as refused, pages.books_unchanged():
        bottling_room.plan(room, lot_code=theirs.code, product=half)

    assert refused.value.parameter == "lot_code"
    assert refused.value.message == (
        f"Lot {theirs.code} is on jars of honey that belongs to Hanna Birch. Type another code."
    )


def test_one_code_on_jars_of_other_honey_is_asked_about_and_of_the_same_is_not():
    room = bottling_room.set_up()
    half = builders.product("Half pound", "8", "oz")
    pint = builders.product("Quarter pound", "4", "oz")
    other = builders.place("tank-2")
    builders.lot_in(other)
    bottling_room.record(bottling_room.plan(room, lot_code="26K24"))

    bottling_room.plan(room, lot_code="26K24", product=half)
    with pytest.raises(BadValue) as refused:
        bottling_room.plan(room, lot_code="26K24", product=pint, source=other)

    assert refused.value.parameter == "lot_code_is_right"
    assert refused.value.message == (
        "Lot 26K24 is on jars of other honey, 26-E01, and these jars are of 26-E02. Type another "
        "code, or tick that one code is right: a recall of it then calls both back."
    )
    run = bottling_room.plan(
        room, lot_code="26K24", product=pint, source=other, lot_code_is_right=True
    )
    assert run.lot_code == "26K24"


def test_the_code_of_the_day_is_another_for_honey_of_another_owner():
    production.change(
        honey_house_celsius=Decimal(32),
        labour_cents_per_hour=0,
        cost_method="fifo",
        lot_code_pattern="{yyyy}.{mm}.{dd}",
    )
    room, theirs = packed(others_room.hanna())
    half = builders.product("Half pound", "8", "oz")

    assert bottling_room.plan(room, product=half).lot_code == f"{theirs.code}-2"
