"""The certificate of a lot says where its honey came from: extracted here, bought, or another's."""

import re

import pytest
from django.template.loader import render_to_string

from inventory.shared.services import house as house_details
from inventory.stock import papers
from inventory.stock.models import Balance, Lot
from tests import builders
from tests.inventory import others_room
from tests.inventory.others_room import bring

pytestmark = pytest.mark.django_db


def paper(lot: Lot) -> str:
    html = render_to_string(papers.CERTIFICATE, papers.certificate_context(lot))
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def test_a_bought_lot_was_received_and_is_of_its_country():
    lot = builders.bought_lot(builders.place("tank"), country="ES", region="Galicia")

    words = paper(lot)

    assert "Country of origin: Galicia, Spain Bought, received on Sep 1, 2026" in words
    assert "Extracted on" not in words
    # A packer who reads it need not know from whom the house buys.
    assert "Olmo Honey" not in words


def test_a_blend_tells_what_was_extracted_from_what_was_bought():
    """100 kg of the house's own with 300 kg bought: 25 % and 75 %."""
    house_details.change(name="Hillside", origin_country="US")
    tank = builders.place("tank")
    own = builders.lot_in(tank, 100_000)
    Lot.objects.filter(pk=own.pk).update(yard="Hill yard")
    builders.bought_lot(tank, 300_000, country="ES")

    words = paper(Balance.objects.in_vessel(tank).lot)

    assert "Country of origin: Spain 75 %; United States 25 %" in words
    assert "Bought, received on Sep 1, 2026: 26-P01 (75 %) Extracted on Jul 20" in words
    assert "Extracted on Jul 20, 2026: 26-E01 (25 %) Yard or area: Hill yard" in words


def test_what_is_stored_for_another_says_whose_it_is():
    lot = bring(others_room.hanna(), builders.place("tank"))

    words = paper(lot)

    assert "Belongs to Hanna Birch" in words
    assert "Country of origin: not recorded Received on Aug 10, 2026" in words


def test_the_moisture_that_came_with_a_bought_lot_is_told_once_and_as_measured():
    lot = builders.bought_lot(builders.place("tank"))

    words = paper(lot)

    assert words.count("Moisture 17 %") == 1
    assert "worked out" not in words
