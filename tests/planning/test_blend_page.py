"""The blend planner on its page: what is wanted, the blend, what stands in the way, the draft."""

from datetime import date
from decimal import Decimal
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from apiary_sales.planning.queries import blend_books
from apiary_sales.planning.rules.blend import LeftOutBecause, ValueFrom
from apiary_sales.pricing.services import prices
from inventory.bottling.services import holds, runs
from inventory.stock.models import BlendPlan, Posting
from inventory.stock.services import honey, ledger
from tests import builders
from tests.inventory import others_room
from tests.inventory.pages import books_unchanged, signed_in, text

pytestmark = pytest.mark.django_db

URL = "/honey/plan-a-blend/"


@pytest.fixture
def light():
    """200 kg at 20 mm and 17.0 %, at 0.2 cents a gram."""
    place = builders.place("drum-1", "drum", name="Light drum")
    builders.lot_in(place, 200_000, colour_mm="20", moisture_percent="17.0", cost_cents=40_000)
    return place


@pytest.fixture
def dark():
    """200 kg at 60 mm and 19.0 %, at 0.1 cents a gram."""
    place = builders.place("drum-2", "drum", name="Dark drum")
    builders.lot_in(place, 200_000, colour_mm="60", moisture_percent="19.0", cost_cents=20_000)
    return place


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Blending tank")


def asked(**fields):
    wanted = {"weight": "100", "weight_unit": "kg", "draws": "parts", **fields}
    return signed_in("owner").get(URL, wanted)


def poured(page) -> dict[str, int]:
    return {line.vessel.place.code: line.grams for line in page.context["found"].lines}


def test_the_page_asks_first_and_works_nothing_out(light):
    page = signed_in("owner").get(URL)

    assert page.status_code == 200
    assert page.context["search"] is None
    # What the house puts into jars is the usual limit.
    assert page.context["form"]["moisture_max"].value() == "18.6"


def test_the_blend_of_least_value_is_found_and_said_to_be_approximate(light, dark, tank):
    page = asked(colour_class="or-lighter:White", moisture_max="18.6", target="tank-1")

    # 34 mm is 26 parts of the light honey and 14 of the dark one: 65 and 35 kg.
    assert poured(page) == {"drum-1": 65_000, "drum-2": 35_000}
    assert page.context["found"].cents == 13_000 + 3_500
    said = text(page)
    assert "Colour, about 34.0 mm" in said
    assert "Value of the honey $165.00" in said
    assert "The colour of a blend is only approximate." in said
    assert "moisture above the house's limit" in said
    assert "The colour is less than 2 mm from what was wanted" in said
    assert "The moisture is less than" not in said


def test_a_blend_well_inside_its_limits_is_not_called_near_them(light, dark):
    assert asked(colour_max="63").context["found"].outcome.near_limits == []
    (near,) = asked(moisture_max="19.05").context["found"].outcome.near_limits
    assert near.startswith("The moisture is less than 0.1 % from what was wanted")


def test_values_of_two_kinds_are_said_to_be_so(light):
    assert "Some honey is valued at its cost" not in text(asked())
    builders.lot_in(builders.place("drum-6", "drum"), 50_000)
    prices.set_bulk(price_per_pound=Decimal("1.5000"), valid_from=date(2020, 1, 1))

    assert "Some honey is valued at its cost and some at the drum price" in text(asked())


def test_a_class_alone_has_both_ends(light, dark):
    page = asked(colour_class="Light Amber")

    # Light amber begins at 50.1 mm; the dark honey alone is the cheapest and is light amber too.
    assert poured(page) == {"drum-2": 100_000}
    assert poured(asked(colour_class="Extra Light Amber")) == {"drum-1": 25_000, "drum-2": 75_000}


def test_a_class_and_millimetres_are_not_both_taken(light):
    page = asked(colour_class="White", colour_max="20")

    assert page.context["search"] is None
    assert page.context["form"].errors["colour_max"] == [
        "Choose a colour class or enter millimetres, not both."
    ]


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"colour_min": "30", "colour_max": "20"}, "colour_max"),
        ({"colour_min": "30", "colour_max": "30.5"}, "colour_max"),
        ({"moisture_min": "17", "moisture_max": "17.05"}, "moisture_max"),
        ({"weight_max": "50", "weight_max_unit": "kg"}, "weight_max"),
        ({"weight": "0"}, "weight"),
        ({"weight": ""}, "weight"),
        ({"colour_max": "200"}, "colour_max"),
        ({"vessels_max": "0"}, "vessels_max"),
        ({"target": "no-such"}, "target"),
        ({"draws": "x"}, "draws"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(light, fields, field):
    page = asked(**fields)

    assert page.status_code == 200
    assert field in page.context["form"].errors
    assert page.context["search"] is None


def test_limits_between_which_nobody_can_measure_are_refused(light):
    assert asked(colour_min="20", colour_max="21").context["form"].errors == {}


def test_what_stands_in_the_way_is_said_with_an_address_that_works(light, dark):
    page = asked(colour_max="10", moisture_max="18.6")

    said = text(page)
    assert "This blend can't be reached." in said
    assert (
        "Colour: you asked for at most 10 mm. With everything else as it is, 20 mm can be reached."
    ) in said
    (way,) = page.context["ways"]
    eased = signed_in("owner").get(f"{URL}?{way.query}")
    assert poured(eased) == {"drum-1": 100_000}


def test_too_little_honey_is_said_with_what_there_is(light):
    page = asked(weight="900")

    (way,) = page.context["ways"]
    assert "Weight: you asked for at least 1,984 lb." in way.sentence
    assert "441 lb can be reached." in way.sentence
    assert poured(signed_in("owner").get(f"{URL}?{way.query}")) == {"drum-1": 200_000}


def test_several_limits_that_stand_in_the_way_together_are_said_so(light, dark):
    said = text(asked(colour_max="10", moisture_max="16"))
    assert "No single limit is the reason: several stand in the way together." in said
    assert "the colour can be from 20 to 60 mm." in said
    assert "the moisture can be from 17 to 19 %." in said

    said = text(asked(weight="900", colour_max="10", moisture_max="16"))
    assert "Even if colour and moisture do not matter: Weight: you asked for" in said


def test_honey_that_may_not_be_used_is_left_out_and_named(light, dark, tank):
    held, theirs = builders.place("drum-3", "drum"), builders.place("drum-4", "drum")
    lot = builders.lot_in(held, 50_000, cost_cents=1)
    holds.hold(lots=[lot], reason="Smells of smoke", held_by=builders.person())
    others_room.bring(others_room.hanna(), theirs)
    pale = builders.place("drum-5", "drum")
    builders.lot_in(pale, 50_000, colour_mm=None, cost_cents=1)
    unvalued = builders.place("drum-6", "drum")
    builders.lot_in(unvalued, 50_000)
    promised = builders.place("drum-7", "drum")
    lot = builders.lot_in(promised, 50_000, cost_cents=1)
    reserve(promised, lot, 50_000)

    page = asked(colour_max="30")

    assert poured(page) == {"drum-1": 75_000, "drum-2": 25_000}
    because = {each.place.code: each.because for each in page.context["question"].left_out}
    assert because == {
        "drum-3": LeftOutBecause.ON_HOLD,
        "drum-4": LeftOutBecause.OF_ANOTHER,
        "drum-5": LeftOutBecause.NO_COLOUR,
        "drum-6": LeftOutBecause.NO_VALUE,
        "drum-7": LeftOutBecause.PROMISED,
    }
    said = text(page)
    assert "The colour is not known. Measure it first: drum-5 (lot" in said
    assert "On hold: drum-3 (lot" in said


def reserve(place, lot, grams: int) -> None:
    item = ledger.Item.objects.honey()
    ledger.reserve([ledger.ReservedStock(item, place, lot, grams)])


def test_honey_of_unknown_colour_is_used_where_no_colour_is_asked_for(light):
    cheap = builders.place("drum-5", "drum")
    builders.lot_in(cheap, 50_000, colour_mm=None, cost_cents=1)

    page = asked()

    assert poured(page) == {"drum-5": 50_000, "drum-1": 50_000}
    assert page.context["found"].outcome.colour_mm is None


def test_a_lot_is_worth_its_cost_or_else_the_drum_price_or_what_is_entered(light):
    other = builders.place("drum-6", "drum")
    builders.lot_in(other, 50_000)
    prices.set_bulk(price_per_pound=Decimal("1.5000"), valid_from=date(2020, 1, 1))

    worth = {
        vessel.place.code: (vessel.per_pound, vessel.value_from)
        for vessel in blend_books.read(timezone.localdate()).vessels
    }
    # 0.2 cents a gram are 90.72 cents a pound.
    assert worth == {
        "drum-1": (Decimal("0.9072"), ValueFrom.COST),
        "drum-6": (Decimal("1.5000"), ValueFrom.DRUM_PRICE),
    }
    assert poured(asked()) == {"drum-1": 100_000}
    entered = asked(**{f"value-{other.pk}": "0.10"})
    assert poured(entered) == {"drum-1": 50_000, "drum-6": 50_000}
    assert "entered here" in text(entered)


def test_a_vessel_is_kept_out_used_up_or_used_at_least_so_much(light, dark):
    assert poured(asked(**{f"use-{dark.pk}": "not"})) == {"drum-1": 100_000}
    assert poured(asked(weight="300", **{f"use-{light.pk}": "all"})) == {
        "drum-1": 200_000,
        "drum-2": 100_000,
    }
    least = {f"least-{light.pk}": "30", f"least-{light.pk}_unit": "kg"}
    assert poured(asked(**least)) == {"drum-1": 30_000, "drum-2": 70_000}
    too_much = asked(**{f"least-{light.pk}": "300", f"least-{light.pk}_unit": "kg"})
    assert list(too_much.context["form"].errors) == [f"least-{light.pk}"]


def test_drums_are_used_whole_where_that_is_wanted(light, dark, tank):
    builders.lot_in(tank, 100_000, cost_cents=100_000)

    page = asked(weight="250", draws="whole")

    # 200 kg for 200 and 200 kg for 400; 50 kg of the tank would be 500.
    assert poured(page) == {"drum-1": 200_000, "drum-2": 200_000}
    reserve(light, light.balances.get(quantity__gt=0).lot, 1000)
    page = asked(weight="250", draws="whole")
    assert poured(page) == {"drum-2": 200_000, "tank-1": 50_000}
    assert "Not whole any more" in text(page)


def test_no_more_vessels_than_wanted_are_poured_from(light, dark):
    assert poured(asked(colour_max="30", vessels_max="1")) == {"drum-1": 100_000}


def test_what_is_in_the_target_counts_and_it_must_have_room(light, dark):
    pail = builders.place("pail-1", "pail", name="Pail", capacity_litres=Decimal(30))
    honey.transfer(source=dark, target=pail, grams=10_000, recorded_by=builders.person(), key="p")

    page = asked(weight="20", colour_max="40", target="pail-1")
    assert poured(page) == {"drum-1": 10_000}
    assert "In Pail already" in text(page)

    # 30 L of honey are about 42 kg.
    page = asked(weight="60", target="pail-1")
    said = text(page)
    assert page.context["found"] is None
    assert "Weight: you asked for at least 132 lb." in said
    assert "Choose a larger vessel." in said
    assert [bool(way.query) for way in page.context["ways"]] == [True, False]


def test_honey_is_not_planned_into_a_vessel_that_is_promised_or_of_another(light, dark):
    reserve(dark, dark.balances.get(quantity__gt=0).lot, 1000)
    assert "Dark drum is reserved for an order" in text(asked(target="drum-2"))

    theirs = builders.place("drum-4", "drum", name="Their drum")
    others_room.bring(others_room.hanna(), theirs)
    assert "Their drum has honey that can't be mixed" in text(asked(target="drum-4"))


def test_honey_of_planned_runs_and_of_drafts_is_set_aside(light, tank):
    runs.plan(
        product=builders.product(),
        source=light,
        target=builders.place("shelf", "shelf"),
        pieces=100,
        planned_for=builders.today(),
        planned_by=builders.person(),
        key="run",
    )
    save(light, tank)

    page = asked()

    # 100 jars of a pound, each 454 g, and the draft's 100 kg.
    (vessel,) = page.context["books"].vessels
    assert vessel.free_grams == 200_000 - 45_400 - 100_000
    said = text(page)
    assert "1 bottling run is planned. Its honey is set aside." in said
    assert "1 blend plan is a draft. Its honey is set aside." in said


def save(*_places, key="save", source=None, **fields):
    wanted = {"weight": "100", "weight_unit": "kg", "draws": "parts", "target": "tank-1", **fields}
    client = signed_in("owner")
    shown = client.get(URL, wanted)
    sources = source or [
        f"{line.vessel.place.pk}-{line.grams}" for line in shown.context["found"].lines
    ]
    return client.post(
        f"{URL}?{urlencode(wanted)}",
        {"key": key, "source": sources, "buyer": "Corner Packer", "note": ""},
    )


def test_one_click_keeps_the_blend_as_a_draft(light, dark, tank):
    done = save(colour_max="30", moisture_max="18.6")

    plan = BlendPlan.objects.get()
    assert done["Location"] == f"/honey/blend-plans/{plan.number}/"
    assert {line.place: line.grams for line in plan.lines.all()} == {light: 75_000, dark: 25_000}
    assert (plan.target, plan.buyer, plan.colour_mm_max) == (tank, "Corner Packer", Decimal(30))
    assert not Posting.objects.filter(kind="blend").exists()

    again = save(colour_max="30", moisture_max="18.6", source=[f"{light.pk}-1"])
    assert again["Location"] == done["Location"]
    assert BlendPlan.objects.count() == 1


@pytest.mark.parametrize("source", [["x"], ["1-2-3"], ["999999-5"], ["1-"], []])
def test_weights_that_cannot_be_read_are_refused(light, tank, source):
    with books_unchanged():
        answer = save(source=source or [""])

    assert answer.status_code == 422
    assert not BlendPlan.objects.exists()


def test_honey_that_is_gone_meanwhile_is_said_and_no_draft_is_kept(light, dark, tank):
    answer = save(source=[f"{light.pk}-200001"])

    assert answer.status_code == 422
    assert "Not enough honey" in text(answer)
    assert not BlendPlan.objects.exists()


def test_a_draft_needs_its_vessel(light, tank):
    answer = save(target="")

    assert answer.status_code == 422
    assert "Choose the vessel to blend into, then save the plan." in text(answer)


def test_the_planner_is_for_those_who_move_honey_and_see_values(light):
    for role, status in (("owner", 200), ("office", 200), ("bottling", 403), ("stand", 403)):
        assert signed_in(role).get(URL).status_code == status


def test_a_house_without_honey_is_told_so(tank):
    page = asked()

    assert page.status_code == 200
    assert "No honey is left that could be blended." in text(page)


def test_the_books_are_read_with_as_many_questions_for_many_vessels_as_for_few(light):
    def questions() -> int:
        with CaptureQueriesContext(connection) as told:
            blend_books.read(timezone.localdate())
        return len(told)

    once = questions()
    for number in range(3, 8):
        builders.lot_in(builders.place(f"drum-{number}", "drum"), 1000)
    assert questions() == once
