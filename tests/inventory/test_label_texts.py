"""What a label says, how high its net weight must be, and what is told when it does not fit.

Sources: 21 CFR 101.7 and Directive 76/211/EEC, annex I 3.1 (steps from memory).
"""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from inventory.bottling import papers
from inventory.bottling.models import LabelSheet
from inventory.bottling.rules import labels
from inventory.shared import lettering
from inventory.shared.errors import BadValue


def facts(**changes) -> labels.LabelFacts:
    told = {
        "form": "liquid",
        "variety": "Clover",
        "declared_grams": Decimal("453.59237"),
        "gtin": "",
        "lot_code": "L26214-1",
        "best_by": date(2028, 7, 31),
        "house_name": "Alder Creek Honey",
        "address": ("118 Mill Road", "Fernley, WI 54000"),
        "market": "us",
    }
    return labels.LabelFacts(**(told | changes))


def small_sheet(width_mm: str = "101.6", height_mm: str = "50.8") -> LabelSheet:
    return LabelSheet(
        paper="roll", label_width_mm=Decimal(width_mm), label_height_mm=Decimal(height_mm)
    )


def refusal(told: labels.LabelFacts, sheet: LabelSheet, **asked) -> tuple[str | None, str]:
    with pytest.raises(BadValue) as refused:
        papers.prepare(told, **({"sheet": sheet, "count": 1} | asked))
    return refused.value.parameter, refused.value.message


def test_a_label_says_what_law_and_trace_want_in_the_units_of_its_market():
    american = labels.texts(facts(origin=("Product of the United States",)))
    european = labels.texts(facts(market="eu", declared_grams=Decimal(500)))

    assert [text.text for text in american] == [
        "Honey",
        "Clover",
        "Product of the United States",
        "Alder Creek Honey",
        "118 Mill Road\nFernley, WI 54000",
        "Lot L26214-1",
        "Best by Jul 31, 2028",
        "Do not feed honey to infants under one year of age.",
        "NET WT 16 OZ (1 LB) 454 g",
    ]
    assert european[-1].text == "500 g"


@pytest.mark.parametrize(
    ("form", "name"),
    [
        ("liquid", "Honey"),
        ("creamed", "Creamed honey"),
        ("comb", "Comb honey"),
        ("chunk", "Honey with comb"),
    ],
)
def test_the_common_name_tells_the_form(form, name):
    assert labels.common_name(form) == name


@pytest.mark.parametrize(
    ("sources", "sentence"),
    [
        ([("Clover", Fraction(1))], ""),
        ([("Clover", Fraction(1, 4)), ("Clover", Fraction(3, 4))], ""),
        (
            [("Basswood", Fraction(2, 5)), ("Clover", Fraction(3, 5))],
            "Blend of clover 60 %, basswood 40 %",
        ),
        # Thirds add up to 100: the first by name gets what rounding leaves.
        (
            [("Aster", Fraction(1, 3)), ("Clover", Fraction(1, 3)), ("Sage", Fraction(1, 3))],
            "Blend of aster 34 %, clover 33 %, sage 33 %",
        ),
        (
            [("Clover", Fraction(999, 1000)), ("Aster", Fraction(1, 1000))],
            "Blend of clover 100 %",
        ),
    ],
)
def test_a_blend_names_its_sources_by_share(sources, sentence):
    assert labels.blend_sentence(sources) == sentence


@pytest.mark.parametrize(
    ("area_in2", "inches"), [(5, "1/16"), (25, "1/8"), (25.1, "3/16"), (100.1, "1/4")]
)
def test_the_american_height_goes_by_the_panel(area_in2, inches):
    found = labels.net_weight_type(
        grams=Decimal(340), market="us", panel_in2=area_in2, statement="NET WT 12 OZ (340 g)"
    )

    assert found.least_mm == pytest.approx(float(Fraction(inches)) * 25.4)
    assert found.measured_on == "the small letter “o”"


def test_capitals_alone_are_measured_on_the_capital_letter():
    asked = {"grams": Decimal(340), "market": "us", "panel_in2": 8}

    capitals = labels.net_weight_type(statement="NET WT 12 OZ", **asked)
    mixed = labels.net_weight_type(statement="NET WT 12 OZ (340 g)", **asked)

    # Noto Sans Bold: capitals are 714 units of 1,000 high, the flat "x" 546 (read in the font).
    assert capitals.size_mm * 0.714 == pytest.approx(3.175 * 1.01)
    assert mixed.size_mm * 0.546 == pytest.approx(3.175 * 1.01)


@pytest.mark.parametrize(
    ("grams", "height_mm"), [(50, 2), (51, 3), (201, 4), (1001, 6), (12500, 6)]
)
def test_the_european_height_goes_by_the_weight(grams, height_mm):
    found = labels.net_weight_type(grams=Decimal(grams), market="eu", panel_in2=8, statement="any")

    assert (found.least_mm, found.measured_on) == (height_mm, "figures")


def test_the_panel_of_a_round_jar_is_two_fifths_of_its_side():
    # 5 in high and 10 in around: 20 square inches (21 CFR 101.1).
    assert labels.round_jar_in2(height_mm=127, around_mm=254) == pytest.approx(20)


def test_a_larger_panel_than_the_label_asks_for_larger_letters():
    own = papers.prepare(facts(), sheet=small_sheet(height_mm="84"), count=1)
    jar = papers.prepare(facts(), sheet=small_sheet(height_mm="84"), count=1, panel_in2=26)

    assert (own.net_weight_told, jar.net_weight_told) == (
        "3.2 mm, measured on the small letter “o”",
        "4.8 mm, measured on the small letter “o”",
    )


def test_a_text_that_does_not_fit_is_named_with_the_way_out():
    long = "Wildflowers of the upper meadows and the river bank, gathered late in a dry summer"

    assert refusal(facts(variety=long), small_sheet("66", "25")) == (
        "sheet",
        "Kind of honey: the text does not fit at the least height of letters. "
        "Choose a larger label or a shorter text.",
    )
    assert refusal(facts(variety="W" * 40), small_sheet("66", "60")) == (
        "sheet",
        f"Kind of honey: “{'W' * 40}” is wider than the label at the least height of letters. "
        "Choose a larger label or a shorter text.",
    )


def test_a_net_weight_too_large_for_the_foot_of_the_label_is_told():
    assert refusal(facts(), small_sheet("40", "60"), panel_in2=101) == (
        "sheet",
        "Net weight: “NET WT 16 OZ (1 LB) 454 g” does not fit at the foot of the label, where its "
        "letters must be 6.4 mm high. Choose a larger label.",
    )


def test_a_code_that_does_not_fit_or_has_no_number_is_told():
    upc = facts(gtin="036000241457")

    assert refusal(upc, small_sheet("29", "60"), code=papers.BARCODE) == (
        "code",
        "The code is 30 mm wide and 21 mm high with the white space around it, at its least size. "
        "Choose a larger label, another code or none.",
    )
    assert refusal(facts(), small_sheet(), code=papers.BARCODE) == (
        "code",
        "A bar code needs a GTIN. Enter it at the product first, or choose another code.",
    )
    case = facts(gtin="16291041500210")
    assert refusal(case, small_sheet(), code=papers.BARCODE) == (
        "code",
        "A GTIN of 14 digits is for cases and no bar code for a till. Choose GS1-128.",
    )
    long_lot = facts(gtin="036000241457", lot_code="L" * 21)
    assert refusal(long_lot, small_sheet(), code=papers.GS1_128)[0] == "code"


def test_how_many_and_from_where_are_checked():
    assert refusal(facts(), small_sheet(), count=0)[0] == "count"
    assert refusal(facts(), small_sheet(), count=2_001) == (
        "count",
        "Enter a number of labels from 1 to 2,000.",
    )
    assert refusal(facts(), small_sheet(), first=2) == (
        "first",
        "A sheet has 1 labels. Enter a position from 1 to 1.",
    )


def test_no_line_of_a_label_reaches_over_its_edge():
    for width, height in (("101.6", "50.8"), ("50.8", "50.8"), ("101.6", "152.4"), ("64", "38")):
        sheet = small_sheet(width, height)
        drawing = papers.prepare(facts(), sheet=sheet, count=1).drawing
        for line in drawing.lines:
            letters = lettering.face(bold=line.bold)
            assert line.left_mm + letters.width_em(line.text) * line.size_mm <= float(width)
            assert 0 <= line.top_mm <= float(height) - line.line_mm
