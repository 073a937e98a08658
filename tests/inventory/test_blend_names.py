"""What a blend is called: its sources by share, its season by origin, or a name of its own."""

from decimal import Decimal

import pytest

from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.stock.models import Lot, LotCorrection, ProductionSettings
from inventory.stock.queries import honey as queries
from inventory.stock.services import lots
from tests import builders


@pytest.fixture
def tank(db):
    return builders.place("tank-1", name="Tank 1")


def newest_blend() -> Lot:
    return Lot.objects.filter(kind=Lot.Kind.BLEND).latest("pk")


# The heel is named from 5 % of all the honey on.
@pytest.mark.parametrize(
    ("heel", "named"),
    [(49_999, "Clover"), (50_000, "Clover, Buckwheat"), (50_001, "Clover, Buckwheat")],
)
def test_a_heel_is_named_from_its_threshold_on(tank, heel, named):
    builders.lot_in(tank, heel, floral_source="Buckwheat")
    builders.lot_in(tank, 1_000_000 - heel, floral_source="Clover")

    assert newest_blend().floral_source == named


def test_a_heel_does_not_give_its_season_or_yard_to_a_new_one(tank):
    builders.lot_in(tank, 20_000, season=2025, floral_source="Buckwheat")
    builders.lot_in(tank, 980_000, season=2026, floral_source="Clover")

    blend = newest_blend()

    assert (blend.season, blend.floral_source, blend.code) == (2026, "Clover", "26-B01")


def test_the_season_is_that_of_most_of_the_honey_not_the_newest(tank):
    builders.lot_in(tank, 900_000, season=2025)
    builders.lot_in(tank, 100_000, season=2026)

    blend = newest_blend()

    assert (blend.season, blend.code) == (2025, "25-B01")


def test_of_two_seasons_alike_the_newer_counts(tank):
    builders.lot_in(tank, 500_000, season=2026)
    builders.lot_in(tank, 500_000, season=2025)

    assert newest_blend().season == 2026


def test_sources_come_in_the_order_of_their_shares_through_several_blends(tank):
    """10 % aster; then 40 % clover and 50 % basswood of the whole."""
    builders.lot_in(tank, 100_000, floral_source="Aster")
    builders.lot_in(tank, 400_000, floral_source="Clover")
    builders.lot_in(tank, 500_000, floral_source="Basswood")

    blend = newest_blend()

    assert blend.floral_source == "Basswood, Clover, Aster"
    assert queries.source_shares(blend) == [
        ("Basswood", Decimal(50)),
        ("Clover", Decimal(40)),
        ("Aster", Decimal(10)),
    ]


def test_the_house_sets_from_which_share_on_a_source_is_named(tank):
    ProductionSettings(named_source_percent=Decimal(20)).save()
    builders.lot_in(tank, 150_000, floral_source="Aster")
    builders.lot_in(tank, 850_000, floral_source="Clover")

    assert newest_blend().floral_source == "Clover"


def test_where_every_source_is_small_the_largest_is_named(tank):
    ProductionSettings(named_source_percent=Decimal(50)).save()
    for source, grams in (("Aster", 340_000), ("Clover", 330_000), ("Basswood", 330_000)):
        builders.lot_in(tank, grams, floral_source=source)

    assert newest_blend().floral_source == "Aster"


def test_a_name_of_the_house_stays_and_counts_as_one_source(tank, owner):
    builders.lot_in(tank, 300_000, floral_source="Aster")
    builders.lot_in(tank, 300_000, floral_source="Clover")
    blend = newest_blend()
    before = blend.floral_source

    lots.name_blend(lot=blend, floral_source=" House blend ", named_by=owner)
    builders.lot_in(tank, 400_000, floral_source="Basswood")

    blend.refresh_from_db()
    assert (blend.floral_source, blend.is_named) == ("House blend", True)
    assert newest_blend().floral_source == "House blend, Basswood"
    kept = LotCorrection.objects.get(lot=blend)
    assert (kept.before, kept.after) == (
        {"floral_source": before},
        {"floral_source": "House blend"},
    )


def test_only_a_blend_is_named_and_not_by_nothing(tank, owner):
    first = builders.lot_in(tank, 300_000)
    builders.lot_in(tank, 300_000, floral_source="Aster")

    with pytest.raises(NotAllowedNow, match=r"Lot 26-E01 is no blend\."):
        lots.name_blend(lot=first, floral_source="X", named_by=owner)
    with pytest.raises(BadValue, match=r"Enter the name of the blend\."):
        lots.name_blend(lot=newest_blend(), floral_source="  ", named_by=owner)
