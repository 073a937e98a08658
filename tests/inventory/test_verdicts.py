"""The verdict of a fill check in the reader's language."""

import pytest
from django.utils import translation

from inventory.bottling.rules import verdicts
from inventory.physics import fill_check

SAMPLES = {
    "american pass": (454, [453.0, 455.0, 456.0, 454.5] * 3, 200, "us"),
    "american average": (454, [452.0, 453.0] * 6, 200, "us"),
    "american pieces": (454, [460.0] * 11 + [430.0], 200, "us"),
    "american small sample": (454, [460.0] * 10, 96, "us"),
    "american lot of one": (454, [452.0], 1, "us"),
    "european pass": (500, [498.5, 500.5] * 10, 2000, "eu"),
    "european average": (500, [498.0, 500.0] * 10, 2000, "eu"),
    "european pieces": (500, [508.0] * 19 + [484.0], 2000, "eu"),
    "european pieces twice": (340, [345.0] * 19 + [300.0], 2000, "eu"),
}


@pytest.mark.parametrize("sample", SAMPLES.values(), ids=SAMPLES)
def test_in_english_the_page_says_what_the_physics_says(sample):
    verdict = fill_check.check_fill(*sample)

    assert verdicts.sentence(verdict) == verdict.reason.replace("2000", "2,000")


def test_large_weights_are_grouped_and_long_ones_cut_to_a_hundredth():
    verdict = fill_check.check_fill(5443.10844, [5450.0] * 12, 96, "us", label_unit="lb")

    # 12 lb less 0.25 lb is 11.75 lb, 5,329.71 g.
    assert verdicts.sentence(verdict) == (
        "Passed. The average of 12 pieces is 5,450.00 g. That reaches the 5,443.11 g "
        "required: 5,443.11 g less 0.00 g, because only a sample was weighed. Below "
        "5,329.71 g: 0 pieces found, 0 allowed."
    )


def test_figures_are_written_as_the_reader_writes_them():
    verdict = fill_check.check_fill(454, [453.0, 455.0, 456.0, 454.5] * 3, 200, "us")

    with translation.override("de"):
        told = verdicts.sentence(verdict)

    assert "454,62 g" in told
    assert "434,1 g" in told
