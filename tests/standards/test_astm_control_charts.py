"""Control charts of averages: ASTM MNL 7 and the NIST/SEMATECH e-Handbook.

- ASTM Manual on Presentation of Data and Control Chart Analysis (MNL 7), table of factors for
  control charts; the same table is in ASTM E2587 and in textbooks. Factors from memory.
- NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.1. From memory.
- D. C. Montgomery, Introduction to Statistical Quality Control, piston rings: 25 samples of 5,
  average 74.001 mm, mean standard deviation 0.0094 mm, limits 74.014 and 73.988 mm. From memory.
"""

import math

import pytest

from inventory.physics.control_chart import ControlLimits, a3, c4, control_limits

# Pieces in a sample, c4, A3.
FACTORS = [
    (2, 0.7979, 2.659),
    (3, 0.8862, 1.954),
    (4, 0.9213, 1.628),
    (5, 0.9400, 1.427),
    (6, 0.9515, 1.287),
    (7, 0.9594, 1.182),
    (8, 0.9650, 1.099),
    (9, 0.9693, 1.032),
    (10, 0.9727, 0.975),
    (12, 0.9776, 0.886),
    (15, 0.9823, 0.789),
    (20, 0.9869, 0.680),
    (25, 0.9896, 0.606),
]


@pytest.mark.parametrize(("pieces", "c4_printed", "a3_printed"), FACTORS)
def test_the_factors_are_those_of_the_table(pieces, c4_printed, a3_printed):
    assert round(c4(pieces), 4) == c4_printed
    assert round(a3(pieces), 3) == a3_printed


def test_the_limits_of_montgomerys_piston_rings():
    limits = ControlLimits(centre_g=74.001, sigma_g=0.0094 / 0.9400, samples=25)

    low, high = limits.of(5)

    assert (round(low, 3), round(high, 3)) == (73.988, 74.014)
    assert not limits.is_provisional


def test_samples_of_one_size_have_limits_of_a3_times_the_mean_standard_deviation():
    # Averages 10, 11 and 9; each standard deviation is √2, each range 2.
    limits = control_limits([[9.0, 11.0], [10.0, 12.0], [8.0, 10.0]])

    low, high = limits.of(2)

    assert limits.centre_g == 10
    assert round(high - 10, 2) == round(2.659 * math.sqrt(2), 2)
    # A2 of the same table is 1.880: for pairs, limits by the range are those by the deviation.
    assert round(10 - low, 2) == round(1.880 * 2, 2)


def test_samples_of_several_sizes_have_limits_of_their_own():
    # s/c4: √2/0.7979 = 1.7725; 2/0.8862 = 2.2568; their mean is 2.0146.
    limits = control_limits([[9.0, 11.0], [8.0, 10.0, 12.0]])

    assert limits.centre_g == 10
    low, high = limits.of(4)
    assert high - 10 == pytest.approx(3 * 2.0146 / 2, abs=0.001)
    assert 10 - low == pytest.approx(3 * 2.0146 / 2, abs=0.001)
    assert limits.of(1)[1] - 10 == pytest.approx(3 * 2.0146, abs=0.001)


def test_a_piece_counts_once_for_the_centre_line():
    assert control_limits([[10.0], [13.0, 13.0]]).centre_g == 12


@pytest.mark.parametrize("samples", [[[9.0, 11.0]], [[10.0], [11.0], [12.0]]])
def test_there_are_no_limits_before_two_samples_show_a_spread(samples):
    limits = control_limits(samples)

    assert limits.sigma_g is None
    assert limits.of(2) is None


def test_limits_are_provisional_until_there_are_twenty_samples():
    pair = [9.0, 11.0]

    assert control_limits([pair] * 19).is_provisional
    assert not control_limits([pair] * 20).is_provisional


def test_c4_is_right_for_a_sample_of_a_thousand():
    # For many pieces c4 nears 4(n - 1)/(4n - 3); the handbook gives this for large samples.
    assert c4(1000) == pytest.approx(4 * 999 / 3997, abs=1e-7)


@pytest.mark.parametrize("pieces", [0, 1])
def test_one_piece_shows_no_spread(pieces):
    with pytest.raises(ValueError, match="One piece shows no spread"):
        c4(pieces)


def test_nothing_weighed_makes_no_chart():
    with pytest.raises(ValueError, match="at least one weight"):
        control_limits([])
