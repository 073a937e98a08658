"""The reading of a dip stick: GUM (JCGM 100:2008), F.2.2.1, the resolution of an indication.

From memory: an indication of resolution δx can be of any value within δx/2 of it with equal
likelihood, a rectangle of width δx, whose standard uncertainty is 0.29 δx.
"""

import math
from decimal import Decimal

import pytest

from inventory.stock import vessels
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("mark_mm", [Decimal(1), Decimal("3.2"), Decimal(10)])
def test_a_dip_can_be_wrong_by_half_a_mark_which_is_the_half_width_of_the_rectangle(mark_mm):
    # 2 m across: 3,141.59 cm² × 10 are 31.4159 L in a centimetre.
    tank = builders.measured_tank("wide", diameter_mm=2000, length_mm=1500)

    litres = vessels.stick_litres(tank, 700, mark_mm)

    half_width_mm = float(litres) / 3.14159265
    assert half_width_mm == pytest.approx(float(mark_mm) / 2, abs=0.001)
    # What the GUM calls the standard uncertainty of such a rectangle.
    assert half_width_mm / math.sqrt(3) == pytest.approx(0.29 * float(mark_mm), rel=0.01)
