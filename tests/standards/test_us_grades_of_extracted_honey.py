"""United States Standards for Grades of Extracted Honey, effective 23 May 1985 (USDA AMS). Read.

Table of colour designations by mm Pfund, and the soluble solids of each grade turned into moisture.
"""

import numpy as np
import pytest

from inventory.physics import grading

COLOURS = [
    # the class, over mm, up to and including mm
    ("Water White", None, 8),
    ("Extra White", 8, 17),
    ("White", 17, 34),
    ("Extra Light Amber", 34, 50),
    ("Light Amber", 50, 85),
    ("Amber", 85, 114),
    ("Dark Amber", 114, None),
]


@pytest.mark.parametrize(("name", "over", "up_to"), COLOURS)
def test_each_class_begins_above_its_lower_end_and_includes_its_upper(name, over, up_to):
    low = 0 if over is None else over + 0.1
    high = 140 if up_to is None else up_to

    assert grading.colour_class(low) == name
    assert grading.colour_class((low + high) / 2) == name
    assert grading.colour_class(high) == name


def test_an_array_of_colours_gives_an_array_of_names():
    names = grading.colour_class(np.array([8.0, 8.1, 17.0, 34.0, 50.0, 85.0, 114.0, 114.1]))

    assert names.tolist() == [
        "Water White",
        "Extra White",
        "Extra White",
        "White",
        "Extra Light Amber",
        "Light Amber",
        "Amber",
        "Dark Amber",
    ]


@pytest.mark.parametrize(
    ("moisture", "grade"),
    [
        (15.0, "U.S. Grade A"),
        (18.5, "U.S. Grade A"),
        (18.6, "U.S. Grade A"),  # soluble solids not less than 81.4 %, for A and B alike
        (18.7, "U.S. Grade C"),
        (19.9, "U.S. Grade C"),
        (20.0, "U.S. Grade C"),  # soluble solids not less than 80.0 %
        (20.1, "Substandard"),
        (25.0, "Substandard"),
    ],
)
def test_the_moisture_caps_the_grade(moisture, grade):
    assert grading.moisture_grade(moisture) == grade


def test_a_mean_of_18_6_by_floats_is_still_grade_a():
    mean = (18.4 + 18.5 + 18.6 + 18.7 + 18.8) / 5 + 1e-14

    assert grading.moisture_grade(mean) == "U.S. Grade A"
