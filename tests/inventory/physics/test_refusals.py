"""What is no finite number, nothing, or out of range is refused by every function alike."""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from inventory.physics import (
    density,
    fill_check,
    grading,
    labelling,
    refractometer,
    units,
    vessels,
)

TANK = vessels.UprightCylinder(60, 100)

# The function, a value it takes, and values beyond its low and high end, with the words it uses.
FUNCTIONS = {
    "moisture": (
        refractometer.moisture_from_refractive_index,
        1.49,
        [1.3, 1.6],
        "from 1.4693 to 1.5068 at 10 to 40 °C",
    ),
    "moisture at": (
        lambda celsius: refractometer.moisture_from_refractive_index(1.49, celsius),
        25.0,
        [9.9, 40.1],
        "from 10 to 40 °C",
    ),
    "index": (
        refractometer.refractive_index_from_moisture,
        17.0,
        [12.9, 25.1],
        "from 12.95 to 25.05 g per 100 g",
    ),
    "density": (density.density_kg_per_l, 17.0, [9.99, 30.01], "from 10 to 30 g per 100 g"),
    "density at": (
        lambda celsius: density.density_kg_per_l(17.0, celsius),
        25.0,
        [-0.1, 60.1],
        "from 0 to 60 °C",
    ),
    "pounds": (density.pounds_per_gallon, 17.0, [9.99, 30.01], "from 10 to 30 g per 100 g"),
    "band": (
        density.density_uncertainty_kg_per_l,
        17.0,
        [9.99, 30.01],
        "from 10 to 30 g per 100 g",
    ),
    "colour": (grading.colour_class, 30.0, [-0.1, 150.1], "from 0 to 150 mm Pfund"),
    "grade": (grading.moisture_grade, 17.0, [9.99, 30.01], "from 10 to 30 g per 100 g"),
    "european moisture": (
        grading.meets_european_moisture_limit,
        17.0,
        [9.99, 30.01],
        "from 10 to 30 g per 100 g",
    ),
    "variation": (fill_check.maximum_allowable_variation_g, 340.0, [0, -1], "over 0 g"),
    "error": (fill_check.tolerable_negative_error_g, 340.0, [4.9, -1], "5 g or more"),
    "plan": (
        lambda lot: fill_check.sampling_plan(lot).sample_size,
        96,
        [0, -1],
        "from 1 to 10,000,000 pieces",
    ),
    "factor": (fill_check.sample_correction_factor, 12, [1, 0], "from 2 to 1,000,000 pieces"),
    "type height": (labelling.minimum_type_height, 20.0, [0, -1], "over 0 square inches"),
    "figures": (labelling.minimum_figure_height_mm, 340.0, [4, 10_001], "from 5 to 10,000 g"),
    "box": (lambda side: labelling.rectangular_panel_in2(side, 2), 3.0, [0, -1], "over 0 in"),
    "jar": (lambda side: labelling.cylindrical_panel_in2(side, 2), 3.0, [0, -1], "over 0 in"),
    "volume": (TANK.volume_l, 50.0, [-1, 101], "cm"),
    "dip": (TANK.depth_cm, 100.0, [-1, 500], "L"),
}
all_functions = pytest.mark.parametrize(
    ("function", "good", "outside", "words"), FUNCTIONS.values(), ids=FUNCTIONS
)


@all_functions
def test_one_number_gives_one_plain_value(function, good, outside, words):
    for same in (good, np.float64(good), Decimal(str(good)), Fraction(str(good)), np.array(good)):
        assert type(function(same)) in (float, int, str, bool)
        assert function(same) == function(good)


@all_functions
def test_an_array_or_a_list_gives_an_array_of_the_same_shape(function, good, outside, words):
    for many in ([good, good], (good, good), np.full((3, 2), good), np.array([good])):
        found = function(many)

        assert isinstance(found, np.ndarray)
        assert found.shape == np.shape(many)
        assert (found == function(good)).all()


@all_functions
def test_beyond_either_end_the_range_and_the_unit_are_told(function, good, outside, words):
    for value in outside:
        with pytest.raises(ValueError, match=words):
            function(value)
        with pytest.raises(ValueError, match=words):
            function(np.array([good, value]))


NO_NUMBERS = [
    math.nan,
    math.inf,
    -math.inf,
    [math.nan],
    np.array([1.0, math.nan]),
    Decimal("NaN"),
    Decimal("sNaN"),
    10**400,
    "17",
    "",
    b"17",
    None,
    True,
    np.bool_(True),
    [17.0, None],
    [17.0, True],
    [[17.0, 17.0], [17.0]],
    17 + 0j,
    np.array([17 + 0j]),
    np.array(["17"]),
    np.array([True]),
    np.array([17.0, None], dtype=object),
    np.ma.array([17.0], mask=[True]),
    units.quantity(17.0, "g"),
    {"moisture": 17.0},
    object(),
    [],
    (),
    np.array([]),
    np.empty((0, 3)),
]


def refusal(function, value):
    """The sentence with which a function refuses a value, empty when it takes it."""
    try:
        function(value)
    except ValueError as refused:
        return str(refused)
    return ""


@all_functions
def test_what_is_no_number_or_nothing_is_refused(function, good, outside, words):
    refusals = {repr(value): refusal(function, value) for value in NO_NUMBERS}

    plain = ("must be", "at least one is wanted")
    assert [value for value, told in refusals.items() if not any(p in told for p in plain)] == []


def test_arrays_that_do_not_go_together_are_told_apart_by_their_shapes():
    with pytest.raises(ValueError, match=r"do not go together: their shapes are \(2,\) and \(3,\)"):
        density.density_kg_per_l([17.0, 18.0], [20.0, 21.0, 22.0])


def test_a_row_of_moistures_against_a_column_of_temperatures_makes_a_table():
    table = density.density_kg_per_l(np.array([[16.0], [17.0]]), np.array([10.0, 20.0, 30.0]))

    assert table.shape == (2, 3)
    assert table[1, 1] == density.density_kg_per_l(17.0, 20.0)


def test_the_input_array_is_left_as_it_was():
    moistures = np.array([18.6000000001, 17.0])
    before = moistures.copy()

    grading.moisture_grade(moistures)
    density.density_kg_per_l(moistures)

    assert (moistures == before).all()


@pytest.mark.parametrize("lot", [2.5, Decimal("11.5")])
def test_a_lot_is_counted_in_whole_pieces(lot):
    with pytest.raises(ValueError, match=r"lot size must be a whole number of pieces, not \d"):
        fill_check.sampling_plan(lot)


@pytest.mark.parametrize("grams", [0, 0.9, -1, 1_000_001, math.nan, math.inf, "340", None, True])
def test_net_contents_are_stated_from_1_gram_to_a_tonne(grams):
    with pytest.raises(ValueError, match="from 1 to 1,000,000 g"):
        labelling.net_contents_statement(grams)


def test_net_contents_of_nothing_are_refused():
    with pytest.raises(ValueError, match="at least one value is wanted"):
        labelling.net_contents_statement([])


def test_a_number_in_single_precision_counts_by_its_digits():
    """In single precision 18.6 is 18.6000004, which is no reason to grade honey down."""
    assert grading.moisture_grade(np.float32(18.6)) == "U.S. Grade A"
    assert grading.moisture_grade(np.array([18.6, 18.7], dtype=np.float32)).tolist() == [
        "U.S. Grade A",
        "U.S. Grade C",
    ]
