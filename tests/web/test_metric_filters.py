"""A house that weighs in kilograms sees kilograms, litres, centimetres and °C.

Expected figures are worked out by hand: 1 kg is 1000 g, 1 lb 453.59237 g (NIST Handbook 44).
"""

from dataclasses import replace
from decimal import Decimal

import pytest
from django.template import Context, Template
from django.utils import translation

from apiary_sales.orders.rules.lines import honey_cents, printed_pounds
from apiary_sales.planning.rules.figures import usual_drum_weight
from apiary_sales.reports import columns
from inventory.shared import conventions, money, weights, words
from inventory.shared.coins import nearest
from inventory.shared.forms.fields import LengthField, TemperatureField, VolumeField, WeightField
from inventory.stock.forms.fields import as_length, as_volume, as_weight
from inventory.stock.services.purchases import cost_of
from inventory.stock.templatetags.moisture import as_brix
from tests.conftest import usual_conventions

pytestmark = pytest.mark.data_layer


@pytest.fixture
def metric(_own_conventions):
    spanish = {"language": "es", "decimal_sign": ",", "first_weekday": 1}
    conventions.use(replace(usual_conventions(), weight_unit="kg", currency="EUR", **spanish))
    conventions.current()


def shown(source, **values):
    return Template(source).render(Context(values))


def test_honey_of_a_metric_house_is_priced_by_the_kilogram(metric):
    # 300 kg at 4.2500 a kg; 296.433 kg at 2.65 are 785.547, and half a cent goes up.
    assert honey_cents(300_000, Decimal("4.2500")) == 127_500
    assert honey_cents(296_433, Decimal("2.65")) == 78_555
    assert cost_of(12_500, Decimal("3.20")) == 4_000


def test_honey_of_a_house_in_pounds_is_priced_by_the_pound():
    # 300 kg are 661.38679 lb; at 4.25 that is 2,810.89.
    assert honey_cents(300_000, Decimal("4.2500")) == 281_089


def test_kilograms_are_printed_to_the_gram_and_pounds_as_they_multiply_out(metric):
    assert printed_pounds(300_000, Decimal("4.25")) == Decimal("300.00")
    assert printed_pounds(296_433, Decimal("2.65")) == Decimal("296.433")


def test_sentences_and_filters_say_the_units_of_the_house(metric):
    said = [
        words.weight(582_413),
        words.weight(9_940),
        words.volume(Decimal("405.2")),
        words.depth(1321),
        words.temperature(Decimal("33.3")),
    ]

    assert said == ["582 kg", "9,9 kg", "405 L", "132,1 cm", "33,3 °C"]
    assert shown("{{ grams|weight_of }}", grams=99_960) == (
        '<span class="quantity"><b>100</b> <small>kg</small></span>'
    )
    assert shown("{{ grams|weight:1 }}", grams=1_000) == (
        '<span class="quantity"><b>1,0</b> <small>kg</small></span>'
    )
    assert shown("{{ grams|and_kilograms }}{{ grams|kilograms_beside }}", grams=1_000) == ""
    assert weights.in_words("Price per {unit}, {lb}") == "Price per kilogram, kg"
    assert shown("{% by_unit _('Price per {unit}') %}, {% a_unit %}") == "Price per kilogram, a kg"


def test_a_price_by_weight_is_also_told_for_the_other_unit(metric):
    # 5.84 a kg × 0.45359237 kg are 2.649 a lb.
    told = shown("{{ price|other_unit_price }}", price=Decimal("5.84"))

    assert "2,65" in told
    assert "a lb" in told


def test_a_house_in_pounds_also_reads_its_price_for_a_kilogram():
    # 2.65 a lb ÷ 0.45359237 kg are 5.842 a kg.
    told = shown("{{ price|other_unit_price }}", price=Decimal("2.65"))

    assert "$5.84" in told
    assert "a kg" in told
    assert shown("{{ price|other_unit_price }}", price=None) == ""


@pytest.mark.parametrize(
    ("field", "first"),
    [(WeightField, "kg"), (LengthField, "cm"), (VolumeField, "L"), (TemperatureField, "C")],
)
def test_a_form_made_before_offers_the_units_of_the_house_first(field, first):
    made = field()
    before = made.choices()[0][0]

    conventions.use(replace(usual_conventions(), weight_unit="kg"))

    offered = made.fields[1].widget.choices
    assert (next(iter(offered))[0], made.choices()[0][0]) == (first, first)
    assert before != first


def test_a_number_without_a_unit_is_in_the_unit_of_the_house(metric):
    assert WeightField().clean(["2,5", ""]) == 2_500
    assert VolumeField().clean(["216,5", ""]) == Decimal("216.500")
    assert TemperatureField().clean(["35", ""]) == Decimal("35.0")


@pytest.mark.parametrize(("moisture", "brix"), [("17.0", "81,3 °Brix"), ("12", ""), ("26", "")])
def test_water_is_told_in_brix_beside_percent(metric, moisture, brix):
    # 17.0 % is an index of 1.4940 (Chataway and Wedmore), which is 81.3 °Brix (ICUMSA): the same
    # pair of figures that the page of a receipt tells.
    assert as_brix(Decimal(moisture)) == brix


def test_a_house_in_pounds_is_told_the_percent_alone():
    assert as_brix(Decimal("17.0")) == ""


def test_reports_and_their_downloads_are_in_kilograms(metric):
    [(unit, figure, _format), _grams] = columns.EXPORTED[columns.Unit.GRAMS]()

    assert (unit, figure(296_433)) == ("kg", Decimal("296.43"))
    assert columns.WRITTEN[columns.Unit.GRAMS](296_433) == "296,4 kg"


def test_what_a_form_shows_comes_back_as_it_was(metric):
    assert as_weight(272_155) == (Decimal("272.155"), "kg")
    assert as_length(1_321) == (Decimal("132.1"), "cm")
    assert as_volume(Decimal("216.5")) == (Decimal("216.5"), "L")
    assert usual_drum_weight() == 295


def test_the_sign_of_euros_is_behind_the_amount_where_readers_of_spanish_expect_it(metric):
    with translation.override("es"):
        assert words.money(123_450) == "1.234,50\N{NO-BREAK SPACE}€"
        assert words.money(-50) == "−0,50\N{NO-BREAK SPACE}€"
    with translation.override("en"):
        assert words.money(123_450) == "€1.234,50"


def test_a_document_is_written_in_its_own_currency(metric):
    with conventions.in_currency("USD"):
        assert money.symbol() == "$"

    assert money.symbol() == "€"


@pytest.mark.parametrize(
    ("cents", "coin", "expected"),
    # From memory: Canada rounds to 5 cents so; Sweden to a whole krona; nothing to round at 1.
    [
        (1002, 5, 1000),
        (1003, 5, 1005),
        (1007, 5, 1005),
        (1008, 5, 1010),
        (1003, 1, 1003),
        (1049, 100, 1000),
        (1050, 100, 1100),
        (2, 5, 0),
        (-1003, 5, -1005),
    ],
)
def test_cash_goes_to_the_nearest_coin_and_half_a_coin_up(cents, coin, expected):
    assert nearest(cents, coin) == expected
