"""Countries of origin: carried by weight through blends, and said on labels.

Directive 2001/110/EC as changed by (EU) 2024/1438, article 2(4), from memory: every country in
descending order with its percentage. Whole percents by the largest remainder are the way of this
house. All expected figures are worked out by hand beside each case.
"""

from datetime import date
from fractions import Fraction

import pytest
from django.urls import reverse

from inventory.shared.models import House
from inventory.shared.services import house as house_details
from inventory.stock import origin as rules
from inventory.stock.models import Balance, Place
from inventory.stock.queries import origin
from inventory.stock.services import honey
from tests import builders
from tests.inventory import bottling_room, pages


@pytest.mark.parametrize(
    ("shares", "percents"),
    [
        # 60.0 and 40.0
        (["3/5", "2/5"], [60, 40]),
        # 33.33… each: cut to 33, one is missing, and the first of equals gets it
        (["1/3", "1/3", "1/3"], [34, 33, 33]),
        # 45.5, 33.3, 21.2: cut to 45 + 33 + 21 = 99; 45.5 was cut most
        (["455/1000", "333/1000", "212/1000"], [46, 33, 21]),
        # 50.0, 37.5, 12.5: cut to 99; of the two that were cut by a half the larger gets it
        (["1/2", "3/8", "1/8"], [50, 38, 12]),
        # 99.6 and 0.4
        (["249/250", "1/250"], [100, 0]),
        (["1"], [100]),
    ],
)
def test_whole_percents_add_up_to_a_hundred(shares, percents):
    found = rules.whole_percents([Fraction(share) for share in shares])

    assert found == percents
    assert sum(found) == 100


def told(*shares: tuple[str, str]) -> list[rules.CountryShare]:
    exact = [Fraction(share) for _country, share in shares]
    return [
        rules.CountryShare(country, "", share, percent)
        for (country, _share), share, percent in zip(
            shares, exact, rules.whole_percents(exact), strict=True
        )
    ]


STATED = House(origin_rule=House.OriginRule.PERCENTAGES)
FREE = House(origin_rule=House.OriginRule.NONE)


@pytest.mark.parametrize(
    ("shares", "stated", "free"),
    [
        (
            [("ES", "3/5"), ("AR", "2/5")],
            ["Blend of honeys from: Spain 60 %, Argentina 40 %"],
            ["Product of Spain, Argentina"],
        ),
        ([("ES", "1")], ["Product of Spain"], ["Product of Spain"]),
        # A share that is not known is shown, and is no country's.
        (
            [("ES", "3/5"), ("", "2/5")],
            ["Blend of honeys from: Spain 60 %, unknown 40 %"],
            [],
        ),
        ([("", "1")], [], []),
        (
            [("ES", "249/250"), ("AR", "1/250")],
            ["Blend of honeys from: Spain 100 %, Argentina under 1 %"],
            ["Product of Spain, Argentina"],
        ),
    ],
)
def test_a_label_states_the_origin_by_the_rule_of_the_house(shares, stated, free):
    assert rules.label_lines(told(*shares), STATED) == stated
    assert rules.label_lines(told(*shares), FREE) == free


def pour(source: Place, target: Place, grams: int | None = None):
    honey.transfer(
        source=source,
        target=target,
        grams=grams,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    return Balance.objects.in_vessel(target).lot


@pytest.mark.django_db
def test_shares_go_through_a_blend_of_blends_by_weight():
    # 300 kg ES + 100 kg AR: 75 and 25 %. 200 kg of that on 200 kg of our own: 50, 37.5, 12.5 %.
    house = house_details.change(
        name="Hillside", origin_country="US", origin_rule=House.OriginRule.PERCENTAGES
    )
    first, second, tank = (builders.place(f"tank-{number}") for number in (1, 2, 3))
    builders.bought_lot(first, 300_000, country="ES")
    builders.bought_lot(second, 100_000, country="AR", supplier="Pampa Apiaries")
    pour(second, first)
    builders.lot_in(tank, 200_000)

    blend = pour(first, tank, 200_000)

    found = [(row.country, row.share, row.percent) for row in origin.by_country(blend, house)]
    assert found == [
        ("US", Fraction(1, 2), 50),
        ("ES", Fraction(3, 8), 38),
        ("AR", Fraction(1, 8), 12),
    ]
    assert origin.origin_lines(blend, house) == [
        "Blend of honeys from: United States 50 %, Spain 38 %, Argentina 12 %"
    ]


@pytest.mark.django_db
def test_bought_honey_of_an_unknown_country_is_never_taken_for_ours():
    house = house_details.change(name="Hillside", origin_country="US", origin_region="Vermont")
    own = builders.lot_in(builders.place("tank-1"), 100_000)
    bought = builders.bought_lot(builders.place("tank-2"), 100_000, country="")

    assert origin.origin_lines(own, house) == ["Product of Vermont, United States"]
    assert origin.origin_lines(bought, house) == []
    blend = pour(Place.objects.get(code="tank-2"), Place.objects.get(code="tank-1"))
    assert [(row.name, row.percent) for row in origin.by_country(blend, house)] == [
        ("United States", 50),
        ("unknown", 50),
    ]
    assert origin.origin_lines(blend, house) == []


@pytest.mark.django_db
def test_a_country_that_is_learned_later_is_entered_with_the_lot():
    house = house_details.change(name="Hillside", origin_rule=House.OriginRule.PERCENTAGES)
    first, second = builders.place("tank-1"), builders.place("tank-2")
    builders.bought_lot(first, 300_000, country="ES")
    bought = builders.bought_lot(second, 100_000, country="", supplier="Pampa Apiaries")
    blend = pour(second, first)
    client = pages.signed_in()

    answer = client.post(
        reverse("inventory:lot_origin", args=[bought.code]),
        {"key": "one", "country": "AR", "region": "Pampa"},
    )

    assert answer.url == reverse("inventory:lot_detail", args=[bought.code])
    assert "Argentina Pampa 100.00 %" in pages.text(client.get(answer.url))
    assert origin.origin_lines(blend, house) == ["Blend of honeys from: Spain 75 %, Argentina 25 %"]
    refused = client.post(
        reverse("inventory:lot_origin", args=[blend.code]), {"key": "two", "country": "AR"}
    )
    assert pages.errors(refused) == {
        "__all__": [
            f"Where lot {blend.code} is from follows from the lots it was made of. Enter the "
            "country of those lots instead."
        ]
    }


@pytest.mark.django_db
def test_labels_and_lot_page_carry_the_origin_of_a_packed_blend():
    # 120 kg of our own and 80 kg of Spain in the tank: 60 and 40 %.
    house_details.change(
        name="Hillside", origin_country="US", origin_rule=House.OriginRule.PERCENTAGES
    )
    room = bottling_room.set_up(120_000)
    drum = builders.place("drum", Place.Kind.DRUM)
    builders.bought_lot(drum, 80_000, country="ES", received_on=date(2026, 9, 1))
    pour(drum, room.tank)
    run = bottling_room.recorded(room)
    client = pages.signed_in()

    labels = pages.text(client.get(reverse("inventory:run_labels", args=[run.number])))
    lot = pages.text(client.get(reverse("inventory:lot_detail", args=[run.packed_lot.code])))

    stated = "Blend of honeys from: United States 60 %, Spain 40 %"
    assert stated in labels
    assert f"On the label: {stated}" in lot


@pytest.mark.django_db
def test_the_country_and_the_rule_are_set_in_the_business_details():
    client = pages.signed_in("office")
    form = client.get(reverse("billing:settings")).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields}

    answer = client.post(
        reverse("billing:settings"),
        {**sent, "name": "Hillside", "origin_country": "AR", "origin_rule": "percentages"},
    )

    assert answer.status_code == 302
    house = House.current()
    assert (house.origin_country, house.origin_rule) == ("AR", "percentages")
