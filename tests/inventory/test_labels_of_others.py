"""Whose honey it is, and where it is from, on labels and on a jar's own page."""

import pytest
from django.template.loader import render_to_string
from django.urls import reverse

from inventory.bottling.models import JarPage
from inventory.bottling.queries import jar_pages
from inventory.bottling.queries import labels as label_queries
from inventory.bottling.rules import labels
from inventory.shared.services import house as house_details
from inventory.stock.models import Lot, Place
from inventory.stock.queries import drum_labels
from inventory.stock.services import drums
from tests import builders
from tests.inventory import bottling_room, others_room, pages
from tests.inventory.others_room import act, bring, packed

pytestmark = pytest.mark.django_db


def said(run) -> dict[str, str]:
    return {text.name: text.text for text in labels.texts(label_queries.facts_of(run))}


def test_jars_packed_for_another_name_them_above_the_house():
    house_details.change(name="Hillside")
    room, theirs = packed(others_room.hanna())
    ours = bottling_room.recorded(room)

    assert said(theirs.run)["house"] == "Packed for Hanna Birch by Hillside"
    assert said(ours)["house"] == "Hillside"


def test_the_label_of_a_drum_says_whose_honey_it_is():
    house_details.change(name="Hillside")
    theirs, ours = builders.place("tank-1"), builders.place("tank-2")
    bring(others_room.hanna(), theirs)
    builders.lot_in(ours)
    for code, tank in (("D-1", theirs), ("D-2", ours)):
        drum = builders.place(code, Place.Kind.DRUM, tare_grams=18_000)
        act(drums.fill, tank=tank, drum=drum, gross_grams=78_000)

    def paper(code: str) -> str:
        found = drum_labels.labels([code], address_of=lambda place: "")
        html = render_to_string("documents/drum_labels.html", {"labels": found})
        return " ".join(html.split())

    assert "Honey of Hanna Birch</b><br> Kept by" in paper("D-1")
    assert "Honey of" not in paper("D-2")


@pytest.mark.parametrize(("rule", "warns"), [("percentages", True), ("none", False)])
def test_an_unknown_country_is_told_on_the_plan_and_the_labels_where_the_rule_wants_it(rule, warns):
    house_details.change(name="Hillside", origin_country="US", origin_rule=rule)
    room = bottling_room.set_up(100_000)
    unknown = builders.bought_lot(room.tank, 100_000, country="")
    run = bottling_room.plan(room)
    client = pages.signed_in()
    told = f'href="{reverse("inventory:lot_detail", args=[unknown.code, Lot.BULK])}"'

    preview = client.get(
        reverse("inventory:run_plan_preview"),
        {"product": room.product.pk, "source": room.tank.code, "pieces": "24"},
    )
    page = client.get(reverse("inventory:run_labels", args=[run.number]))
    printed = client.get(reverse("inventory:run_labels_pdf", args=[run.number]))

    assert (told in preview.content.decode()) == warns
    assert (told in page.content.decode()) == warns
    assert printed["Content-Type"] == "application/pdf"


def jar_facts(run) -> dict[str, str]:
    page = JarPage(is_on=True, region="Harrow Valley", dates="month")
    return {fact.name: fact.text for fact in jar_pages.facts_of(run.packed_lot, page).facts}


def test_a_jar_of_own_honey_says_when_it_was_extracted_and_where_as_typed():
    house_details.change(name="Hillside", origin_country="US")
    run = bottling_room.recorded(bottling_room.set_up())

    facts = jar_facts(run)

    assert (facts["Extracted"], facts["Region"]) == ("July 2026", "Harrow Valley")
    assert facts["Origin"] == "Product of United States"


def test_a_jar_with_bought_honey_has_no_day_of_extraction_and_its_own_origin():
    """100 kg of the house's own with 300 kg bought: 25 % and 75 %."""
    house_details.change(name="Hillside", origin_country="US", origin_rule="percentages")
    room = bottling_room.set_up(100_000)
    builders.bought_lot(room.tank, 300_000, country="ES", region="Galicia")

    facts = jar_facts(bottling_room.recorded(room))

    assert facts["Origin"] == "Blend of honeys from: Spain 75 %, United States 25 %"
    assert facts.keys().isdisjoint({"Extracted", "Region"})


def test_a_jar_says_the_region_of_its_lot_instead_of_the_houses():
    house_details.change(name="Hillside", origin_country="US")
    room = bottling_room.set_up(100_000)
    tank = builders.place("tank-2")
    builders.bought_lot(tank, 300_000, country="ES", region="Galicia")

    facts = jar_facts(bottling_room.record(bottling_room.plan(room, source=tank)))

    assert facts["Origin"] == "Product of Galicia, Spain"
    assert "Region" not in facts
