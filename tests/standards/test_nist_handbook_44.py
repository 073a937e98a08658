"""NIST Handbook 44, appendix C, General Tables of Units of Measurement: exact factors. Read.

1 lb (avoirdupois) = 453.59237 g; 1 oz = 28.349523125 g; 1 US gallon = 231 in³ = 3.785411784 L;
1 qt = 0.946352946 L; 1 fl oz = 29.5735295625 mL. Also held against the definitions of pint.
"""

from decimal import Decimal

import pytest

from apiary_sales.orders.rules import printed_weights
from inventory.physics import density, units
from inventory.shared.models import House

WEIGHTS = [
    ("1", "g", "1"),
    ("1", "kg", "1000"),
    ("1", "lb", "453.59237"),
    ("1", "oz", "28.349523125"),
    ("16", "oz", "453.59237"),
    ("12", "lb", "5443.10844"),
    ("0.5", "lb", "226.796185"),
    ("0", "lb", "0"),
]
VOLUMES = [
    ("1", "L", "1"),
    ("1000", "mL", "1"),
    ("1", "gal", "3.785411784"),
    ("1", "qt", "0.946352946"),
    ("1", "fl_oz", "0.0295735295625"),
    ("128", "fl_oz", "3.785411784"),
    ("55", "gal", "208.19764812"),
]


@pytest.mark.parametrize(("amount", "unit", "grams"), WEIGHTS)
def test_a_weight_in_grams_is_exact(amount, unit, grams):
    assert units.grams_from(Decimal(amount), unit) == Decimal(grams)


@pytest.mark.parametrize(("amount", "unit", "litres"), VOLUMES)
def test_a_volume_in_litres_is_exact(amount, unit, litres):
    assert units.litres_from(Decimal(amount), unit) == Decimal(litres)


def test_a_gallon_is_231_cubic_inches():
    cubic_inch_litres = Decimal("2.54") ** 3 / 1000

    assert Decimal(231) * cubic_inch_litres == units.GALLON_LITRES


@pytest.mark.parametrize("unit", units.GRAMS)
def test_our_weights_are_those_of_pint(unit):
    ours = float(units.grams_from(Decimal(1), unit))

    assert units.quantity(1, unit).to("g").magnitude == pytest.approx(ours, rel=1e-15)


@pytest.mark.parametrize("unit", units.LITRES)
def test_our_volumes_are_those_of_pint(unit):
    ours = float(units.litres_from(Decimal(1), unit))

    assert units.quantity(1, unit.replace("fl_oz", "floz")).to("L").magnitude == pytest.approx(
        ours, rel=1e-15
    )


def test_pounds_a_gallon_are_those_of_pint():
    ours = density.pounds_per_gallon(17.2, 25.0)

    theirs = density.density(17.2, units.quantity(25.0, "degC")).to("lb/gal").magnitude
    assert ours == pytest.approx(theirs, rel=1e-14)


def test_68_fahrenheit_is_20_celsius():
    at_68 = density.density(17.2, units.quantity(68.0, "degF")).magnitude

    assert at_68 == pytest.approx(density.density_kg_per_l(17.2, 20.0), rel=1e-12)


# Gross and tare of full drums in pounds, as a floor scale shows them, and the net worked out on
# paper: what is kept in whole grams is printed to the hundredth of a pound as it was read.
@pytest.mark.parametrize(
    ("gross", "tare", "net"),
    [("691.5", "38.0", "653.50"), ("688", "39.5", "648.50"), ("690.2", "40.1", "650.10")],
)
def test_a_drum_weighed_in_pounds_is_printed_as_it_was_read(gross, tare, net):
    grams = [round(Decimal(pounds) * Decimal("453.59237")) for pounds in (gross, tare)]

    printed = printed_weights.in_unit(grams[0] - grams[1], House())

    assert printed == Decimal(net)
    assert printed_weights.in_unit(grams[1], House()) == Decimal(tare)


def test_a_house_that_weighs_in_kilograms_prints_every_gram():
    house = House(market=House.Market.EU)

    assert printed_weights.in_unit(296_433, house) == Decimal("296.433")
