"""A. G. Lochhead (1933): at which moisture honey ferments, by how many yeasts it holds.

As tabled in E. Crane (ed.), Honey: A Comprehensive Survey, 1975, and repeated in most handbooks;
from memory:

    moisture, g per 100 g   liable to ferment
    17.1 and under          no, whatever the yeast count
    17.1 to 18.0            only above 1,000 yeasts a gram
    18.1 to 19.0            only above 10 yeasts a gram
    19.1 to 20.0            only above 1 yeast a gram
    above 20.0              always in danger

Nobody in a honey house counts yeasts. So the warnings fall silent only where the table is safe at
any count, and are certain only where it is in danger at any count. Between them the sentence
changes at 18.6 %, the limit of U.S. grade A, which lies in the band where ten yeasts are enough.
"""

from decimal import Decimal

import pytest

from inventory.stock.models import Lot

SAFE = ""
COUNT_DECIDES = "Above 17.1 % moisture: this honey keeps only if it stays cool and clean."
FEW_ARE_ENOUGH = (
    "Above 18.6 % moisture: this honey may ferment and does not meet U.S. Grade A. Dry it "
    "or blend it."
)
DANGER = (
    "Above 20 % moisture: this honey will ferment. Keep it cool. Use it soon, or feed it "
    "to the bees soon."
)


@pytest.mark.parametrize(
    ("moisture", "warning"),
    [
        ("10", SAFE),
        ("15.8", SAFE),
        ("17.0", SAFE),
        ("17.1", SAFE),
        ("17.11", COUNT_DECIDES),
        ("18.0", COUNT_DECIDES),
        ("18.1", COUNT_DECIDES),
        ("18.6", COUNT_DECIDES),
        ("18.61", FEW_ARE_ENOUGH),
        ("19.0", FEW_ARE_ENOUGH),
        ("19.1", FEW_ARE_ENOUGH),
        ("20.0", FEW_ARE_ENOUGH),
        ("20.01", DANGER),
        ("30", DANGER),
    ],
)
def test_the_warning_of_a_moisture(moisture, warning):
    assert Lot(moisture_percent=Decimal(moisture)).keeping_note == warning


def test_honey_is_called_safe_only_where_no_yeast_count_makes_it_ferment():
    tabled = [(Decimal("17.1"), None), (Decimal(18), 1000), (Decimal(19), 10), (Decimal(20), 1)]

    for hundredths in range(1000, 3001):
        moisture = Decimal(hundredths) / 100
        yeasts_allowed = next((most for up_to, most in tabled if moisture <= up_to), 0)
        is_silent = not Lot(moisture_percent=moisture).keeping_note

        assert is_silent is (yeasts_allowed is None)
