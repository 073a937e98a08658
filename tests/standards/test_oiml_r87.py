"""OIML R 87, Quantity of product in prepackages: tolerable deficiency over 10 kg. From memory.

10 to 15 kg: 150 g. Over 15 kg: 1 %. Below, it is that of Directive 76/211/EEC.
"""

import pytest

from inventory.physics import fill_check


@pytest.mark.parametrize(
    ("label", "error"),
    [(10_001, 150.0), (12_500, 150.0), (15_000, 150.0), (15_005, 150.1), (20_000, 200.0)],
)
def test_the_tolerable_deficiency_of_large_packages(label, error):
    assert fill_check.tolerable_negative_error_g(label) == error
