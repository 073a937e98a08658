"""The kept averages: at any time they give what the whole history of an item gives."""

from contextlib import suppress
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from inventory.shared.errors import HouseError
from inventory.shared.money import share_cents
from inventory.stock import costing
from inventory.stock.models import (
    AverageClosing,
    Lot,
    Place,
    Posting,
    PostingLine,
    ProductionSettings,
)
from inventory.stock.queries import average_closings as proof
from inventory.stock.services import average_closings, ledger
from tests import builders
from tests.profiles import examples

HOUSE = {"tank", "drum", "pail", "tote", "shelf", "stand", "van", "consignment", "returned"}


@pytest.fixture
def often(db, monkeypatch):
    """A house at the average that keeps every second state of it."""
    monkeypatch.setattr(AverageClosing, "CHANGES_MAX", 2)
    ProductionSettings(cost_method=ProductionSettings.CostMethod.WEIGHTED_AVERAGE).save()


@pytest.fixture
def room(often):
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    return shelf, stand, builders.product(), builders.person("owner")


def of_whole_history(item, before=None):
    """Work the average out of every line there is, one after the other."""
    changes = {}
    lines = PostingLine.objects.filter(item=item).select_related("posting", "place", "lot")
    undone = set(Posting.objects.filter(reverses__isnull=False).values_list("reverses", flat=True))
    for line in lines:
        counts = line.posting.reverses_id is None and not (
            {line.posting_id, line.posting.corrects_id} & undone
        )
        counts_at = line.posting.corrects_id or line.posting_id
        if counts and line.place.kind in HOUSE and (before is None or counts_at < before):
            key = (counts_at, line.lot_id)
            changes[key] = changes.get(key, 0) + line.quantity
    average = costing.AverageCost()
    for (_posting, lot), change in sorted(changes.items()):
        if change:
            row = Lot.objects.get(pk=lot)
            cents = None
            if row.cost_cents is not None and row.quantity_made > 0:
                cents = share_cents(row.cost_cents, change, row.quantity_made)
            average.change(change, cents)
    return average


def act(room, kind, number, amount):
    shelf, stand, product, person = room
    item = product.item
    lots = list(Lot.objects.filter(product=product).order_by("pk"))
    lot = lots[number % len(lots)] if lots else None
    moment = timezone.now() - timedelta(days=amount % 3)
    if kind == "pack":
        cost = None if amount % 5 == 0 else amount * 7
        builders.packed_lot(product, shelf, amount, cost_cents=cost)
    elif lot is None:
        return
    elif kind in ("take", "late", "carry"):
        target = Place.objects.outside(Place.Kind.CUSTOMER) if kind != "carry" else stand
        ledger.post(
            kind=Posting.Kind.TRANSFER if kind == "carry" else Posting.Kind.SALE,
            lines=ledger.move(item=item, lot=lot, source=shelf, target=target, quantity=amount),
            recorded_by=person,
            key=builders.new_key(),
            occurred_at=moment if kind == "late" else None,
        )
    elif kind == "correct":
        postings = list(Posting.objects.filter(kind=Posting.Kind.SALE).order_by("pk"))
        if postings:
            posting = postings[number % len(postings)]
            sold = posting.lines.get(place=shelf).lot
            customers = Place.objects.outside(Place.Kind.CUSTOMER)
            ledger.correct(
                posting=posting,
                lines=ledger.move(
                    item=item, lot=sold, source=shelf, target=customers, quantity=amount
                ),
                recorded_by=person,
                key=builders.new_key(),
            )
    elif kind == "undo":
        postings = list(Posting.objects.order_by("pk"))
        ledger.reverse(
            posting=postings[number % len(postings)], recorded_by=person, key=builders.new_key()
        )
    elif kind == "cost":
        lot.cost_cents = None if amount % 7 == 0 else amount * 13
        lot.save(update_fields=["cost_cents"])
    elif kind == "more":
        lot.quantity_made += amount
        lot.save(update_fields=["quantity_made"])


acts = st.tuples(
    st.sampled_from(["pack", "take", "take", "late", "carry", "undo", "correct", "cost", "more"]),
    st.integers(0, 30),
    st.integers(1, 12),
)
UNDONE_EARLY = [("pack", 0, 9), ("take", 0, 2), ("take", 0, 3), ("take", 0, 1), ("undo", 1, 1)]
CORRECTED_AND_UNDONE = [("pack", 0, 9), ("take", 0, 5), ("correct", 0, 2), ("undo", 1, 1)]
# The correction is later than the last closing, which has it already.
CORRECTED_BEFORE_THE_CLOSING = [
    *[("pack", 0, 9), ("take", 0, 5), ("take", 0, 1), ("correct", 0, 2)],
    *[("take", 0, 1), ("pack", 0, 8), ("take", 0, 1)],
]
DEARER = [("pack", 0, 9), ("take", 0, 2), ("pack", 0, 8), ("take", 1, 3), ("cost", 0, 11)]


@settings(
    max_examples=examples(6, nightly=400),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, min_size=3, max_size=12))
@example(UNDONE_EARLY)
@example(CORRECTED_AND_UNDONE)
@example(CORRECTED_BEFORE_THE_CLOSING)
@example(DEARER)
def test_after_any_acts_the_kept_average_is_that_of_the_whole_history(room, series):
    item = room[2].item_id
    with transaction.atomic():
        for kind, number, amount in series:
            with suppress(HouseError), transaction.atomic():
                act(room, kind, number, amount)
            now = PostingLine.objects.average_costs([item])[item]
            assert now.state == of_whole_history(item).state
            average_closings.close([item])
            assert list(proof.faults()) == []
        postings = list(Posting.objects.filter(lines__item=item).distinct().order_by("pk"))
        before = PostingLine.objects.average_costs_before([item], [each.pk for each in postings])
        for (posting, _item), average in before.items():
            assert average.state == of_whole_history(item, before=posting).state
        if postings:
            last = PostingLine.objects.average_costs([item], before=postings[-1])[item]
            assert last.state == of_whole_history(item, before=postings[-1].pk).state
        transaction.set_rollback(True)


def test_a_reading_begins_at_the_last_closing(room):
    for _turn in range(5):
        act(room, "pack", 0, 10)
        act(room, "take", 0, 1)
    item = room[2].item_id
    assert PostingLine.objects.average_costs([item])[item].changes == 10

    average_closings.close([item])

    with CaptureQueriesContext(connection) as asked:
        assert PostingLine.objects.average_costs([item])[item].changes == 0
    assert len(asked) == 2


def test_a_house_that_values_by_lot_keeps_none(room):
    for _turn in range(3):
        act(room, "pack", 0, 10)
    ProductionSettings(cost_method=ProductionSettings.CostMethod.FIRST_IN_FIRST_OUT).save()

    average_closings.rebuild()

    assert not AverageClosing.objects.exists()


def test_a_wrong_closing_is_found_and_made_anew(room):
    for _turn in range(3):
        act(room, "pack", 0, 10)
    average_closings.rebuild()
    kept = AverageClosing.objects.get()
    AverageClosing.objects.update(cents=kept.cents + 1)

    assert list(proof.faults()) == [
        f"The average cost of item {kept.item_id} kept at posting {kept.posting_id} is not what "
        "its history gives. Run manage.py rebuild_derived."
    ]

    call_command("rebuild_derived", stdout=StringIO())
    assert list(proof.faults()) == []
    assert AverageClosing.objects.get().cents == kept.cents


def test_a_closing_that_counts_no_more_is_found(room):
    act(room, "pack", 0, 10)
    act(room, "carry", 0, 2)
    carried = Posting.objects.get(kind="transfer")
    state = costing.AverageState(10, 70)
    AverageClosing.of(room[2].item_id, carried.pk, state).save()

    assert [fault.split(",")[0] for fault in proof.faults()] == [
        f"An average cost of item {room[2].item_id} is kept at posting {carried.pk}"
    ]


def test_a_sale_that_was_corrected_and_then_undone_takes_nothing_from_the_average(room):
    shelf, _stand, product, person = room
    customers = Place.objects.outside(Place.Kind.CUSTOMER)
    lot = builders.packed_lot(product, shelf, 10, cost_cents=1_000)

    def sold(quantity):
        return ledger.move(
            item=product.item, lot=lot, source=shelf, target=customers, quantity=quantity
        )

    by = {"recorded_by": person}
    sale = ledger.post(kind=Posting.Kind.SALE, lines=sold(5), key=builders.new_key(), **by)
    ledger.correct(posting=sale, lines=sold(2), key=builders.new_key(), **by)
    ledger.reverse(posting=sale, key=builders.new_key(), **by)
    # Ten at 1.00 and ten at 3.00 are twenty at 2.00.
    builders.packed_lot(product, shelf, 10, cost_cents=3_000)

    average = PostingLine.objects.average_costs([product.item_id])[product.item_id]
    assert (average.quantity, average.unit_cost_cents) == (20, 200)


def test_jars_that_were_filled_on_another_day_cost_what_they_cost(room):
    shelf, _stand, product, person = room
    builders.packed_lot(product, shelf, 10, cost_cents=1_000)
    dearer = builders.packed_lot(product, shelf, 10, cost_cents=3_000)
    filled = Posting.objects.get(lines__lot=dearer, lines__place=shelf)

    ledger.correct(
        posting=filled,
        lines=ledger.effective_lines(filled),
        occurred_at=filled.occurred_at - timedelta(days=1),
        recorded_by=person,
        key=builders.new_key(),
    )

    # Ten at 1.00 and ten at 3.00 are twenty at 2.00.
    average = PostingLine.objects.average_costs([product.item_id])[product.item_id]
    assert (average.quantity, average.unit_cost_cents) == (20, 200)
