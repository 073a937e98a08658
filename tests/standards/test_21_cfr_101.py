"""21 CFR part 101, Food Labeling: 101.7 (formerly 101.105) net quantity, 101.1 display panel.

- 101.1: area of the principal display panel: read.
- 101.7(i): type heights by panel: steps from memory, the lower-case "o" and the lower 30 % read.
- 101.7(j): ounces under 1 lb; ounces and pounds from 1 lb to under 4 lb; pounds above: from memory.
  24 oz (1 lb 8 oz) is the regulation's own example; 680 g follows.
- The metric figure to the nearest gram or third digit (1 lb as 454 g): common practice.
- `never_overstate`, figures cut: Uniform Packaging and Labeling Regulation, NIST Handbook 130, "in
  no case shall rounded net contents declarations overstate a quantity": from memory.
"""

import math
import re
from decimal import Decimal

import numpy as np
import pytest

from inventory.physics import labelling

OUNCE_G = Decimal("28.349523125")


@pytest.mark.parametrize(
    ("ounces", "statement"),
    [
        ("1", "NET WT 1 OZ (28 g)"),
        ("1.5", "NET WT 1.5 OZ (43 g)"),
        ("8", "NET WT 8 OZ (227 g)"),
        ("12", "NET WT 12 OZ (340 g)"),
        ("15.9", "NET WT 15.9 OZ (451 g)"),
        ("16", "NET WT 16 OZ (1 LB) 454 g"),
        ("24", "NET WT 24 OZ (1 LB 8 OZ) 680 g"),
        ("32", "NET WT 32 OZ (2 LB) 907 g"),
        ("40", "NET WT 40 OZ (2 LB 8 OZ) 1.13 kg"),
        ("48", "NET WT 48 OZ (3 LB) 1.36 kg"),
        ("63.9", "NET WT 63.9 OZ (3 LB 15.9 OZ) 1.81 kg"),
        ("64", "NET WT 4 LB (1.81 kg)"),
        ("68.5", "NET WT 4 LB 4.5 OZ (1.94 kg)"),
        ("80", "NET WT 5 LB (2.27 kg)"),
        ("96", "NET WT 6 LB (2.72 kg)"),
        ("192", "NET WT 12 LB (5.44 kg)"),
        ("384", "NET WT 24 LB (10.9 kg)"),
        ("960", "NET WT 60 LB (27.2 kg)"),
    ],
)
def test_the_statement_of_an_exact_inch_pound_weight(ounces, statement):
    grams = Decimal(ounces) * OUNCE_G

    assert labelling.net_contents_statement(grams) == statement
    assert labelling.net_contents_statement(float(grams)) == statement


@pytest.mark.parametrize(
    ("grams", "statement"),
    [
        (28, "NET WT 1 OZ (28 g)"),
        (227, "NET WT 8 OZ (227 g)"),
        (340, "NET WT 12 OZ (340 g)"),
        (454, "NET WT 16 OZ (1 LB) 454 g"),
        (680, "NET WT 24 OZ (1 LB 8 OZ) 680 g"),
        (907, "NET WT 32 OZ (2 LB) 907 g"),
        (1361, "NET WT 48 OZ (3 LB) 1.36 kg"),
        (5443, "NET WT 12 LB (5.44 kg)"),
    ],
)
def test_a_label_weight_kept_in_whole_grams_says_its_ounces_again(grams, statement):
    assert labelling.net_contents_statement(grams) == statement


@pytest.mark.parametrize(
    ("grams", "statement"),
    [
        (5, "NET WT 0.17 OZ (5 g)"),  # 0.1764
        (50, "NET WT 1.7 OZ (50 g)"),  # 1.7637
        (250, "NET WT 8.8 OZ (250 g)"),  # 8.8185
        (500, "NET WT 17.6 OZ (1 LB 1.6 OZ) 500 g"),  # 17.637
        (999, "NET WT 35.2 OZ (2 LB 3.2 OZ) 999 g"),  # 35.239
        (1000, "NET WT 35.2 OZ (2 LB 3.2 OZ) 1 kg"),  # 35.274
        (2500, "NET WT 5 LB 8.1 OZ (2.5 kg)"),  # 88.185
    ],
)
def test_the_statement_of_a_round_metric_weight_cuts_its_ounces(grams, statement):
    assert labelling.net_contents_statement(grams) == statement


@pytest.mark.parametrize(
    ("grams", "statement"),
    [
        (340, "340 g"),
        (999.4, "999 g"),
        (999.9, "1 kg"),
        (1000, "1 kg"),
        (1500, "1.5 kg"),
        (12345, "12.3 kg"),
    ],
)
def test_the_metric_form(grams, statement):
    assert labelling.net_contents_statement(grams, metric_only=True) == statement


@pytest.mark.parametrize(
    ("ounces", "statement"),
    [
        ("8", "NET WT 8 OZ (226 g)"),
        ("16", "NET WT 16 OZ (1 LB) 453 g"),
        ("24", "NET WT 24 OZ (1 LB 8 OZ) 680 g"),
        ("80", "NET WT 5 LB (2.26 kg)"),
        ("384", "NET WT 24 LB (10.8 kg)"),
    ],
)
def test_a_statement_that_never_overstates_cuts_its_digits(ounces, statement):
    grams = Decimal(ounces) * OUNCE_G

    assert labelling.net_contents_statement(grams, never_overstate=True) == statement


def test_the_last_bit_of_a_float_cuts_no_tenth_off():
    just_under = math.nextafter(float(Decimal("15.9") * OUNCE_G), 0)

    assert labelling.net_contents_statement(just_under) == "NET WT 15.9 OZ (451 g)"


def test_an_array_of_weights_gives_an_array_of_statements():
    statements = labelling.net_contents_statement(np.array([340, 680]))

    assert statements.tolist() == ["NET WT 12 OZ (340 g)", "NET WT 24 OZ (1 LB 8 OZ) 680 g"]


@pytest.mark.parametrize(
    ("area", "height"),
    [
        (0.5, 1 / 16),
        (5, 1 / 16),
        (5.01, 1 / 8),
        (25, 1 / 8),
        (25.01, 3 / 16),
        (100, 3 / 16),
        (100.01, 1 / 4),
        (400, 1 / 4),
        (400.01, 1 / 2),
        (5000, 1 / 2),
    ],
)
def test_the_least_type_height(area, height):
    assert labelling.minimum_type_height(area) == height
    assert labelling.minimum_type_height(area, moulded=True) == height + 1 / 16


def test_an_array_of_panels_gives_an_array_of_heights():
    assert labelling.minimum_type_height(np.array([5, 25, 100])).tolist() == [0.0625, 0.125, 0.1875]


def test_the_display_panel_of_a_box_is_height_times_width_and_of_a_jar_40_percent_around():
    assert labelling.rectangular_panel_in2(8, 6) == 48.0
    assert labelling.cylindrical_panel_in2(5, 10) == 20.0


@pytest.mark.parametrize("start", [1, 400, 1000, 1800, 25_000])
def test_a_statement_reads_back_to_no_more_than_the_honey_in_the_jar(start):
    """Only ounces known again from whole grams may exceed them, and by less than a gram."""
    for grams in range(start, start + 400):
        said = {"LB": Decimal(0), "OZ": Decimal(0), "g": Decimal(0), "kg": Decimal(0)}
        statement = labelling.net_contents_statement(grams, never_overstate=True)
        words = re.sub(r"\([^)]*LB[^)]*\)", "", statement)
        for number, unit in re.findall(r"([0-9.]+) (LB|OZ|g|kg)", words):
            said[unit] += Decimal(number)

        metric = said["g"] + 1000 * said["kg"]
        ounces = 16 * said["LB"] + said["OZ"]

        assert 0 < metric <= grams
        assert metric > grams * Decimal("0.99")
        assert 0 < ounces * OUNCE_G <= grams or (
            ounces % Decimal("0.5") == 0 and ounces * OUNCE_G < grams + 1
        )
