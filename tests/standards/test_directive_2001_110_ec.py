"""Directive 2001/110/EC relating to honey, annex II, point 2: moisture content. Read. Article 2,
origin on labels, as changed by Directive (EU) 2024/1438: from memory.

Not more than 20 % in general; heather (Calluna) and baker's honey in general 23 %; baker's honey
from heather 25 %.
"""

from fractions import Fraction

import numpy as np
import pytest

from inventory.physics import grading
from inventory.shared.models import House
from inventory.stock import origin
from inventory.stock.models import Lot
from inventory.stock.models.lots import Origin


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


def test_a_blend_names_its_countries_in_descending_order_each_with_its_percentage():
    """Article 2(4)(a) as changed by Directive (EU) 2024/1438, from memory: the countries of origin
    in the principal field of vision, in descending order of weight, with the percentage of each.
    """
    house = House(origin_rule=House.OriginRule.PERCENTAGES)
    lots = [Lot(kind=Lot.Kind.BOUGHT, country=country) for country in ("AR", "ES", "UA")]
    # 250 kg, 450 kg and 300 kg of 1,000 kg
    shares = (Fraction(1, 4), Fraction(9, 20), Fraction(3, 10))
    origins = [Origin(lot, share) for lot, share in zip(lots, shares, strict=True)]

    said = origin.label_lines(origin.by_country(origins, house), house)

    assert said == ["Blend of honeys from: Spain 45 %, Ukraine 30 %, Argentina 25 %"]
