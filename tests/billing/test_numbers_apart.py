"""Numbers of orders, invoices, receipts, credit notes and runs can't be taken for each other."""

import re
from datetime import date

import pytest

from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import money
from apiary_sales.orders.models import Order
from inventory.shared import series
from inventory.stock import lot_codes
from inventory.stock.models import ProductionSettings
from tests.billing.conftest import TODAY, invoice_of, jars

pytestmark = pytest.mark.django_db

# Names of letters that a bad line makes one of, in English and in Spanish (common practice of
# spelling on the telephone): of each group, one may begin a number.
SOUND_ALIKE = ["BCDEGPTVZ", "AJK", "FSX", "MN", "IY", "QU"]
# And what looks like a digit, or is another letter's name in the other language.
NEVER = "OILSZBAEI"


def letters():
    return [value for name, value in vars(series).items() if name.isupper()]


def test_each_series_has_a_letter_of_its_own():
    assert len(set(letters())) == len(letters()) >= 7
    assert all(re.fullmatch("[A-Z]", letter) for letter in letters())


@pytest.mark.parametrize("group", SOUND_ALIKE)
def test_no_two_letters_sound_alike(group):
    assert len(set(letters()) & set(group)) <= 1


def test_no_letter_looks_like_a_digit_or_is_called_like_another_one():
    assert not set(letters()) & set(NEVER)


def test_the_usual_lot_code_begins_with_another_letter():
    code = lot_codes.of_day(ProductionSettings().lot_code_pattern, date(2026, 9, 10))

    assert code[0] not in letters()


def test_an_order_and_its_invoice_have_numbers_of_different_series(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 1))

    assert (str(invoice), invoice.order.number) == ("F26-00001", "K26-0001")


@pytest.mark.parametrize(
    "text", ["F26-00001", "f26-1", "26-00001", "26-1", "K26-0001", "k26-0001", "26-0001"]
)
def test_an_invoice_is_found_by_its_number_with_and_without_the_letter(shop, pounds, text):
    invoice = invoice_of(shop, jars(pounds, 1))

    assert list(money.invoices(text=text, on=TODAY)) == [invoice]


@pytest.mark.usefixtures("without_triggers")
def test_a_number_given_before_stays_and_is_found(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 1))
    Invoice.objects.filter(pk=invoice.pk).update(series="26", number=17)
    Order.objects.filter(pk=invoice.order_id).update(number="26-0004")

    for text in ("26-00017", "26-17", "26-0004"):
        [found] = money.invoices(text=text, on=TODAY)
        assert str(found) == "26-00017"
    assert not money.invoices(text="F26-00017", on=TODAY).exists()
    assert str(invoice_of(shop, jars(pounds, 1))) == "F26-00002"
