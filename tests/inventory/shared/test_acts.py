"""An act and its parts: one transaction, what is looked up once, and what is written at its end."""

import pytest

from inventory.shared import acts
from inventory.stock.models import Counter


@pytest.fixture
def written():
    return []


@pytest.fixture
def note(written):
    """Return what an act is to have written at its end, each thing once."""

    def write(waiting):
        written.append(sorted(waiting))

    def note(thing):
        waiting = acts.waiting(write)
        if waiting is None:
            written.append([thing])
        else:
            waiting[thing] = True

    return note


def test_what_waits_is_written_once_at_the_end_of_the_outermost_act(db, note, written):
    @acts.act
    def part(thing):
        note(thing)
        assert written == []

    @acts.act
    def whole():
        part("bill")
        part("sale")
        part("bill")
        assert written == []

    whole()

    assert written == [["bill", "sale"]]
    note("alone")
    assert written[1:] == [["alone"]]


def test_something_is_looked_up_once_in_an_act_and_again_in_the_next(db):
    asked = []

    def look_up():
        asked.append(1)
        return len(asked)

    @acts.act
    def part():
        return acts.kept("number", look_up)

    @acts.act
    def whole():
        return part(), part()

    assert [whole(), whole()] == [(1, 1), (2, 2)]
    assert acts.kept("number", look_up) == 3


def test_a_part_that_is_refused_undoes_the_whole_and_nothing_waits_any_more(db, note, written):
    @acts.act
    def part():
        Counter.objects.create(series="part")
        raise ValueError("refused")

    @acts.act
    def whole():
        Counter.objects.create(series="whole")
        note("whole")
        part()

    with pytest.raises(ValueError, match="refused"):
        whole()

    assert not Counter.objects.filter(series__in=["part", "whole"]).exists()
    assert written == []
    note("next")
    assert written == [["next"]]


def test_an_act_within_a_transaction_can_be_refused_and_the_others_kept(db, note, written):
    @acts.act
    def bring_in(series):
        note(series)
        Counter.objects.create(series=series)
        if series == "wrong":
            raise ValueError(series)

    bring_in("first")
    with pytest.raises(ValueError, match="wrong"):
        bring_in("wrong")
    bring_in("last")

    kept = Counter.objects.filter(series__in=["first", "wrong", "last"]).order_by("series")
    assert [each.series for each in kept] == ["first", "last"]
    assert written == [["first"], ["last"]]
