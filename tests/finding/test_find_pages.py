"""The box and its page, as each role sees them."""

import re

import pytest
from django.urls import reverse

from apiary_sales.accounts.models import User
from apiary_sales.billing.services import expenses
from apiary_sales.finding import queries
from inventory.shared import findable
from inventory.stock.models import Place
from tests import builders
from tests.billing.buying_room import Room
from tests.billing.conftest import (  # noqa: F401
    house,
    invoice_of,
    jars,
    pay,
    pounds,
    shelf,
    shop,
    stand,
)

pytestmark = pytest.mark.django_db
FIND = "/find/"
BOX = 'hx-trigger="input changed delay:250ms"'


def labels(page) -> list[str]:
    """Return the headings of what was found."""
    return re.findall(r"<h2>(.*?)</h2>", page.text)


@pytest.mark.parametrize("role", User.Role.values)
def test_the_box_is_on_every_page_for_everybody_who_is_signed_in(client, role):
    assert BOX not in client.get("/account/sign-in/").text
    client.force_login(builders.person(role))

    for name in ("web:today", "web:settings", "inventory:honey", "finding:find"):
        assert client.get(reverse(name)).text.count(BOX) == 1


def test_nobody_finds_anything_without_signing_in(client):
    builders.person("owner")

    assert client.get(FIND, {"q": "a"}).headers["Location"].startswith("/account/sign-in/")


@pytest.mark.parametrize(
    ("role", "kinds"),
    [
        ("owner", ["Customers", "Suppliers and beekeepers", "Expenses"]),
        ("office", ["Customers", "Suppliers and beekeepers", "Expenses"]),
        ("bottling", ["Customers", "Suppliers and beekeepers"]),
        ("stand", []),
    ],
)
def test_each_role_finds_what_its_pages_show(client, role, kinds):
    builders.customer("Meadow Market")
    room = Room()
    expenses.enter(
        payee="Meadow Fuel",
        category="fuel",
        amount_cents=4_000,
        paid_by="cash",
        spent_on=builders.today(),
        entered_by=room.person,
        key=builders.new_key(),
    )
    client.force_login(builders.person(role))

    assert labels(client.get(FIND, {"q": "meadow"})) == kinds


@pytest.mark.parametrize(
    ("role", "amounts"),
    [
        ("owner", ["Order or quote", "Invoice", "Payment"]),
        ("office", ["Order or quote", "Invoice", "Payment"]),
        ("bottling", ["Order or quote"]),
        ("stand", []),
    ],
)
def test_only_who_sees_the_money_finds_bills_and_payments(client, shop, pounds, role, amounts):  # noqa: F811
    invoice_of(shop, jars(pounds, 24))  # 24 × 6.00 = 144.00
    pay(shop, 14_400, reference="77")
    client.force_login(builders.person(role))

    page = client.get(FIND, {"q": "$144.00"})

    assert re.findall(r'class="found-line">([\w ]+?)(?: · .*)?<', page.text) == amounts


def test_every_link_of_a_role_opens(client, shop, pounds):  # noqa: F811
    builders.supplier("Cornering Glass", "parts")
    builders.goods("Candle")
    builders.part("Jar")
    invoice_of(shop, jars(pounds, 24))
    pay(shop, 14_400, reference="1440")
    builders.place("drum-144", Place.Kind.DRUM, name="Drum 144")
    for role in User.Role.values:
        client.force_login(builders.person(role))
        links = set()
        for asked in ("144", "p26", "candle", "corner", "jar"):
            page = client.get(FIND, {"q": asked})
            links |= set(re.findall(r'class="found" href="(.*?)"', page.text))

        assert {url: client.get(url).status_code for url in links} == dict.fromkeys(links, 200)


def test_a_seller_finds_stands_and_vans_and_no_other_place(client, shelf, stand):  # noqa: F811
    builders.place("stand-drum", Place.Kind.DRUM, name="Drum at the stand")

    places = {"q": "stand", "kind": "place"}

    client.force_login(builders.person("stand"))
    assert re.findall(r'class="found-title">(.*?)<', client.get(FIND, places).text) == ["Stand"]

    client.force_login(builders.person("bottling"))
    assert "Drum at the stand" in client.get(FIND, places).text


def test_while_a_person_types_a_part_of_the_page_comes(client):
    builders.customer("Corner Grocery")
    client.force_login(builders.person())

    part = client.get(FIND, {"q": "corner"}, headers={"HX-Request": "true"})

    assert "<html" not in part.text
    assert "1 found" in part.text
    assert reverse("finding:find") + "?q=corner" in part.text
    assert part.headers["Vary"].startswith("HX-Request") or "HX-Request" in part.headers["Vary"]


def test_nothing_found_is_said_with_what_was_typed(client):
    client.force_login(builders.person())

    assert "Nothing found for “&lt;b&gt;”." in client.get(FIND, {"q": "<b>"}).text
    assert "Nothing found" not in client.get(FIND, {"q": "  "}).text


def test_all_of_one_kind_are_listed_page_by_page(client, monkeypatch):
    monkeypatch.setattr(queries, "OF_ONE_KIND", 2)
    for number in range(1, 6):
        builders.customer(f"Corner {number}")
    client.force_login(builders.person())
    address, seen = f"{FIND}?q=corner&kind=customer", []

    while address:
        text = client.get(address).text
        seen += re.findall(r'class="found-title">(.*?)<', text)
        more = re.search(r'class="found-more">\s*<a href="(.*?)"', text)
        address = more and more[1].replace("&amp;", "&")

    assert seen == [f"Corner {number}" for number in (5, 4, 3, 2, 1)]


@pytest.mark.parametrize("wrong", ["kind=nothing", "before=x&kind=lot", "before=9" + "9" * 30])
def test_an_address_that_makes_no_sense_still_answers(client, wrong):
    client.force_login(builders.person())

    assert client.get(f"{FIND}?q=corner&{wrong}").status_code == 200


def test_pages_of_help_are_found_by_who_may_read_them(client, monkeypatch):
    class Page:
        title, summary, text, url = "Count the stock", "How", "On a sheet", "/help/count/"
        permissions = ("inventory.enter_counts",)

    monkeypatch.setattr(findable, "_help", [lambda language: [Page()]])
    client.force_login(builders.person("stand"))
    assert 'href="/help/count/"' in client.get(FIND, {"q": "stock sheet"}).text

    Page.permissions = ("accounts.manage_people",)
    assert 'href="/help/count/"' not in client.get(FIND, {"q": "stock sheet"}).text
