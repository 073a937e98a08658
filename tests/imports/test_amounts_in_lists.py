"""Amounts and percentages, with what people write beside them."""

import pytest

from apiary_sales.imports.rules.cells import Writing, read_cell
from apiary_sales.imports.rules.columns import CellKind, ListColumn
from inventory.shared.errors import BadValue


@pytest.mark.parametrize("text", ["$12,50", "12,50 USD", "USD 12,50", "12,50"])
def test_an_amount_may_have_the_currency_of_the_house(text):
    writing = Writing(decimal_sign=",", currency="USD")

    assert read_cell(ListColumn("amount", "Amount", CellKind.MONEY), text, writing) == 1_250


@pytest.mark.parametrize(("text", "sign"), [("12,50 €", "€"), ("EUR 12,50", "EUR")])
def test_an_amount_in_another_currency_is_refused(text, sign):
    writing = Writing(decimal_sign=",", currency="USD")

    with pytest.raises(BadValue) as refused:
        read_cell(ListColumn("amount", "Amount", CellKind.MONEY), text, writing)

    assert refused.value.message == f"This amount is in {sign}. Your books are in USD."


def test_a_percentage_may_have_its_sign():
    column = ListColumn("moisture_percent", "Moisture", CellKind.NUMBER)

    assert str(read_cell(column, "18,9 %", Writing(decimal_sign=","))) == "18.9"
