"""Directive 2001/110/EC relating to honey, annex II, point 2: moisture content. Read.

Not more than 20 % in general; heather (Calluna) and baker's honey in general 23 %; baker's honey
from heather 25 %.
"""

import numpy as np
import pytest

from inventory.physics import grading


@pytest.mark.parametrize(
    ("kind", "limit"),
    [("general", 20.0), ("heather", 23.0), ("bakers", 23.0), ("bakers_heather", 25.0)],
)
def test_honey_may_hold_water_up_to_the_limit_of_its_kind(kind, limit):
    moistures = np.array([limit - 0.1, limit, limit + 0.1])

    allowed = grading.meets_european_moisture_limit(moistures, kind)

    assert allowed.tolist() == [True, True, False]


def test_an_unknown_kind_is_refused_by_name():
    with pytest.raises(ValueError, match="general, heather, bakers, bakers_heather: 'acacia'"):
        grading.meets_european_moisture_limit(17.0, "acacia")
