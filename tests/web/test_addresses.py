"""Every address that a person could make by cutting the end off another leads to a page."""

import re
from collections.abc import Iterator

import pytest
from django.urls import Resolver404, URLResolver, get_resolver, resolve

from apiary_sales.web import doors
from tests import builders

SAMPLES = {"int": "1", "slug": "x", "str": "x"}


def routes(entries=None, before: str = "") -> Iterator[str]:
    """Yield the route of every address of our own: "honey/lots/<str:code>/"."""
    for entry in entries or get_resolver().url_patterns:
        route = before + re.sub(r"[$^]|\\Z", "", str(entry.pattern))
        if isinstance(entry, URLResolver):
            if entry.namespace != "admin":
                yield from routes(entry.url_patterns, route)
        else:
            yield route


def sample(route: str) -> str:
    """Return an address of a route."""
    route = re.sub(r"\(\?P<\w+>(\w+)?[^)]*\)", lambda hole: hole[1] or "1", route)
    route = re.sub(r"<(?:(\w+):)?\w+>", lambda hole: SAMPLES[hole[1] or "str"], route)
    return f"/{route}".replace(r"\d+", "1").replace("\\", "")


def first_parts(address: str) -> list[str]:
    """Return what is left of an address at each slash: /honey/ of /honey/lots/.

    Of an address of the API only its beginnings: programs are told that there is nothing.
    """
    parts = [address[: slash.end()] for slash in re.finditer("/", address)][1:]
    return [part for part in parts if not part.startswith("/api/v1/") or part == "/api/v1/"]


def test_each_sample_is_an_address():
    for route in routes():
        assert resolve(sample(route))


def test_the_first_parts_of_an_address_lead_somewhere():
    nowhere = set()
    for route in routes():
        for address in first_parts(sample(route)):
            try:
                resolve(address)
            except Resolver404:
                nowhere.add(address)

    assert nowhere == set()


@pytest.mark.django_db
def test_the_first_parts_of_an_address_lead_to_a_page(client):
    client.force_login(builders.person("owner"))
    asked = {
        address
        for route in routes()
        # What has a hole in it needs something to be there.
        for address in first_parts("/" + re.split(r"[<(\\]", route)[0])
        # Without a code the page of a jar or receipt says only that there is none.
        if address not in (f"/{route}", "/j/", "/r/")
    }

    assert len(asked) > 20
    assert {
        address for address in asked if client.get(address, follow=True).status_code != 200
    } == set()


@pytest.mark.parametrize(
    ("cut", "page"),
    [
        ("/selling/orders/26-0001/take-back/", "/selling/orders/26-0001/"),
        ("/selling/quotes/26-0001/", "/selling/orders/26-0001/"),
        ("/selling/customers/7/", "/customers/7/"),
        ("/selling/lots/26-E01/", "/honey/lots/26-E01/"),
        ("/bottling/lots/26-B01/", "/honey/lots/26-B01/"),
        ("/prices/honey/expense/7/", "/prices/honey/"),
    ],
)
@pytest.mark.django_db
def test_what_is_cut_off_leads_to_the_thing_it_was_about(client, cut, page):
    client.force_login(builders.person("owner"))

    assert client.get(cut)["Location"] == page


@pytest.mark.django_db
@pytest.mark.parametrize("cut", ["/api/v1/drums/", "/api/v1/payments/7/", "/api/v1/files/"])
def test_what_is_cut_off_an_address_of_the_api_is_not_found(client, cut):
    client.force_login(builders.person("owner"))

    answer = client.get(cut)

    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


def test_each_first_part_behind_a_door_is_an_address():
    for part in doors._FIRST_PARTS:
        assert resolve(f"/{part}/" if part else "/")
