"""Every address of the service, asked for what nobody would type: none of it is a fault.

What is asked is made in `tests/fuzzing.py`. Of all that, each run asks for one of each kind at some
of the addresses, chosen by a seed; with HYPOTHESIS_PROFILE=nightly for many at every address.
FUZZ_SEED chooses others.
"""

import logging
import os
import random

import pytest
from django.apps import apps
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.test import Client, override_settings
from django.urls import NoReverseMatch, include, path, reverse

from apiary_sales.urls import urlpatterns as of_the_house
from tests import fuzzing, profiles
from tests.upgrade import walk

SEED = int(os.environ.get("FUZZ_SEED", "20261128"))
# How many of each kind of absurdity are asked for at each address.
EACH = profiles.examples(1, nightly=30)
# One of so many addresses is asked.
OF_SO_MANY = profiles.examples(10, nightly=1)
# The walk is cut into so many tests, which workers share.
PIECES = 4
# The figures in an address whose things the invented house has none of.
MADE_UP = (1, "x", "csv")


@pytest.fixture(autouse=True)
def _quiet():
    """What is refused would fill the log."""
    logging.disable()
    yield
    logging.disable(logging.NOTSET)


@pytest.fixture
def people():
    return {person.role: person for person in apps.get_model("accounts.User").objects.all()}


def pages(owner):
    """Return the name of every address, and the parts of one that is there."""
    client = Client(raise_request_exception=False)
    client.force_login(owner)
    known = walk.arguments_of_rows(client)
    found = []
    for name, pattern in sorted(fuzzing.patterns().items()):
        parts = pattern.pattern.regex.groupindex
        if name.startswith("admin:"):
            continue
        rows = known.get(name) or [dict.fromkeys(parts, value) for value in MADE_UP]
        fitting = [row for row in rows if fits(name, row)] if parts else [{}]
        if fitting:
            found.append((name, fitting[-1]))
    return found


def fits(name, parts):
    try:
        return bool(reverse(name, kwargs=parts))
    except NoReverseMatch:
        return False


def faults_of(asker, found, seed):
    """Return what is wrong with the answers, and how much was asked."""
    faults, asked = [], 0
    for name, parts in found:
        for kind in fuzzing.of_address(asker, name, parts, seed):
            for ask in kind[:EACH]:
                if ask.method == "get" and seed.random() < 0.5:
                    ask.role = seed.choice(sorted(asker.clients))
                faults += asker.faults(ask)
                asked += 1
    return faults, asked


@pytest.mark.parametrize("piece", range(PIECES))
def test_nothing_that_is_asked_or_sent_is_a_fault(people, piece):
    seed = random.Random(f"{SEED}-{piece}")
    asker = fuzzing.Asker(people)
    of_this_piece = pages(people["owner"])[piece::PIECES]
    found = seed.sample(of_this_piece, len(of_this_piece) // OF_SO_MANY)

    faults, asked = faults_of(asker, found, seed)

    assert len(of_this_piece) > 200
    assert asked > len(found)
    assert faults == []


def test_every_address_is_walked(people):
    found = {name for name, _parts in pages(people["owner"])}

    assert {name for name in fuzzing.patterns() if not name.startswith("admin:")} - found == set()


# ------------------------------------------------------------- that the walk finds what is broken


def divides(request: HttpRequest) -> HttpResponse:
    return HttpResponse(str(100 / int(request.GET.get("boxes", "4"))))


def counts_to(request: HttpRequest) -> HttpResponse:
    most = request.POST.get("most", "")
    if most.isascii() and most.isdecimal():
        for _number in range(int(most[:18])):
            pass
    return HttpResponse(f'<form method="post"><input name="most" value="{most[:9]}"></form>')


def asks_for_each_line(request: HttpRequest) -> HttpResponse:
    for _line in request.POST.get("lines", "").splitlines()[:1000]:
        apps.get_model("accounts.User").objects.exists()
    return HttpResponse('<form method="post"><textarea name="lines">1</textarea></form>')


def takes_a_word(request: HttpRequest, word: str) -> HttpResponse:
    return JsonResponse({"length": 1 / (len(word) % 5000)})


BROKEN = {"divides": divides, "counts_to": counts_to, "asks": asks_for_each_line}
urlpatterns = [
    path("", include(of_the_house)),
    *(path(f"broken/{name}/", view, name=name) for name, view in BROKEN.items()),
    path("broken/<str:word>/word/", takes_a_word, name="word"),
]


@pytest.mark.parametrize(
    ("name", "parts", "said"),
    [
        ("divides", {}, ["zero for boxes answers 500: ZeroDivisionError", "no number for boxes"]),
        ("word", {"word": "tank"}, ["a long word for word answers 500: ZeroDivisionError"]),
        ("counts_to", {}, ["the largest key for most, as it is answers 500: TooLong"]),
        ("asks", {}, ["many lines for lines, as it is asks the database 100"]),
    ],
)
def test_the_walk_finds_a_page_that_breaks(people, monkeypatch, name, parts, said):
    monkeypatch.setattr(fuzzing, "SECONDS_MAX", 2)
    wanted = [each.partition(" answers")[0].partition(" asks")[0] for each in said]
    with override_settings(ROOT_URLCONF=__name__):
        fuzzing.patterns.cache_clear()
        asker = fuzzing.Asker({"owner": people["owner"]})
        kinds = fuzzing.of_address(asker, name, parts, random.Random(1))
        asks = [ask for kind in kinds for ask in kind if ask.what in wanted]
        faults = [fault for ask in asks for fault in asker.faults(ask)]
    fuzzing.patterns.cache_clear()

    for each in said:
        assert any(each in fault for fault in faults), faults
