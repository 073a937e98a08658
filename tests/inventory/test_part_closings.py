"""The kept averages of parts: at any time they give what the whole history of a part gives."""

from contextlib import suppress
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from inventory.bottling import part_costs
from inventory.bottling.models import PartReceipt
from inventory.bottling.queries import part_closings as proof
from inventory.bottling.services import delivery_corrections, part_closings
from inventory.shared.errors import HouseError
from inventory.stock import costing
from inventory.stock.models import AverageClosing, Place, Posting, PostingLine
from inventory.stock.services import ledger
from tests import builders
from tests.inventory import bottling_room
from tests.profiles import examples

HOUSE = {"tank", "drum", "pail", "tote", "shelf", "stand", "van", "consignment", "returned"}


@pytest.fixture
def jar(db, monkeypatch):
    """A jar of a house that keeps every second state of its parts."""
    monkeypatch.setattr(AverageClosing, "PART_CHANGES_MAX", 2)
    builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    builders.place("stand", Place.Kind.STAND, name="Stand")
    builders.person("owner")
    return builders.part()


def of_whole_history(part):
    """Work the heap out of every line there is, one after the other."""
    undone = set(Posting.objects.filter(reverses__isnull=False).values_list("reverses", flat=True))
    paid = dict(PartReceipt.objects.values_list("posting", "cost_cents"))
    changes = {}
    for line in PostingLine.objects.filter(item=part.item_id).select_related("posting", "place"):
        counts_at = line.posting.corrects_id or line.posting_id
        counts = line.posting.reverses_id is None and not {line.posting_id, counts_at} & undone
        if counts and line.place.kind in HOUSE:
            changes[counts_at] = changes.get(counts_at, 0) + line.quantity
    heap = costing.HeapAtAverage()
    for posting, pieces in sorted(changes.items()):
        if pieces > 0 and posting in paid:
            heap.receive(pieces, paid[posting])
        elif pieces > 0:
            heap.find(pieces)
        elif pieces < 0:
            heap.issue(-pieces)
    return heap


def _move(part, kind, source, target, pieces, **told):
    source, target = (
        Place.objects.filter(kind=each).first() or Place.objects.outside(each)
        for each in (source, target)
    )
    ledger.post(
        kind=kind,
        lines=ledger.move(item=part.item, lot=None, source=source, target=target, quantity=pieces),
        recorded_by=builders.person(),
        key=builders.new_key(),
        **told,
    )


def act(part, kind, number, amount):
    person, shelf = builders.person(), Place.objects.get(code="shelf")
    moment = timezone.now() - timedelta(days=number % 4)
    receipts = list(PartReceipt.objects.order_by("pk"))
    postings = list(Posting.objects.filter(lines__item=part.item_id).distinct().order_by("pk"))
    if kind == "receive":
        bottling_room.receive(part, shelf, amount, number * 13, timezone.localdate(moment))
    elif kind == "use":
        _move(part, "bottling", "shelf", "packing", amount, has_happened=True)
    elif kind == "late":
        _move(part, "bottling", "shelf", "packing", amount, occurred_at=moment)
    elif kind == "find":
        _move(part, "count", "count_difference", "shelf", amount)
    elif kind == "carry":
        _move(part, "transfer", "shelf", "stand", amount)
    elif kind == "undo" and postings:
        ledger.reverse(
            posting=postings[number % len(postings)], recorded_by=person, key=builders.new_key()
        )
    elif kind in ("dearer", "fewer", "other day") and receipts:
        figures = {
            "dearer": {"cost_cents": number * 17},
            "fewer": {"pieces": amount},
            "other day": {"received_on": timezone.localdate(moment), "pieces": amount},
        }
        delivery_corrections.correct_parts(
            receipt=receipts[amount % len(receipts)],
            recorded_by=person,
            key=builders.new_key(),
            reason="Misread",
            **figures[kind],
        )


KINDS = ("receive", "use", "late", "find", "carry", "undo", "dearer", "fewer", "other day")
acts = st.tuples(
    st.sampled_from(("receive", "use", *KINDS)),
    st.integers(0, 30),
    st.integers(1, 12),
)
USED_BEFORE_IT_CAME = [("receive", 3, 5), ("use", 0, 9), ("use", 0, 2), ("receive", 8, 12)]
DEARER_EARLY = [("receive", 3, 9), ("use", 0, 2), ("use", 0, 2), ("dearer", 5, 2), ("use", 0, 1)]
FEWER_EARLY = [("receive", 3, 9), ("use", 0, 2), ("receive", 9, 4), ("use", 0, 3), ("fewer", 1, 4)]
UNDONE_EARLY = [("receive", 3, 9), ("use", 0, 2), ("use", 0, 3), ("undo", 1, 1), ("find", 0, 2)]
FOUND_FIRST = [("find", 0, 9), ("use", 0, 2), ("use", 0, 3), ("receive", 3, 1), ("undo", 1, 1)]


@settings(
    max_examples=examples(8, nightly=400),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, min_size=3, max_size=12))
@example(USED_BEFORE_IT_CAME)
@example(DEARER_EARLY)
@example(FEWER_EARLY)
@example(UNDONE_EARLY)
@example(FOUND_FIRST)
def test_after_any_acts_the_kept_average_is_that_of_the_whole_history(jar, series):
    with transaction.atomic():
        for kind, number, amount in series:
            with suppress(HouseError), transaction.atomic():
                act(jar, kind, number, amount)
            heap = part_costs.heaps_of([jar])[jar.pk]
            assert heap.state == of_whole_history(jar).state
            assert heap.value_cents == part_costs.part_book().value_by()[jar.item_id]
            part_closings.close([jar.item_id])
            assert list(proof.faults()) == []
        transaction.set_rollback(True)


def test_a_reading_begins_at_the_last_closing(jar):
    for _turn in range(3):
        act(jar, "receive", 4, 10)
        act(jar, "use", 0, 1)
    assert part_costs.heaps_of([jar])[jar.pk].changes == 6

    part_closings.heaps([jar])

    with CaptureQueriesContext(connection) as asked:
        assert part_costs.heaps_of([jar])[jar.pk].changes == 0
    assert len(asked) == 2


def test_recording_runs_keeps_what_their_parts_cost(db, monkeypatch):
    monkeypatch.setattr(AverageClosing, "PART_CHANGES_MAX", 2)
    room = bottling_room.set_up(pieces=500)
    for _turn in range(4):
        bottling_room.recorded(room)

    kept = AverageClosing.objects.filter(item=room.jar.item_id)
    assert kept.exists()
    assert part_costs.heaps_of([room.jar])[room.jar.pk].state == of_whole_history(room.jar).state
    assert list(proof.faults()) == []


def test_a_wrong_closing_is_found_by_name_and_made_anew(jar):
    for _turn in range(2):
        act(jar, "receive", 4, 10)
    part_closings.rebuild()
    kept = AverageClosing.objects.get()
    AverageClosing.objects.update(unit_cents=kept.unit_cents + 1)

    with pytest.raises(CommandError):
        call_command("verify_ledger", stdout=(said := StringIO()), stderr=said)
    assert (
        f"The average cost of Jar kept at posting {kept.posting_id} is not what its history "
        "gives. Run manage.py rebuild_derived."
    ) in said.getvalue()

    call_command("rebuild_derived", stdout=StringIO())
    assert list(proof.faults()) == []
    assert AverageClosing.objects.get().unit_cents == kept.unit_cents


def test_a_closing_that_counts_no_more_is_found(jar):
    act(jar, "receive", 4, 10)
    act(jar, "carry", 0, 2)
    carried = Posting.objects.get(kind="transfer")
    AverageClosing.of(jar.item_id, carried.pk, costing.HeapState(10, 52)).save()

    assert [fault.split(",")[0] for fault in proof.faults()] == [
        f"An average cost of Jar is kept at posting {carried.pk}"
    ]
