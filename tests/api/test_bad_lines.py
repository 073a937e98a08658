"""One bad line among good ones, at each place of each list that an act takes, is a refusal."""

import itertools
import json
from datetime import date

import pytest
from django.test import Client
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from apiary_sales.api.problems import problem_details
from inventory.stock.models import Place
from tests import builders
from tests.api.test_api import SERVICES

pytestmark = pytest.mark.django_db

LINES = 3
BAD_LINES = [None, 5, "x", [], {}, {"x": 1}]
BAD_VALUES = [None, "", -1, 1.5, 10**30, {}, [[1]], "\x00"]


@pytest.fixture
def house():
    """A thing of each kind that a line may name."""
    tank, shelf = builders.place("tank-1"), builders.place("shelf", Place.Kind.SHELF)
    builders.place("drum-1", Place.Kind.DRUM, tare_grams=18_000)
    builders.lot_in(tank, 100_000)
    builders.packed_lot(builders.product("One pound", code="1-lb"), shelf, 48)
    builders.goods_lot(builders.goods("Wax", is_weighed=True), shelf, 2_500)
    builders.part("Lid", "lid")
    builders.customer()


def good(field):
    """Return a value that a field of a body takes, as far as its kind says; of a row, the least."""
    if isinstance(field, serializers.ListSerializer | serializers.ListField):
        return [good(field.child)]
    if isinstance(field, serializers.Serializer):
        return {name: good(part) for name, part in field.fields.items() if part.required}
    if isinstance(field, serializers.RelatedField):
        found = field.get_queryset().first()
        if found is None or isinstance(field, serializers.PrimaryKeyRelatedField):
            return getattr(found, "pk", 1)
        return getattr(found, field.slug_field)
    if isinstance(field, serializers.ChoiceField):
        return next(iter(field.choices))
    kinds = {
        serializers.BooleanField: True,
        serializers.IntegerField: field.min_value if hasattr(field, "min_value") else 1,
        serializers.DecimalField: "1",
        serializers.DateField: date.today().isoformat(),
        serializers.TimeField: "08:00",
        serializers.DateTimeField: "2026-07-20T08:00:00-05:00",
    }
    return next((value or 1 for kind, value in kinds.items() if isinstance(field, kind)), "x")


def lists_of(serializer):
    """Yield the name of each list of a body, with what is in it."""
    for name, field in serializer.fields.items():
        if isinstance(field, serializers.ListSerializer | serializers.ListField):
            yield name, field.child


def bad_values(child):
    """Yield a line with one value that is bad, and without one that it needs."""
    line = good(child)
    if not isinstance(line, dict):
        yield from BAD_VALUES
        return
    for name, value in itertools.product(child.fields, BAD_VALUES):
        yield {**line, name: value}
    for name in line:
        yield {other: line[other] for other in line if other != name}


def bodies(serializer):
    """Yield each body with a line that is none at each place of a list, or a bad second line."""
    whole = good(serializer)
    for name, child in lists_of(serializer):
        # A sale is paid in several ways, or in one.
        paid = {"method": "card"} if "payments" in serializer.fields and name == "lines" else {}
        line = good(child)
        none = itertools.product(BAD_LINES, range(LINES))
        for bad, place in [*none, *((bad, 1) for bad in bad_values(child))]:
            yield {**whole, **paid, name: [*[line] * place, bad, *[line] * (LINES - 1 - place)]}


WITH_LISTS = [path for path in SERVICES if list(lists_of(SERVICES[path][0].serializer_class()))]


def test_the_walk_finds_the_acts_with_lists():
    assert {"stand-sales/", "purchase-orders/", "count-sheets/{number}/store/"} <= set(WITH_LISTS)


@pytest.mark.parametrize("path", [path for path in WITH_LISTS if "{" in path])
def test_a_bad_line_is_named_and_never_a_fault(house, path):
    view = SERVICES[path][0]
    for body in bodies(view.serializer_class()):
        try:
            view.serializer_class(data=body).is_valid(raise_exception=True)
        except ValidationError as error:
            said = problem_details(error, {"view": view()}).data
            assert json.dumps(said, ensure_ascii=False).encode()
            assert said["errors"]


@pytest.mark.parametrize("path", [path for path in WITH_LISTS if "{" not in path])
def test_an_act_with_a_bad_line_is_refused_or_done_and_never_a_fault(house, path):
    client = Client(headers={"Authorization": builders.authorization()})
    view = SERVICES[path][0]
    send = client.post if hasattr(view, "post") else client.put
    for number, body in enumerate(bodies(view.serializer_class())):
        answer = send(
            f"/api/v1/{path}",
            json.dumps(body),
            content_type="application/json",
            # What is replaced whole has to be named, and here is whatever is there.
            headers={
                "Idempotency-Key": f"k{number}",
                **({"If-Match": "*"} if send == client.put and hasattr(view, "get") else {}),
            },
        )

        assert answer.status_code in (200, 201, 400, 409, 422), (body, answer.content)
