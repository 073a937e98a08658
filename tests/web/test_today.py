"""The first page answers at a glance, and leads each person to their work in one click."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.web import set_up, tasks
from inventory.bottling.models import Size
from inventory.bottling.services import products
from inventory.stock.models import Place
from inventory.stock.services import drums
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def house(owner, key):
    """A tank, a full drum, a low size, a plentiful size, and an order to fill."""
    tank = builders.place("tank-1", name="Holding tank")
    drum = builders.place("d-1", Place.Kind.DRUM, tare_grams=17_000)
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.lot_in(tank, 900_000)
    drums.fill(tank=tank, drum=drum, gross_grams=317_000, recorded_by=owner, key=key())
    low = builders.product("Half pound", "0.5", low_stock_pieces=20)
    plenty = builders.product("One pound", low_stock_pieces=20)
    builders.packed_lot(low, shelf, 12)
    builders.packed_lot(plenty, shelf, 100)
    orders.take(
        customer=builders.customer(),
        channel="shop",
        lines=[LineWanted(kind="packed", product=plenty, quantity=24, unit_price=Decimal("6.80"))],
        created_by=owner,
        key=key(),
        wanted_on=timezone.localdate() + timedelta(days=2),
    )


def page(client, role):
    client.force_login(builders.person(role))
    response = client.get(reverse("web:today"))
    assert response.status_code == 200
    return response


def test_the_glance_says_what_is_there(client, house):
    today = page(client, "owner").context["today"]

    assert today.in_hand.in_tanks.grams == 600_000
    assert today.in_hand.in_drums.grams == 300_000
    assert [(jar.label, jar.pieces, jar.state) for jar in today.jars] == [
        ("Half pound", 12, "low"),
        ("One pound", 76, ""),
    ]
    assert today.to_fill_count == 1
    assert today.owing.owed_cents == 0


def test_a_size_is_one_jar_however_many_honeys_are_sold_in_it(client, house):
    size = Size.objects.get(name="One pound")
    buckwheat = products.save_honey(size=size, new_variety="Buckwheat")
    builders.packed_lot(buckwheat, Place.objects.get(kind="shelf"), 10)

    today = page(client, "owner").context["today"]

    assert [(jar.label, jar.pieces) for jar in today.jars] == [
        ("Half pound", 12),
        ("One pound", 86),
    ]
    assert today.jars[1].url == f"{reverse('orders:stock')}#size-{size.code}"


def test_the_person_at_the_stand_sees_no_money(client, house):
    response = page(client, "stand")

    assert "Owed to us" not in response.text


@pytest.mark.parametrize(
    ("role", "names"),
    [
        ("stand", {"billing:stand"}),
        ("bottling", {"inventory:bottling", "inventory:drum_fill", "inventory:dip"}),
        ("office", {"orders:quote_create", "orders:order_create", "billing:money"}),
    ],
)
def test_each_persons_task_is_one_click_from_home(client, house, role, names):
    response = page(client, role)

    for name in names:
        assert f'href="{reverse(name)}"' in response.text


def test_every_task_and_setting_leads_to_a_page_that_is_there():
    for link in [*tasks.TASKS, *set_up.PAGES]:
        reverse(link.url_name)


def test_the_first_page_takes_the_same_number_of_queries_however_much_there_is(
    client, house, django_assert_max_num_queries
):
    client.force_login(builders.person("owner"))
    client.get(reverse("web:today"))
    with django_assert_max_num_queries(25) as few:
        client.get(reverse("web:today"))
    for number in range(5):
        tank = builders.place(f"more-{number}")
        builders.lot_in(tank, 1000)
        size = builders.product(f"Size {number}")
        builders.packed_lot(size, Place.objects.get(code="shelf"), 10)

    with django_assert_max_num_queries(len(few.captured_queries)):
        client.get(reverse("web:today"))


def test_an_empty_house_says_what_to_do(client, db):
    response = page(client, "owner")

    assert "No jars on the shelf yet" in response.text
    assert "There are no orders to fill" in response.text
    assert "No run has been recorded yet" in response.text
    assert response.text.count("Free jars by size") == 1


def steps_done(response) -> dict[str, bool]:
    return {str(step.label): step.is_done for step in response.context["steps"]}


def test_a_new_owner_is_led_from_an_empty_house_to_the_first_jar(client, db):
    builders.person("owner")

    assert set(steps_done(page(client, "owner")).values()) == {False}

    builders.lot_in(builders.place("tank-1"), 1000)
    builders.place("shelf", Place.Kind.SHELF)
    builders.person("bottling")
    size = builders.product("One pound")

    done = steps_done(page(client, "owner"))
    assert [label for label, is_done in done.items() if is_done] == [
        "Tanks",
        "Drums and shelves",
        "Sizes",
        "People",
        "Opening day: honey",
    ]
    assert page(client, "bottling").context["steps"] == []

    builders.packed_lot(size, Place.objects.get(code="shelf"), 10)

    assert page(client, "owner").context["steps"] == []
