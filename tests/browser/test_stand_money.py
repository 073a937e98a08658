"""What a buyer pays and how: what the till asks is what is in the books."""

import pytest

from apiary_sales.billing.models import Invoice, Payment, StandSale
from apiary_sales.billing.queries import books
from apiary_sales.pricing.models import TaxRate
from tests.browser.tills import sees, tap, tile


def change_price(page, way, typed):
    """Change the price of the whole sale in the opened basket."""
    if not page.locator("#till-discount").is_visible():
        page.get_by_text("Discount, another total or tip").tap()
    page.get_by_text(way, exact=True).tap()
    page.locator("#till-discount").fill(typed)


def give(page, typed):
    page.locator("#till-given").fill(typed)


def paid():
    rows = Payment.objects.order_by("id").values_list(
        "method", "amount_cents", "tendered_cents", "reference"
    )
    return list(rows)


@pytest.fixture
def basket(till):
    """Two jars at 8.00 in the opened basket."""
    tap(till, "One pound")
    tap(till, "One pound")
    tap(till, "2 pieces · $16.00")
    return till


def test_a_sale_is_paid_half_by_card_half_in_cash(basket):
    tap(basket, "Card")
    basket.locator("#till-card").fill("10")
    sees(basket, "Then $6.00 is left to pay")
    tap(basket, "Card paid $10.00, the rest another way")
    give(basket, "20")
    tap(basket, "Take $20.00, give back $14.00")
    sees(basket, "Recorded on receipt")

    assert paid() == [("card", 1_000, None, ""), ("cash", 600, 2_000, "")]
    assert list(books.faults()) == []


def test_a_check_is_recorded_with_its_number(basket):
    tap(basket, "Check")
    basket.get_by_label("Check number").fill("1042")
    tap(basket, "Check taken for $16.00")
    sees(basket, "Recorded on receipt")

    assert paid() == [("check", 1_600, None, "1042")]


@pytest.mark.parametrize(
    ("way", "typed", "total", "on_top"),
    [
        ("Amount off", "1.50", 1_450, 0),
        # 12.5 % of 16.00 is 2.00.
        ("Percent off", "12.5", 1_400, 0),
        ("Buyer names the total", "15", 1_500, 0),
        ("Buyer names the total", "20", 1_600, 400),
        ("Buyer names the total", "0", 0, 0),
    ],
)
def test_the_price_of_the_whole_is_changed_down_and_up(basket, way, typed, total, on_top):
    change_price(basket, way, typed)
    tap(basket, "Cash")
    basket.locator("[data-stage=pay] [data-act=finish]").tap()
    sees(basket, "Recorded on receipt")

    sale = StandSale.objects.get()
    assert (sale.total_cents, sale.on_top_cents) == (total, on_top)
    assert list(sale.marks.values_list("kind", flat=True)) == []
    assert list(books.faults()) == []


@pytest.mark.parametrize("named", ["10", "15.99", "16.01", "17.17", "17.18", "25"])
def test_what_the_buyer_names_is_paid_to_the_cent_with_the_tax_in_it(basket, named):
    TaxRate.objects.create(
        name="Sales tax", goods="honey", percent="7.375", valid_from="2026-01-01"
    )
    basket.reload()
    # 16.00 and 7.375 % of it, 1.18.
    tap(basket, "2 pieces · $17.18")
    change_price(basket, "Buyer names the total", named)
    tap(basket, "Card")
    cents = round(float(named) * 100)
    tap(basket, f"Card paid ${cents / 100:.2f}")
    sees(basket, "Recorded on receipt")

    sale = StandSale.objects.get()
    assert sale.total_cents + sale.on_top_cents == cents
    assert list(sale.marks.values_list("kind", flat=True)) == []


def test_the_buyer_leaves_the_change_or_takes_it_after_all(basket):
    tap(basket, "Cash")
    give(basket, "20")
    tap(basket, "The buyer leaves the change: $4.00")
    sees(basket, "No change: $4.00 is given on top")
    tap(basket, "Give the change after all: $4.00")
    sees(basket, "Give back $4.00")
    tap(basket, "The buyer leaves the change: $4.00")
    tap(basket, "Take $20.00")
    sees(basket, "Recorded on receipt")

    sale = StandSale.objects.get()
    assert (sale.total_cents, sale.on_top_cents, sale.change_cents) == (1_600, 400, 0)
    assert list(books.faults()) == []


def test_a_tip_comes_on_top_of_the_price(basket):
    basket.get_by_text("Discount, another total or tip").tap()
    basket.get_by_label("Tip or gift on top").fill("2")
    tap(basket, "Card")
    tap(basket, "Card paid $18.00")
    sees(basket, "Recorded on receipt")

    sale = StandSale.objects.get()
    assert (sale.total_cents, sale.on_top_cents) == (1_600, 200)


def test_too_little_cash_is_said_before_it_is_stored_and_can_be_corrected(basket):
    tap(basket, "Cash")
    give(basket, "10")
    sees(basket, "Ask for $6.00 more")

    tap(basket, "Take $10.00")

    sees(basket, "The sale comes to $16.00: $6.00 is missing.")
    assert not Invoice.objects.exists()

    tap(basket, "Correct the amount")
    assert basket.evaluate("document.activeElement.id") == "till-given"
    give(basket, "16")
    tap(basket, "Take $16.00")
    sees(basket, "Recorded on receipt")
    assert paid() == [("cash", 1_600, 1_600, "")]


def test_too_little_cash_is_all_that_the_buyer_pays_or_the_rest_is_paid_another_way(basket):
    tap(basket, "Cash")
    give(basket, "10")
    tap(basket, "Take $10.00")
    tap(basket, "The buyer pays $6.00 less")
    tap(basket, "Take $10.00")
    sees(basket, "Recorded on receipt")
    assert Invoice.objects.get().total_cents == 1_000

    tap(basket, "One pound")
    tap(basket, "Pay")
    give(basket, "5")
    tap(basket, "Take $5.00")
    tap(basket, "$5.00 in cash, $3.00 another way")
    tap(basket, "Card paid $3.00")
    sees(basket, "Recorded on receipt")
    assert paid()[1:] == [("cash", 500, 500, ""), ("card", 300, None, "")]


def test_a_zero_too_many_is_asked_about(basket):
    tap(basket, "Cash")
    give(basket, "1600")
    tap(basket, "Take $1,600.00, give back $1,584.00")

    sees(basket, "Give back $1,584.00?")
    tap(basket, "Correct the amount")

    assert not Invoice.objects.exists()


def test_a_price_for_several_is_one_tap(till, pounds, price_of):
    price_of(pounds, 700, pieces=3)
    till.reload()

    tap(till, "3 for $21.00")

    sees(till, "3 pieces · $21.00")
    tile(till, "one-pound").tap()
    sees(till, "4 pieces · $28.00")
