"""Entries that come late, wrong and corrected: the books end as if all had been told in order."""

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from inventory.bottling.services import receipt_corrections, reversals, run_corrections, runs
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine, Shortage
from inventory.stock.queries import books
from inventory.stock.services import drums, honey, stores
from tests import builders, data_layer

pytestmark = pytest.mark.django_db

DAYS = 12


@dataclass
class House:
    """A house whose acts are told with their day, in whatever order."""

    start: date = field(default_factory=lambda: timezone.localdate() - timedelta(days=30))

    def __post_init__(self) -> None:
        self.person = builders.person()
        self.places = {code: builders.place(code) for code in ("tank", "settler", "bucket")}
        for code in ("drum-1", "drum-2"):
            self.places[code] = builders.place(code, Place.Kind.DRUM, tare_grams=18_000)
        self.shelf = builders.place("shelf", Place.Kind.SHELF)
        self.stand = builders.place("stand", Place.Kind.STAND)
        self.product = builders.product()
        self.runs: dict[str, object] = {}

    def day(self, number: int) -> date:
        return self.start + timedelta(days=number)

    def tell(self, act: tuple) -> None:
        if isinstance(act[-1], dict):
            getattr(self, act[0])(*act[1:-1], **act[-1])
        else:
            getattr(self, act[0])(*act[1:])

    def receive(self, day: int, place: str, name: str, grams: int) -> None:
        honey.receive(
            place=self.places[place],
            grams=grams,
            season=self.day(day).year,
            floral_source=name,
            extracted_on=self.day(day),
            moisture_percent=Decimal("17.4"),
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def pour(self, day: int, source: str, target: str, grams: int | None) -> None:
        honey.transfer(
            source=self.places[source],
            target=self.places[target],
            grams=grams,
            poured_on=self.day(day),
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def fill(self, day: int, drum: str, gross: int) -> None:
        drums.fill(
            tank=self.places["tank"],
            drum=self.places[drum],
            gross_grams=gross,
            filled_on=self.day(day),
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def spoil(self, day: int, place: str, grams: int) -> None:
        honey.write_off(
            place=self.places[place],
            grams=grams,
            reason="spoilage",
            written_off_on=self.day(day),
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def run(self, day: int, name: str, pieces: int, drawn: int) -> None:
        run = runs.plan(
            product=self.product,
            source=self.places["tank"],
            target=self.shelf,
            pieces=pieces,
            planned_for=self.day(day),
            planned_by=self.person,
            lot_code=name,
            key=builders.new_key(),
        )
        self.runs[name] = runs.record(
            run=run,
            pieces_filled=pieces,
            pieces_broken=0,
            drawn_grams=drawn,
            drawn_by="scale",
            loss_grams=0,
            labour_minutes=30,
            celsius=None,
            bottled_on=self.day(day),
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def correct(self, name: str, pieces: int, drawn: int) -> None:
        self.runs[name] = run_corrections.correct(
            run=self.runs[name],
            pieces_filled=pieces,
            drawn_grams=drawn,
            reason="Miscounted",
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def correct_receipt(self, name: str, **figures) -> None:
        lot = Lot.objects.get(kind=Lot.Kind.EXTRACTION, floral_source=name)
        if "came_in_on" in figures:
            figures["came_in_on"] = self.day(figures["came_in_on"])
        receipt_corrections.correct(
            lot=lot, reason="Misread", recorded_by=self.person, key=builders.new_key(), **figures
        )

    def carry(self, day: int, name: str, pieces: int) -> None:
        stores.transfer(
            item=self.product.item,
            lot=Lot.objects.get(code=name),
            source=self.shelf,
            target=self.stand,
            pieces=pieces,
            carried_on=self.day(day),
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def break_jars(self, day: int, name: str, pieces: int) -> None:
        stores.write_off(
            item=self.product.item,
            lot=Lot.objects.get(code=name),
            place=self.shelf,
            pieces=pieces,
            reason="breakage",
            written_off_on=self.day(day),
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def at_end_of(self, day: int) -> dict:
        """Return what was where that evening: honey by the sources in it, jars by their code."""
        found: dict = {}
        lines = PostingLine.objects.standing().filter(posting__occurred_at__date__lte=self.day(day))
        sums: Counter = Counter()
        for line in lines.select_related("item", "place", "lot"):
            if line.place.is_physical or line.place.kind == Place.Kind.TO_SETTLE:
                sums[line.item, line.place, line.lot] += line.quantity
        for (item, place, lot), quantity in sums.items():
            if not quantity:
                continue
            if item.kind == Item.Kind.HONEY:
                for origin in lot.origins():
                    key = (place.code, origin.lot.floral_source)
                    found[key] = found.get(key, Fraction(0)) + quantity * origin.share
            else:
                found[place.code, lot and lot.code, item.name] = quantity
        return found

    def in_jars(self) -> dict:
        """Return the grams of each source in each packed lot."""
        found = {}
        for lot in Lot.objects.filter(kind=Lot.Kind.PACKED):
            for origin in lot.origins():
                key = (lot.code, lot.quantity_made, origin.lot.floral_source)
                found[key] = lot.honey_grams * origin.share
        return found

    def story(self) -> tuple:
        assert not list(books.faults())
        return [self.at_end_of(day) for day in range(DAYS)], self.in_jars()


SEASON = [
    ("receive", 0, "settler", "Clover", 400_000),
    ("pour", 1, "settler", "tank", 250_000),
    ("run", 2, "A1", 100, 46_000),
    ("fill", 3, "drum-1", 118_000),
    ("receive", 4, "settler", "Basswood", 300_000),
    ("pour", 5, "settler", "tank", 200_000),
    ("carry", 5, "A1", 60),
    ("run", 6, "A2", 150, 69_000),
    ("break_jars", 6, "A1", 3),
    ("spoil", 7, "tank", 4_000),
    ("fill", 8, "drum-2", 98_000),
    ("pour", 9, "settler", "bucket", None),
    ("run", 10, "A3", 80, 36_500),
    ("carry", 11, "A2", 40),
]


def told(acts) -> tuple:
    with transaction.atomic():
        house = House()
        for act in acts:
            house.tell(act)
        story = house.story()
        assert not Shortage.objects.open().exists()
        transaction.set_rollback(True)
    return story


def test_a_season_told_late_ends_every_day_as_one_told_in_order():
    in_order = told(SEASON)

    for seed in range(6):
        shuffled = list(SEASON)
        random.Random(seed).shuffle(shuffled)
        # What is done with a jar can only be told of a lot that is in the books, and "all of it"
        # only of a vessel that has something in the books.
        shuffled.sort(key=lambda act: act[0] in ("carry", "break_jars") or act[-1] is None)
        assert told(shuffled) == in_order


def test_a_season_told_wrong_and_corrected_ends_as_one_told_right():
    wrong = [
        ("run", 2, "A1", 110, 52_000) if act[:3] == ("run", 2, "A1") else act for act in SEASON
    ]
    corrected = [*wrong, ("correct", "A1", 100, 46_000)]

    assert told(corrected) == told(SEASON)


def test_what_was_where_at_a_moment_is_the_sum_of_what_stands_from_before():
    house = House()
    for act in SEASON:
        house.tell(act)
    house.correct_receipt("Basswood", grams=310_000)
    last = Posting.objects.order_by("occurred_at", "pk").exclude(kind="correction").last()
    reversals.reverse(posting=last, recorded_by=house.person, key=builders.new_key())
    lines = list(PostingLine.objects.select_related("posting__corrects", "place", "item"))
    gone = set(Posting.objects.filter(reverses__isnull=False).values_list("reverses", flat=True))

    for moment in sorted({line.posting.occurred_at for line in lines}):
        for item in Item.objects.all():
            expected: Counter[tuple[int, int]] = Counter()
            for line in lines:
                entry = line.posting.corrects or line.posting
                if line.posting.reverses_id or entry.pk in gone or not line.place.is_physical:
                    continue
                if line.item == item and line.posting.occurred_at <= moment:
                    expected[line.place_id, line.lot_id or 0] += line.quantity
            assert Balance.objects.at(item, moment) == {key: n for key, n in expected.items() if n}


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        (("receive", 4, "settler", "Basswood", 250_000), {"grams": 300_000}),
        (("receive", 4, "settler", "Basswood", 390_000), {"grams": 300_000}),
        (("receive", 2, "settler", "Basswood", 300_000), {"came_in_on": 4}),
        (("receive", 6, "settler", "Basswood", 200_000), {"came_in_on": 4, "grams": 300_000}),
    ],
)
def test_a_receipt_written_down_wrong_ends_as_one_written_down_right(wrong, right):
    acts = [wrong if act[0] == "receive" and act[3] == "Basswood" else act for act in SEASON]
    acts.append(("correct_receipt", "Basswood", right))

    assert told(acts) == told(SEASON)


def test_blends_and_jars_take_a_corrected_moisture_and_the_old_one_stays_readable():
    house = House()
    for act in SEASON:
        house.tell(act)
    jars = Lot.objects.get(code="A2")
    assert jars.moisture_percent == Decimal("17.40")

    house.correct_receipt("Basswood", moisture_percent=Decimal("19.40"))

    jars.refresh_from_db()
    shares = {origin.lot.floral_source: origin.share for origin in jars.origins()}
    expected = shares["Clover"] * Fraction("17.4") + shares["Basswood"] * Fraction("19.4")
    assert abs(Fraction(jars.moisture_percent) - expected) < Fraction("0.011")
    corrected = jars.corrections.get()
    assert corrected.before["moisture_percent"] == "17.40"
    assert corrected.after["moisture_percent"] == str(jars.moisture_percent)


VESSEL = st.sampled_from(["tank", "settler", "bucket"])
GRAMS = st.integers(min_value=1_000, max_value=90_000)
ACT = st.one_of(
    st.tuples(st.just("receive"), VESSEL, st.sampled_from(["Clover", "Aster", "Sage"]), GRAMS),
    st.tuples(st.just("receive"), VESSEL, st.sampled_from(["Clover", "Aster", "Sage"]), GRAMS),
    st.tuples(st.just("pour"), VESSEL, VESSEL, GRAMS),
    st.tuples(st.just("spoil"), VESSEL, GRAMS),
    st.tuples(st.just("run"), st.integers(min_value=2, max_value=150)),
)


@settings(
    max_examples=data_layer.examples(12),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
@given(st.data(), st.lists(ACT, min_size=2, max_size=9))
def test_any_legal_act_may_be_entered_on_any_past_day(data, acts):
    season = []
    for day, act in enumerate(acts):
        if act[0] == "run":
            season.append(("run", day, f"R{day}", act[1], act[1] * 460))
        elif act[0] != "pour" or act[1] != act[2]:
            season.append((act[0], day, *act[1:]))
    shuffled = data.draw(st.permutations(season))

    in_order, late = told_with_shortages(season), told_with_shortages(shuffled)

    assert late["levels"] == in_order["levels"]
    assert late["short"] == in_order["short"]
    if not in_order["short"]:
        assert late["story"] == in_order["story"]


def told_with_shortages(acts) -> dict:
    with transaction.atomic():
        house = House()
        for act in acts:
            house.tell(act)
        story = house.story()
        levels = [levels_of(evening) for evening in story[0]]
        short = sum(Shortage.objects.open().values_list("quantity", flat=True))
        transaction.set_rollback(True)
    return {"story": story, "levels": levels, "short": short}


def levels_of(evening: dict) -> dict:
    """Return how much was in each place, whatever it was."""
    levels: dict = {}
    for key, quantity in evening.items():
        levels[key[0]] = levels.get(key[0], 0) + quantity
    return levels
