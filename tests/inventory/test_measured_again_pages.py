"""The pages on which honey is measured again, a drum weighed again, and a blend named."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.stock.models import Balance, Lot, Place
from inventory.stock.services import drums, honey
from tests import builders
from tests.inventory.pages import errors, signed_in, text


@pytest.fixture
def tank(db):
    return builders.place("tank-1", name="Tank 1")


@pytest.fixture
def lot(tank):
    return builders.lot_in(tank, moisture_percent="18.8")


def test_the_honey_in_a_tank_is_measured_again_on_its_page(tank, lot, owner):
    other = builders.place("tote-1", "tote", name="Tote 1")
    honey.transfer(source=tank, target=other, grams=10_000, recorded_by=owner, key="some")
    bottler, address = signed_in("bottling"), reverse("inventory:measure_again", args=["tank-1"])
    page = text(bottler.get(address))
    form = {
        "measured_on": builders.today().isoformat(),
        "brix": "80.7",
        "celsius": "92",
        "celsius_unit": "F",
        "measured_by": "Bram",
        "key": "page",
    }

    answer = bottler.post(address, form, follow=True)

    assert (
        "Lot 26-E01 is in Tote 1 too, and gets the new moisture and colour there as well." in page
    )
    assert "81.3 °Brix is honey of 17.0 %, not of 18.7 %" in page
    lot.refresh_from_db()
    # 80.7 °Brix is an index of 1.4926 (SPS-3), honey of 17.6 % (Book of Honey, chapter 4).
    assert lot.moisture_percent == pytest.approx(Decimal("17.6"), abs=Decimal("0.1"))
    said = text(answer)
    assert "Measured in Tank 1: Moisture 17." in said
    assert "Temperature 92 °F (33.3 °C)," in said
    assert "This was recorded already." in text(bottler.post(address, form, follow=True))


def test_what_cannot_be_is_told_at_its_field(tank, lot):
    bottler, address = signed_in("bottling"), reverse("inventory:measure_again", args=["tank-1"])
    today = builders.today().isoformat()

    empty = bottler.post(address, {"measured_on": today, "key": "a"})
    wrong = bottler.post(address, {"measured_on": today, "brix": "20", "key": "b"})

    assert errors(empty) == {
        "moisture": ["Enter the moisture, the colour or the temperature of the honey."]
    }
    assert list(errors(wrong)) == ["brix"]


def test_the_page_of_a_lot_shows_which_figure_counts_and_what_it_came_with(tank, lot):
    bottler = signed_in("bottling")
    bottler.post(
        reverse("inventory:measure_again", args=["tank-1"]),
        {"measured_on": builders.today().isoformat(), "moisture": "17.6", "key": "page"},
    )

    page = text(bottler.get(reverse("inventory:lot_detail", args=[lot.code])))

    assert "Moisture 18.8 % by moisture, at best U.S. Grade C" in page
    assert "Moisture 17.6 % counts now by moisture, at best U.S. Grade A" in page


def test_a_blend_is_named_on_its_page(tank, lot):
    builders.lot_in(tank, floral_source="Basswood")
    blend = Lot.objects.get(kind=Lot.Kind.BLEND)
    bottler, address = signed_in("bottling"), reverse("inventory:name_blend", args=[blend.code])
    assert "Name this blend" in bottler.get(reverse("inventory:lot_detail", args=[blend.code])).text
    assert "Clover 50.0 %" in text(bottler.get(address))

    answer = bottler.post(address, {"floral_source": "House blend", "key": "k"}, follow=True)

    assert f"Lot {blend.code} is now called House blend." in text(answer)
    assert errors(bottler.post(address, {"floral_source": "", "key": "l"})) == {
        "floral_source": ["Enter the name of the blend."]
    }
    assert bottler.get(reverse("inventory:name_blend", args=[lot.code])).status_code == 404


@pytest.fixture
def drum(tank, lot, owner):
    drum = builders.place(
        *("d-014", Place.Kind.DRUM),
        name="Drum D-014",
        tare_grams=18_000,
        capacity_litres=Decimal(212),
    )
    drums.fill(tank=tank, drum=drum, gross_grams=218_000, recorded_by=owner, key="fill")
    return drum


def test_a_drum_is_weighed_again_on_its_page_and_can_be_undone(drum):
    bottler, address = signed_in("bottling"), reverse("inventory:weigh_again", args=["d-014"])
    page = text(bottler.get(address))
    form = {
        "gross": "217",
        "gross_unit": "kg",
        "weighed_on": builders.today().isoformat(),
        "key": "weigh",
    }

    answer = bottler.post(address, form, follow=True)

    assert "By the books, Drum D-014 has 440.9 lb of lot 26-E01." in page
    assert "With its empty weight of 39.7 lb it should weigh 480.6 lb." in page
    assert "Drum D-014 has 2.2 lb less than the books said." in text(answer)
    assert Balance.objects.in_vessel(drum).quantity == 199_000
    assert errors(bottler.post(address, {**form, "gross": "10", "key": "x"})) == {
        "gross": [
            "The full drum (22.0 lb) must weigh more than the empty drum (39.7 lb). Check both "
            "weights."
        ]
    }


def test_a_drum_is_filled_by_volume_and_by_depth_on_the_page(tank, drum):
    bottler, address = signed_in("bottling"), reverse("inventory:drum_fill")
    form = {"tank": "tank-1", "drum": "d-014", "celsius": "20", "celsius_unit": "C"}
    before = Balance.objects.in_vessel(drum).quantity

    missing = bottler.post(address, {**form, "measured_by": "volume", "key": "a"})
    bottler.post(
        address,
        {**form, "measured_by": "volume", "volume": "10", "volume_unit": "L", "key": "b"},
    )
    by_volume = Balance.objects.in_vessel(drum).quantity
    bottler.post(
        address, {**form, "measured_by": "depth", "depth": "700", "depth_unit": "mm", "key": "c"}
    )
    line = bottler.get(
        reverse("inventory:convert_drum"),
        {**form, "measured_by": "volume", "volume": "10", "volume_unit": "L"},
    ).text

    assert errors(missing) == {"volume": ["Enter the volume."]}
    # White (1967): 1.4116 at 18.8 %, × 0.9982: 1.409 kg/L.
    assert by_volume - before == pytest.approx(14_090, abs=60)
    # π/4 × 5.72² × 7.00 = 179.9 L: 253.5 kg.
    assert Balance.objects.in_vessel(drum).quantity == pytest.approx(253_500, abs=700)
    assert "Weight worked out from 2.6 gal (10.0 L) at 18.8 % moisture" in line


@pytest.mark.parametrize("name", ["measure_again", "weigh_again"])
def test_only_those_who_move_honey_measure_it(drum, name):
    address = reverse(f"inventory:{name}", args=["d-014"])

    assert signed_in("stand").get(address).status_code == 403
    assert signed_in("stand").post(address, {}).status_code == 403
