"""A correction is shown beside what it corrects: what was entered, and what counts now."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.bottling.services import reversals
from inventory.shared.errors import CannotReverse
from inventory.stock.models import Item, Lot, LotCorrection, Place, Posting, PostingLine
from inventory.stock.queries import corrections
from inventory.stock.queries import honey as queries
from inventory.stock.services import honey, ledger
from tests import builders
from tests.inventory.pages import signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Tank 1")


@pytest.fixture
def other():
    return builders.place("tank-2", name="Tank 2")


@pytest.fixture
def lot(tank):
    return builders.lot_in(tank, 500_000)


@pytest.fixture
def poured(tank, other, lot):
    """100 kg from the first tank into the second, five days ago."""
    return honey.transfer(
        source=tank,
        target=other,
        grams=100_000,
        recorded_by=builders.person("bottling"),
        key=builders.new_key(),
        poured_on=builders.today() - timedelta(days=5),
    )


def corrected(
    posting: Posting, source: Place, target: Place, lot: Lot, grams: int, **facts
) -> Posting:
    """Write the difference of an entry as a correction of it."""
    made = Posting.objects.create(
        kind=Posting.Kind.CORRECTION,
        corrects=posting,
        occurred_at=posting.occurred_at,
        recorded_by=builders.person("office"),
        idempotency_key=builders.new_key(),
        **facts,
    )
    for place, quantity in ((source, -grams), (target, grams)):
        PostingLine.objects.create(
            posting=made, item=Item.objects.honey(), place=place, lot=lot, quantity=quantity
        )
    return made


def detail(posting: Posting, role: str = "bottling") -> str:
    return text(signed_in(role).get(reverse("inventory:posting_detail", args=[posting.pk])))


def now_of(posting: Posting) -> list[tuple[str, int]]:
    fetched = queries.posting(posting.pk)
    return sorted((line.place.code, line.quantity) for line in corrections.lines_now(fetched))


def test_an_entry_counts_with_its_corrections(poured, tank, other, lot):
    corrected(poured, tank, other, lot, -20_000)
    corrected(poured, tank, other, lot, 5_000)

    assert now_of(poured) == [("tank-1", -85_000), ("tank-2", 85_000)]


def test_what_comes_to_zero_is_left_out(poured, tank, other, lot):
    corrected(poured, tank, other, lot, -100_000)

    assert now_of(poured) == []


def test_a_correction_that_was_undone_does_not_count(poured, tank, other, lot):
    wrong = corrected(poured, tank, other, lot, -20_000)
    Posting.objects.create(
        kind=Posting.Kind.REVERSAL,
        reverses=wrong,
        recorded_by=builders.person(),
        idempotency_key=builders.new_key(),
    )

    assert now_of(poured) == [("tank-1", -100_000), ("tank-2", 100_000)]


def test_both_states_of_an_entry_are_on_its_page(poured, tank, other, lot):
    corrected(poured, tank, other, lot, -20_000, note="Read the wrong line")

    said = detail(poured)

    now, entered = said.index("As it counts now"), said.index("As it was entered")
    assert "176.4 lb from Tank 1 to Tank 2" in said[now:entered]
    assert "220.5 lb from Tank 1 to Tank 2" in said[entered:]
    assert "by Office Read the wrong line" in said[entered:]


def test_an_entry_that_was_not_corrected_has_one_state(poured):
    said = detail(poured)

    assert "As it counts now" not in said
    assert "As it was entered" not in said


def test_a_correction_says_what_it_corrects_and_what_caused_it(poured, tank, other, lot):
    late = ledger.post(
        kind=Posting.Kind.SPOILAGE,
        lines=ledger.move(
            item=Item.objects.honey(),
            lot=lot,
            source=tank,
            target=Place.objects.outside(Place.Kind.SPOILED),
            quantity=1_000,
        ),
        recorded_by=builders.person("owner"),
        key=builders.new_key(),
    )
    correction = corrected(poured, tank, other, lot, -20_000, caused_by=late)

    said, of_cause = detail(correction), detail(late)

    assert f"This corrects entry {poured.pk}, transfer." in said
    assert f"It was made because of entry {late.pk}, spoilage," in said
    assert "by Owner." in said
    assert f"Because of entry {late.pk}, spoilage" in detail(poured)
    changed = of_cause.index("What this changed in other entries")
    assert f"correction of entry {poured.pk}, transfer" in of_cause[changed:]


def test_the_list_has_a_correction_next_to_what_it_corrects(poured, tank, other, lot):
    # Entries of one earlier day are all of noon.
    second = honey.transfer(
        source=tank,
        target=other,
        grams=1_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
        poured_on=builders.today() - timedelta(days=5),
    )
    correction = corrected(poured, tank, other, lot, -20_000)

    listed = [posting.pk for posting in queries.postings() if posting.kind != "extraction"]

    assert listed == [second.pk, correction.pk, poured.pk]


def test_the_list_tells_what_counts_now(poured, tank, other, lot):
    corrected(poured, tank, other, lot, -20_000)

    said = text(signed_in().get(reverse("inventory:posting_list")))

    assert "transfer corrected 220.5 lb now 176.4 lb Tank 1 Tank 2" in said
    assert f"correction of entry {poured.pk}, transfer" in said


def test_the_list_asks_as_often_for_many_corrections_as_for_one(poured, tank, other, lot):
    client = signed_in()
    corrected(poured, tank, other, lot, -20_000)
    with CaptureQueriesContext(connection) as few:
        client.get(reverse("inventory:posting_list"))
    for _ in range(5):
        corrected(poured, tank, other, lot, 1_000)

    with CaptureQueriesContext(connection) as many:
        client.get(reverse("inventory:posting_list"))

    assert len(many) == len(few)


def test_the_api_has_what_was_entered_and_what_counts_now(client, poured, tank, other, lot):
    client.force_login(builders.person("office"))
    correction = corrected(poured, tank, other, lot, -20_000)

    said = client.get(f"/api/v1/postings/{poured.pk}/").json()
    of_correction = client.get(f"/api/v1/postings/{correction.pk}/").json()

    assert [line["quantity"] for line in said["lines"]] == [-100_000, 100_000]
    assert sorted(line["quantity"] for line in said["lines_now"]) == [-80_000, 80_000]
    assert said["corrections"] == [correction.pk]
    assert (of_correction["corrects"], of_correction["caused_by"]) == (poured.pk, None)


def test_what_undoing_a_corrected_entry_brings_back_is_as_it_counts_now(poured, tank, other, lot):
    corrected(poured, tank, other, lot, -20_000)

    said = text(signed_in().get(reverse("inventory:posting_reverse", args=[poured.pk])))

    assert "176.4 lb goes back from Tank 2 to Tank 1" in said
    assert "220.5 lb" not in said


def test_a_correction_is_not_undone_itself(poured, tank, other, lot):
    correction = corrected(poured, tank, other, lot, -20_000)
    refusal = "This entry follows from another one, so it can't be undone itself. Correct that one."
    address = reverse("inventory:posting_reverse", args=[correction.pk])

    with pytest.raises(CannotReverse, match=refusal):
        reversals.reverse(posting=correction, recorded_by=builders.person(), key=builders.new_key())
    assert refusal in text(signed_in().get(address))
    assert "Undo it" not in detail(correction)


def put_right(lot: Lot, before: dict, after: dict, **facts) -> LotCorrection:
    return LotCorrection.objects.create(
        lot=lot, before=before, after=after, corrected_by=builders.person("office"), **facts
    )


def test_the_page_of_a_lot_says_what_was_before_and_what_is_now(lot, poured):
    put_right(
        lot,
        {"moisture_percent": "17.40", "yard": "", "quantity_made": "500000"},
        {"moisture_percent": "17.90", "yard": "Mill field", "quantity_made": "480000"},
        reason="Refractometer was cold",
        posting=poured,
    )

    page = signed_in().get(reverse("inventory:lot_detail", args=[lot.code]))

    said = text(page)
    assert "Moisture, percent: before 17.40 %, now 17.90 %." in said
    assert "Yard or area: before –, now Mill field." in said
    assert "Made: before 1,102.3 lb, now 1,058.2 lb." in said
    assert "by Office. Why: Refractometer was cold" in said
    assert reverse("inventory:posting_detail", args=[poured.pk]) in page.content.decode()


def test_what_a_lot_is_made_of_is_told_by_lot_and_weight(lot):
    put_right(lot, {"parents": {"26-E01": 10_000}}, {"parents": {"26-E01": 8_000, "26-E02": 2_000}})

    [row] = corrections.of_lot(lot)

    assert [(each.name, each.before, each.after) for each in row.figures] == [
        ("Made of", "26-E01: 22.0 lb", "26-E01: 17.6 lb; 26-E02: 4.4 lb")
    ]


def test_a_day_and_a_count_are_told_as_on_other_pages():
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    made = builders.packed_lot(builders.product(), shelf, 96)
    put_right(
        made,
        {"made_on": "2026-08-01", "quantity_made": "96"},
        {"made_on": "2026-07-31", "quantity_made": "95"},
    )

    [row] = corrections.of_lot(made)

    assert [(each.before, each.after) for each in row.figures] == [
        ("Aug 1, 2026", "Jul 31, 2026"),
        ("96 pieces", "95 pieces"),
    ]


def test_a_corrected_cost_is_for_those_who_see_costs(lot):
    put_right(lot, {"cost_cents": "10000"}, {"cost_cents": "12550"})
    address = reverse("inventory:lot_detail", args=[lot.code])

    assert "Cost: before $100.00, now $125.50." in text(signed_in("office").get(address))
    assert "$125.50" not in text(signed_in("stand").get(address))
