"""Long lists are narrowed by what is in the address, and shown in pages."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.queries import receipts
from apiary_sales.web import attention, layout
from inventory.shared.models import House
from inventory.stock.models import Place
from inventory.stock.services import dips, places
from tests import builders
from tests.billing.receipt_room import sale_of
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


def names(page) -> list[str]:
    return [str(row) for row in page.context["page"].object_list]


def test_places_are_narrowed_by_kind_by_words_and_by_what_is_there(client, owner):
    builders.lot_in(builders.place("tank-1", name="Holding tank"))
    builders.place("tank-2", name="Settling tank")
    builders.place("shelf", Place.Kind.SHELF, name="Shelf", is_active=False)
    client.force_login(owner)
    address = reverse("inventory:places")

    assert names(client.get(address, {"kind": "tank"})) == ["Holding tank", "Settling tank"]
    assert names(client.get(address, {"state": "filled"})) == ["Holding tank"]
    assert names(client.get(address, {"state": "empty"})) == ["Settling tank"]
    assert names(client.get(address, {"state": "off"})) == ["Shelf"]
    assert names(client.get(address, {"words": "SETT"})) == ["Settling tank"]
    assert "No places match." in client.get(address, {"words": "attic"}).text


def test_a_long_list_is_in_pages_that_keep_the_filter_and_ask_no_more_questions(
    client, owner, django_assert_max_num_queries
):
    places.create_drums(first_code="d-001", count=3, tare_grams=17_000)
    client.force_login(owner)
    address = reverse("inventory:places")
    client.get(address)
    with django_assert_max_num_queries(30) as few:
        client.get(address, {"kind": "drum"})
    places.create_drums(first_code="d-101", count=60, tare_grams=17_000)

    with django_assert_max_num_queries(len(few.captured_queries)):
        page = client.get(address, {"kind": "drum"})

    assert len(names(page)) == 50
    assert 'href="?kind=drum&amp;page=2"' in page.text
    assert len(names(client.get(address, {"kind": "drum", "page": "2"}))) == 13


def test_a_folded_filter_says_that_it_narrows_the_list_and_opens_with_its_errors(client, owner):
    client.force_login(owner)
    address = reverse("inventory:posting_list")

    whole = client.get(address, {"page": "1", "kind": ""})
    narrowed = client.get(address, {"first": "2026-01-31"})
    wrong = client.get(address, {"first": "someday"})

    assert "this list is narrowed" not in whole.text
    assert '<details class="filter-fold">' in whole.text
    assert "this list is narrowed" in narrowed.text
    assert '<details class="filter-fold" open>' in wrong.text


def test_a_list_without_filters_of_its_own_is_narrowed_to_days(client, owner):
    tank = builders.measured_tank("tank-1", diameter_mm=900, length_mm=1200)
    builders.lot_in(tank)
    for key, ago in (("today", 0), ("last week", 7)):
        dips.record(
            place=tank,
            depth_mm=500,
            celsius=Decimal(25),
            read_on=timezone.localdate() - timedelta(days=ago),
            recorded_by=owner,
            key=key,
        )
    client.force_login(owner)
    address = reverse("inventory:dip_list")
    last_week = (timezone.localdate() - timedelta(days=7)).isoformat()

    both = client.get(address, {"place": "tank-1"})
    one = client.get(address, {"place": "tank-1", "last": last_week})
    none = client.get(address, {"first": "2001-01-01", "last": "2001-01-31"})

    # A list of one page has nothing to narrow.
    assert (len(names(both)), 'name="first"' in both.text) == (2, False)
    assert len(names(one)) == 1
    assert '<input type="hidden" name="place" value="tank-1">' in one.text
    assert "There is nothing on these days." in none.text


def test_runs_are_found_by_number_lot_product_state_and_day(client, owner):
    room = bottling_room.set_up()
    run = bottling_room.plan(room)
    client.force_login(owner)
    address = reverse("inventory:run_list")
    day = run.planned_for.isoformat()

    for asked in ({"words": run.number}, {"product": room.product.code}, {"status": "planned"}):
        assert names(client.get(address, asked)) == [str(run)], asked
    assert names(client.get(address, {"first": day, "last": day})) == [str(run)]
    assert "No runs match." in client.get(address, {"status": "recorded"}).text


def test_a_day_of_receipts_says_what_it_comes_to_on_all_pages(owner):
    House(name="Hollow Oak Honey House").save()
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, stand, 24)
    for pieces in (1, 2, 3):
        sale_of(product, stand, pieces=pieces)

    found = receipts.found(user=owner)
    [row] = found.listed(found.keys[:1])

    assert row.day == timezone.localdate()
    assert row.of_day == receipts.DaySums(receipts=3, cents=4800)


def test_the_first_page_shows_three_warnings_and_unfolds_the_rest(monkeypatch, rf, owner):
    parts = [
        attention.AttentionPart(
            "_tag.html", lambda _request, _today, text=text: text and {"text": text}
        )
        for text in ("first", "", "second", "third", "fourth", "fifth")
    ]
    monkeypatch.setattr(attention, "PARTS", tuple(parts[:1] + parts[2:5]))
    four = attention.of(rf.get("/"), None)
    monkeypatch.setattr(attention, "PARTS", tuple(part for part in parts if part is not parts[1]))
    five = attention.of(rf.get("/"), None)

    # To unfold a single one would take as much room as the warning itself.
    assert (len(four.first), four.more) == (4, [])
    assert (len(five.first), len(five.more)) == (3, 2)
    assert "fourth" in five.more[0]


@pytest.mark.parametrize(
    ("role", "section", "work"),
    [
        ("owner", "orders", "orders:order_create"),
        ("bottling", "stock", "inventory:bottling_day_create"),
        ("office", "orders", "orders:order_create"),
    ],
)
def test_each_role_has_its_own_work_first(role, section, work):
    person = builders.person(role)

    arranged = layout.of(person)
    first, others = arranged.split(person)

    assert (arranged.first_section, first[0].url_name, len(first)) == (section, work, 4)
    assert not {task.url_name for task in first} & {task.url_name for task in others}
