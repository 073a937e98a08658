"""Figures in sentences, also those that nobody should have typed."""

import pytest

from inventory import words
from inventory.templatetags import quantities

NINES = 10**40 - 1


def test_pieces_are_written_out_however_many_they_are():
    written = ",".join(["9"] + ["999"] * 13)

    assert words.pieces(NINES) == f"{written} pieces"
    assert f"<b>{written}</b>" in quantities.pieces(NINES)
    assert f"<b>−{written}</b>" in quantities.pieces(-NINES)


@pytest.mark.parametrize(
    "write",
    [
        words.money,
        words.pounds,
        words.kilograms,
        quantities.money,
        quantities.unit_price,
        quantities.pounds,
        quantities.weight,
    ],
)
def test_money_and_weights_are_told_however_much_they_are(write):
    assert write(NINES).count(",") > 10
