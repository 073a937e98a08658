"""NIST Handbook 133, Checking the Net Contents of Packaged Goods (2020 edition).

- Table 2-1, sampling plans of category A, with sample correction factors: from memory; the factors
  are t(0.975, n − 1)/√n and may be printed 0.001 apart.
- Appendix A, table 2-5, maximum allowable variations: from memory (two independent recalls agree in
  every row); 113 g → 7 g and 8 oz → 7/16 oz also from a second text.
- That the average must reach the label and no package may be short by more than the MAV: the
  agency's package FAQ, read.
"""

import numpy as np
import pytest

from inventory.physics import fill_check

# Labelled weight over, up to and including, variation; in lb and, for metric labels, in g.
MAV_LB = [
    (0.08, 0.12, 0.008),
    (0.12, 0.18, 0.012),
    (0.18, 0.26, 0.016),
    (0.26, 0.34, 0.020),
    (0.34, 0.46, 0.024),
    (0.46, 0.58, 0.028),
    (0.58, 0.70, 0.032),
    (0.70, 0.84, 0.036),
    (0.84, 0.94, 0.040),
    (0.94, 1.08, 0.044),
    (1.08, 1.26, 0.048),
    (1.26, 1.40, 0.052),
    (1.40, 1.54, 0.056),
    (1.54, 1.70, 0.060),
    (1.70, 1.88, 0.064),
    (1.88, 2.14, 0.070),
    (2.14, 2.48, 0.078),
    (2.48, 2.76, 0.086),
    (2.76, 3.20, 0.094),
    (3.20, 3.90, 0.11),
    (3.90, 4.70, 0.12),
    (4.70, 5.80, 0.14),
    (5.80, 6.80, 0.15),
    (6.80, 7.90, 0.17),
    (7.90, 9.40, 0.19),
    (9.40, 11.70, 0.22),
    (11.70, 14.30, 0.25),
    (14.30, 17.70, 0.28),
    (17.70, 23.20, 0.31),
    (23.20, 31.60, 0.37),
    (31.60, 42.40, 0.44),
    (42.40, 54.40, 0.50),
]
MAV_G = [
    (36, 54, 3.6),
    (54, 81, 5.4),
    (81, 117, 7.2),
    (117, 154, 9.0),
    (154, 208, 10.8),
    (208, 263, 12.7),
    (263, 317, 14.5),
    (317, 381, 16.3),
    (381, 426, 18.1),
    (426, 489, 19.9),
    (489, 571, 21.7),
    (571, 635, 23.5),
    (635, 698, 25.4),
    (698, 771, 27.2),
    (771, 852, 29.0),
    (852, 970, 31.7),
    (970, 1125, 35.3),
    (1125, 1250, 39.0),
    (1250, 1450, 42.6),
    (1450, 1760, 49),
    (1760, 2130, 54),
    (2130, 2630, 63),
    (2630, 3080, 68),
    (3080, 3580, 77),
    (3580, 4260, 86),
    (4260, 5300, 99),
    (5300, 6480, 113),
    (6480, 8020, 127),
    (8020, 10520, 140),
    (10520, 14330, 167),
    (14330, 19230, 199),
    (19230, 24670, 226),
]
POUND_G = 453.59237


@pytest.mark.parametrize(("over", "up_to", "variation"), MAV_G)
def test_the_variation_of_a_metric_label(over, up_to, variation):
    labels = np.array([over + 0.001, (over + up_to) / 2, up_to])

    found = fill_check.maximum_allowable_variation_g(labels)

    assert found.tolist() == [variation] * 3


@pytest.mark.parametrize(("over", "up_to", "variation"), MAV_LB)
def test_the_variation_of_a_label_in_pounds(over, up_to, variation):
    labels = np.array([over + 0.0001, (over + up_to) / 2, up_to]) * POUND_G

    found = fill_check.maximum_allowable_variation_g(labels, unit="lb")

    np.testing.assert_allclose(found, variation * POUND_G, rtol=1e-12)


@pytest.mark.parametrize(
    ("label", "unit", "variation"),
    [
        (20, "g", 2.0),  # 36 g or less: 10 % of the label
        (36, "g", 3.6),
        (0.05 * POUND_G, "lb", 0.005 * POUND_G),  # 0.08 lb or less: 10 %
        (0.08 * POUND_G, "lb", 0.008 * POUND_G),
        (24670.5, "g", 493.41),  # over 24 670 g: 2 %
        (30000, "g", 600.0),
        (60 * POUND_G, "lb", 1.2 * POUND_G),  # over 54.40 lb: 2 %, the five-gallon pail
    ],
)
def test_the_variation_at_the_ends_is_a_share_of_the_label(label, unit, variation):
    found = fill_check.maximum_allowable_variation_g(label, unit=unit)

    assert found == pytest.approx(variation, rel=1e-12)


def test_the_two_rows_that_a_second_text_gives():
    assert fill_check.maximum_allowable_variation_g(113) == pytest.approx(7, abs=0.3)
    eight_ounces = fill_check.maximum_allowable_variation_g(POUND_G / 2, unit="lb")
    assert eight_ounces / (POUND_G / 16) == pytest.approx(7 / 16, abs=0.011)


@pytest.mark.parametrize(
    ("label_lb", "variation_lb"),
    [(0.5, 0.028), (0.75, 0.036), (1, 0.044), (2, 0.070), (3, 0.094), (6, 0.15), (12, 0.25)],
)
def test_the_usual_jars(label_lb, variation_lb):
    found = fill_check.maximum_allowable_variation_g(label_lb * POUND_G, unit="lb")

    assert found == pytest.approx(variation_lb * POUND_G, rel=1e-12)


@pytest.mark.parametrize(
    ("lot", "sample", "allowed"),
    [
        (1, 1, 0),
        (2, 2, 0),
        (11, 11, 0),
        (12, 12, 0),
        (250, 12, 0),
        (251, 24, 0),
        (3200, 24, 0),
        (3201, 48, 1),
        (10000, 48, 1),
    ],
)
def test_the_sampling_plan(lot, sample, allowed):
    plan = fill_check.sampling_plan(lot)

    assert (plan.sample_size, plan.pieces_allowed_beyond_mav) == (sample, allowed)
    assert plan == (sample, allowed)


@pytest.mark.parametrize(
    ("sample", "factor"),
    [
        (2, 8.985),
        (3, 2.484),
        (4, 1.591),
        (5, 1.242),
        (6, 1.049),
        (7, 0.925),
        (8, 0.836),
        (9, 0.769),
        (10, 0.715),
        (11, 0.672),
        (12, 0.635),
        (24, 0.422),
        (48, 0.290),
    ],
)
def test_the_sample_correction_factor(sample, factor):
    assert fill_check.sample_correction_factor(sample) == pytest.approx(factor, abs=0.0011)


def test_a_sample_of_twelve_worked_by_hand():
    """Twelve jars labelled 454 g: errors −3 −2 −2 −1 −1 −1 0 0 0 1 1 2, sum −6, squares 26.

    Average 453.5; s² = (26 − 36/12)/11 = 2.0909, s = 1.4460; 0.6354 × 1.4460 = 0.9187;
    limit 453.0813: the average reaches it. MAV 19.9: none under 434.1.
    """
    errors = np.array([-3, -2, -2, -1, -1, -1, 0, 0, 0, 1, 1, 2])

    found = fill_check.check_fill(454, 454 + errors, 200, "us")

    assert found.average_g == pytest.approx(453.5)
    assert found.standard_deviation_g == pytest.approx(1.4460, abs=0.0001)
    assert found.sample_correction_factor == pytest.approx(0.6354, abs=0.0001)
    assert found.correction_g == pytest.approx(0.9187, abs=0.0002)
    assert found.average_limit_g == pytest.approx(453.0813, abs=0.0002)
    assert found.limit_g == 434.1
    assert found.pieces_below_limit == 0
    assert found.overfill_g == pytest.approx(-0.5)
    assert found.passed is True
    assert found.reason == (
        "Passed. The average of 12 pieces is 453.50 g. That reaches the 453.08 g required: "
        "454 g less 0.92 g, because only a sample was weighed. Below 434.1 g: 0 pieces "
        "found, 0 allowed."
    )


def test_the_same_spread_half_a_gram_lower_fails_by_the_average():
    errors = np.array([-3, -2, -2, -1, -1, -1, 0, 0, 0, 1, 1, 2]) - 0.5

    found = fill_check.check_fill(454, 454 + errors, 200, "us")

    assert found.faults == ("average",)
    assert found.passed is False
    assert found.reason == (
        "Failed. The average of 12 pieces is 453.00 g. That is below the 453.08 g "
        "required: 454 g less 0.92 g, because only a sample was weighed. Below 434.1 g: 0 "
        "pieces found, 0 allowed."
    )


@pytest.mark.parametrize(
    ("lightest", "below"), [(434.2, 0), (434.1, 0), (434.0, 1)], ids=["less", "equal", "more"]
)
def test_one_jar_short_by_more_than_the_mav_fails_a_lot_whose_average_is_right(lightest, below):
    weights = [460.0] * 11 + [lightest]

    found = fill_check.check_fill(454, weights, 200, "us")

    assert found.pieces_below_limit == below
    assert found.faults == (("pieces",) if below else ())


@pytest.mark.parametrize(("short", "passed"), [(0, True), (1, True), (2, False)])
def test_in_a_sample_of_48_one_jar_may_be_short_by_more_than_the_mav(short, passed):
    weights = [460.0] * (48 - short) + [430.0] * short

    found = fill_check.check_fill(454, weights, 5000, "us")

    assert found.pieces_allowed_below_limit == 1
    assert found.pieces_below_limit == short
    assert found.passed is passed


def test_in_a_sample_of_24_none_may_be():
    found = fill_check.check_fill(454, [460.0] * 23 + [430.0], 3200, "us")

    assert found.faults == ("pieces",)


def test_a_small_lot_weighed_whole_still_gets_the_printed_factor():
    found = fill_check.check_fill(454, [452, 454, 455, 456, 453], 5, "us")

    assert found.sample_correction_factor == pytest.approx(1.242, abs=0.0011)
    assert found.passed is True


@pytest.mark.parametrize(("net", "passed"), [(434.1, True), (434.0, False)])
def test_a_lot_of_one_answers_to_the_mav_alone(net, passed):
    found = fill_check.check_fill(454, [net], 1, "us")

    assert found.passed is passed
    assert found.sample_correction_factor is None
    assert found.standard_deviation_g is None


def test_fewer_jars_than_the_plan_wants_cannot_pass():
    found = fill_check.check_fill(454, [460.0] * 10, 96, "us")

    assert found.faults == ("sample_too_small",)
    assert found.reason.startswith(
        "Failed. For a lot of 96 pieces you must weigh 12. You weighed only 10: weigh 2 more."
    )


def test_a_label_in_pounds_is_held_to_the_pound_columns():
    metric = fill_check.check_fill(453.59237, [455.0] * 12, 96, "us")
    pounds = fill_check.check_fill(453.59237, [455.0] * 12, 96, "us", label_unit="lb")

    assert metric.limit_g == pytest.approx(433.69237)
    assert pounds.limit_g == pytest.approx(453.59237 - 0.044 * 453.59237, abs=1e-6)
