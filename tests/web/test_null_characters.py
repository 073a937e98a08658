"""Addresses with a null character, which PostgreSQL does not even take into a question."""

import pytest
from django.http import Http404, HttpResponse
from django.test import RequestFactory

from apiary_sales.web.middleware import NullCharacterMiddleware
from tests import builders

PATHS = [
    "/honey/lots/%00/",
    "/selling/orders/%00/",
    "/selling/orders/%00/pick-list.pdf",
    "/selling/lots/%00/buyers/",
    "/money/invoices/new/%00/",
    "/prices/honey/lots/%00/",
    "/bottling/lots/%00/release/",
    "/api/v1/lots/%00/",
    "/api/v1/orders/%00/",
    "/api/v1/places/%00/",
]
QUESTIONS = [
    "/honey/lots/?words=%00",
    "/honey/history/?place=a%00b",
    "/selling/orders/?text=%00",
    "/selling/orders/?%00=1",
    "/bottling/runs/new/?size=%00",
]


@pytest.mark.django_db
@pytest.mark.parametrize("address", PATHS + QUESTIONS)
def test_an_address_with_a_null_character_is_no_page(client, address):
    client.force_login(builders.person("owner"))

    assert client.get(address).status_code == 404


@pytest.mark.parametrize("address", PATHS + QUESTIONS)
def test_nothing_behind_the_door_is_asked(address):
    def never(request):
        raise AssertionError("the page was asked")

    with pytest.raises(Http404):
        NullCharacterMiddleware(never)(RequestFactory().get(address))


def test_other_addresses_pass():
    answer = NullCharacterMiddleware(lambda request: HttpResponse("page"))

    assert answer(RequestFactory().get("/honey/lots/26-E01/?words=0%20")).content == b"page"
