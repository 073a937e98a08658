"""Public Law 102-329 (1992), amending the Fair Packaging and Labeling Act. Read.

Net quantity is stated in the inch-pound system and in the metric system, both.
"""

import pytest

from inventory.physics import labelling


@pytest.mark.parametrize("grams", [1, 28, 100, 340, 453.59237, 500, 1000, 1361, 1814.4, 27216])
def test_every_statement_is_in_both_systems(grams):
    words = labelling.net_contents_statement(grams).replace("(", "").replace(")", "").split()

    assert {"OZ", "LB"} & set(words)
    assert {"g", "kg"} & set(words)
