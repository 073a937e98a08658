"""Directive 76/211/EEC on prepackages by weight or volume; Fertigpackungsverordnung § 9(3).

- Annex I 2.4 and 2.5, tolerable negative errors, percentages rounded up to 0.1 g: read.
- Annex I 1, the three rules; annex II 2.3, the average by one-sided t at 0.995: read.
- Annex II 2.3, printed factors 0.640 for 20 pieces, 0.503 for 30, 0.379 for 50: from memory.
- Annex I 3.1, height of the figures on the label: from memory.
"""

import math
from fractions import Fraction

import numpy as np
import pytest

from inventory.physics import fill_check, labelling


@pytest.mark.parametrize(
    ("label", "error"),
    [
        (5, 0.5),  # 9 % = 0.45, up to 0.5
        (10, 0.9),
        (28, 2.6),  # 2.52
        (40, 3.6),
        (50, 4.5),
        (51, 4.5),
        (75, 4.5),
        (100, 4.5),
        (101, 4.6),  # 4.5 % = 4.545
        (125, 5.7),  # 5.625
        (150, 6.8),  # 6.75
        (200, 9.0),
        (201, 9.0),
        (250, 9.0),
        (300, 9.0),
        (301, 9.1),  # 3 % = 9.03
        (340, 10.2),  # exactly 10.2: nothing to round
        (400, 12.0),
        (454, 13.7),  # 13.62
        (500, 15.0),
        (501, 15.0),
        (750, 15.0),
        (1000, 15.0),
        (1001, 15.1),  # 1.5 % = 15.015
        (2500, 37.5),
        (10000, 150.0),
    ],
)
def test_the_tolerable_negative_error(label, error):
    assert fill_check.tolerable_negative_error_g(label) == error


def test_an_array_of_labels_gives_an_array_of_errors():
    errors = fill_check.tolerable_negative_error_g(np.array([40, 250, 500, 1000]))

    assert errors.tolist() == [3.6, 9.0, 15.0, 15.0]


def test_every_whole_gram_is_rounded_up_exactly_and_never_a_tenth_too_far():
    def exact(label):
        for up_to, error in [
            (50, Fraction(9, 100) * label),
            (100, Fraction(45, 10)),
            (200, Fraction(45, 1000) * label),
            (300, Fraction(9)),
            (500, Fraction(3, 100) * label),
            (1000, Fraction(15)),
            (10_000, Fraction(15, 1000) * label),
        ]:
            if label <= up_to:
                return math.ceil(error * 10) / 10
        raise AssertionError(label)

    labels = range(5, 10_001)

    found = fill_check.tolerable_negative_error_g(np.array(labels))

    assert found.tolist() == [exact(label) for label in labels]


def test_below_5_grams_the_directive_does_not_apply():
    with pytest.raises(ValueError, match=r"The labelled weight must be 5 g or more, not 4\.9\."):
        fill_check.tolerable_negative_error_g(4.9)


@pytest.mark.parametrize(("sample", "factor"), [(20, 0.640), (30, 0.503), (50, 0.379)])
def test_the_printed_factors_of_the_average(sample, factor):
    found = fill_check.sample_correction_factor(sample, "eu")

    assert found == pytest.approx(factor, abs=0.0006)


def test_a_sample_of_twenty_worked_by_hand():
    """Twenty jars of 500 g, ten of 498 and ten of 500: average 499, s² = 20/19, s = 1.02598.

    0.640 × 1.026 = 0.6565: wanted 499.3435, so the average is under it.
    """
    found = fill_check.check_fill(500, [498.0, 500.0] * 10, 2000, "eu")

    assert found.average_g == 499.0
    assert found.standard_deviation_g == pytest.approx(1.02598, abs=0.00001)
    assert found.average_limit_g == pytest.approx(499.3435, abs=0.001)
    assert (found.limit_g, found.second_limit_g) == (485.0, 470.0)
    assert found.faults == ("average",)


def test_the_same_jars_half_a_gram_fuller_pass():
    found = fill_check.check_fill(500, [498.5, 500.5] * 10, 2000, "eu")

    assert found.passed is True
    assert found.reason == (
        "Passed. The average of 20 pieces is 499.50 g. That reaches the 499.34 g required: "
        "500 g less 0.66 g, because only a sample was weighed. Below 485 g: 0 pieces "
        "found, 0 allowed. Below 470 g: 0 found, 0 allowed."
    )


@pytest.mark.parametrize(
    ("sample", "short", "passed"),
    [(49, 1, False), (50, 1, True), (50, 2, False), (100, 2, True), (100, 3, False)],
)
def test_at_most_2_percent_may_be_short_by_more_than_the_error(sample, short, passed):
    weights = [506.0] * (sample - short) + [484.9] * short

    found = fill_check.check_fill(500, weights, 2000, "eu")

    assert found.pieces_below_limit == short
    assert found.passed is passed


@pytest.mark.parametrize(
    ("lightest", "faults"),
    [(470.1, ()), (470.0, ()), (469.9, ("pieces_twice",))],
    ids=["less", "equal", "more"],
)
def test_none_may_be_short_by_more_than_twice_the_error(lightest, faults):
    found = fill_check.check_fill(500, [508.0] * 49 + [lightest], 2000, "eu")

    assert found.pieces_below_limit == 1
    assert found.faults == faults


@pytest.mark.parametrize("label", [340.0, math.nextafter(340.0, 341.0)])
def test_a_jar_short_by_exactly_the_error_is_not_counted(label):
    """3 % of 340 g is 10.2 g, and the last bit of a float makes it neither 10.3 nor 329.8 short."""
    found = fill_check.check_fill(label, [345.0] * 19 + [329.8], 2000, "eu")

    assert fill_check.tolerable_negative_error_g(label) == 10.2
    assert found.limit_g == 329.8
    assert found.pieces_below_limit == 0


def test_the_two_schemes_can_differ_on_the_same_jars():
    """One jar of 12 is 12 g under 340 g: beyond the European 10.2, within the American 16.3."""
    weights = [343.0] * 11 + [328.0]

    assert fill_check.check_fill(340, weights, 200, "us").passed is True
    assert fill_check.check_fill(340, weights, 200, "eu").faults == ("pieces",)


@pytest.mark.parametrize(
    ("label", "height"),
    [(5, 2), (50, 2), (51, 3), (200, 3), (201, 4), (1000, 4), (1001, 6), (10000, 6)],
)
def test_the_height_of_the_figures_on_the_label(label, height):
    assert labelling.minimum_figure_height_mm(label) == height


# Annex II, 2.1 and 2.2, from memory: samples begin at 20 of 100 or more; smaller batches are
# weighed whole, or by the national rule.
@pytest.mark.parametrize(("lot", "wanted"), [(1, 1), (19, 19), (20, 20), (100, 20), (5000, 20)])
def test_the_least_sample_of_the_european_rule(lot, wanted):
    assert fill_check.sample_size_wanted(lot, "eu") == wanted
