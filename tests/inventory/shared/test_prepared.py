"""Queries whose statement is made once: what they answer is what the database says now."""

from datetime import date

import pytest
from django.db import connection
from django.db.models import CharField, Count, IntegerField
from django.test.utils import CaptureQueriesContext

from inventory.shared.prepared import Given, PreparedQuery, PreparedUpdate, column, given_keys, keys
from inventory.stock.models import Balance, Lot, Place
from tests import builders

pytestmark = pytest.mark.django_db


def test_the_answer_is_that_of_the_moment_and_of_what_is_given():
    named = PreparedQuery(lambda: Place.objects.filter(name=Given("name", CharField())))
    shelf = builders.place("shelf")

    assert named.rows(name=shelf.name) == [shelf]
    assert not named.finds(name="elsewhere")

    Place.objects.filter(pk=shelf.pk).update(name="elsewhere")

    assert named.first(name=shelf.name) is None
    assert named.rows(name="elsewhere")[0].name == "elsewhere"


def test_the_query_is_made_once_and_asked_each_time():
    made = []

    def query():
        made.append(1)
        return Place.objects.filter(pk=Given("key", IntegerField()))

    of_key, shelf = PreparedQuery(query), builders.place("shelf")

    with CaptureQueriesContext(connection) as asked:
        assert [of_key.first(key=key) for key in (shelf.pk, shelf.pk + 1)] == [shelf, None]

    assert (len(made), len(asked)) == (1, 2)


def test_rows_come_with_what_is_selected_along_with_sums_and_with_the_values_of_their_fields():
    shelf, product = builders.place("shelf"), builders.product("Pound jar")
    lot = builders.packed_lot(product, shelf, 12)
    there = PreparedQuery(
        lambda: (
            Balance.objects.filter(place=Given("place", IntegerField()))
            .select_related("lot")
            .annotate(promises=Count("reservations"))
        )
    )

    with CaptureQueriesContext(connection) as asked:
        [found] = there.rows(place=shelf.pk)
        values = (found.lot, found.lot.made_on, found.quantity, found.promises)

    assert values == (lot, Lot.objects.get(pk=lot.pk).made_on, 12, 0)
    assert isinstance(found.lot.made_on, date)
    assert len(asked) == 1


def test_a_list_of_keys_is_given_by_their_number():
    first, second, _third = (builders.place(code) for code in ("one", "two", "three"))
    asked = PreparedQuery(
        lambda: (
            Place.objects.alias(key=column("pk"))
            .filter(key__in=keys("place", 2))
            .order_by("pk")
            .values_list("pk")
        )
    )

    assert asked.rows(**given_keys("place", [second.pk, first.pk])) == [(first.pk,), (second.pk,)]


def test_a_list_of_no_keys_finds_and_changes_nothing():
    shelf = builders.place("shelf")
    of_none = Place.objects.alias(key=column("pk")).filter(key__in=keys("place", 0))

    assert PreparedQuery(lambda: of_none).rows() == []
    assert PreparedUpdate(lambda: of_none, name="changed").make() == 0
    shelf.refresh_from_db()
    assert shelf.name != "changed"
