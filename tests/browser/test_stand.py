"""The person at the stand: a jar in four taps on a telephone, with and without signal."""

from datetime import date
from decimal import Decimal

import pytest

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books
from apiary_sales.pricing.models import PiecePrice, TaxRate
from inventory.shared.models import House
from tests import builders
from tests.browser.conftest import DESKTOP, PHONE
from tests.browser.tills import at, sees, sees_no, sell_one, stock_says, tap


def test_one_jar_is_sold_in_four_taps(till, pounds, axe):
    taps = 0

    for name in ["One pound", "Pay", "$10.00", "Take $10.00, give back $2.00"]:
        tap(till, name)
        taps += 1

    sees(till, "Recorded on receipt R")
    assert taps == 4
    sees(till, "Give back $2.00")
    receipt = Invoice.objects.get()
    payment = Payment.objects.get()
    assert (receipt.total_cents, payment.tendered_cents) == (800, 1_000)
    assert at("stand", pounds) == 23
    stock_says(till, "one-pound", "23 here")
    axe(till)


def test_a_comma_house_sees_and_sells_with_commas(comma_house, till, pounds):
    for name in ["One pound", "Pay", "$10,00", "Take $10,00, give back $2,00"]:
        tap(till, name)

    sees(till, "Recorded on receipt R")
    sees(till, "Give back $2,00")
    assert Invoice.objects.get().total_cents == 800


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_till_has_no_barrier_at_any_stage(till, axe, scheme):
    till.emulate_media(color_scheme=scheme)
    axe(till)
    tap(till, "One pound")
    axe(till)
    tap(till, "1 piece")
    till.get_by_text("Discount, another total or tip").tap()
    axe(till)
    tap(till, "Cash")
    till.locator("#till-given").fill("5")
    tap(till, "Take $5.00")
    axe(till)
    tap(till, "The buyer pays $3.00 less")
    tap(till, "Check")
    axe(till)
    tap(till, "Check taken for $5.00")
    sees(till, "Recorded on receipt")
    axe(till)
    tap(till, "Sales")
    till.locator(".sales-list summary").first.tap()
    axe(till)
    till.locator(".sales-list").get_by_role("button", name="Undo").tap()
    axe(till)


def test_the_till_works_with_the_keyboard_alone(sign_in, pounds):
    page = sign_in("stand", DESKTOP)
    page.goto("/stand/")
    page.locator("[data-till]:not([hidden])").wait_for()

    page.locator("[data-product=one-pound]").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    sees(page, "$16.00")
    page.locator("[data-pay=cash]").focus()
    page.keyboard.press("Enter")
    page.locator("#till-given").focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("20")
    sees(page, "Give back $4.00", exact=True)
    page.keyboard.press("Enter")
    sees(page, "Recorded on receipt")

    assert Payment.objects.get().tendered_cents == 2_000
    assert at("stand", pounds) == 22


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (
            "50",
            (
                "The discount of $50.00 is more than the price of the goods, $8.00. Enter a "
                "smaller discount."
            ),
        ),
        ("-1", "Enter the discount as money, for example 0.50."),
        ("1.2.3", "Enter the discount as money, for example 0.50."),
    ],
)
def test_a_discount_that_cannot_be_stops_the_sale(till, typed, sentence):
    tap(till, "One pound")
    tap(till, "1 piece")
    till.locator("details.discount summary").tap()
    till.locator("#till-discount").fill(typed)

    tap(till, "Cash")

    sees(till, sentence)
    assert not till.get_by_role("heading", name="To pay").is_visible()
    assert till.evaluate("document.activeElement.id") == "till-discount"

    till.locator("#till-discount").fill("8")
    tap(till, "Cash")
    till.get_by_role("heading", name="To pay $0.00").wait_for()


@pytest.mark.parametrize("rounding", ["line", "invoice"])
def test_the_till_reckons_to_the_cent_as_the_books_do(sign_in, stand, price_of, rounding):
    """Tax, quantity breaks, case prices and a discount: what the till asks is what is booked."""
    House(name="Hollow Oak Honey House", tax_rounding=rounding).save()
    TaxRate.objects.create(
        name="Sales tax", goods="honey", percent=Decimal("7.375"), valid_from=date(2026, 1, 1)
    )
    for code, per_case, prices in [
        ("half", 8, [(1, 525, 4015), (3, 499, 4015)]),
        ("pound", 12, [(1, 835, 9955)]),
        ("quart", 6, [(1, 2115, None), (2, 2049, None)]),
        ("bear", 12, [(1, 540, 6000), (6, 530, None), (36, 490, None)]),
    ]:
        product = builders.product(code, code=code, pieces_per_case=per_case)
        builders.packed_lot(product, stand, 100)
        for pieces, piece_cents, case_cents in prices:
            price_of(product, piece_cents, pieces=pieces, case_cents=case_cents)
    page = sign_in("stand", DESKTOP)
    page.goto("/stand/")
    baskets = [
        ({"half": 1, "pound": 1, "quart": 1}, "0.01"),
        ({"half": 3, "pound": 7}, "1.00"),
        ({"half": 8, "pound": 12, "quart": 2}, "3.33"),
        ({"half": 16, "pound": 13, "quart": 5}, "0.50"),
        ({"bear": 6}, "0.00"),
        ({"bear": 12}, "0.00"),
        ({"bear": 36}, "0.00"),
        ({"quart": 1}, "21.15"),
    ]

    asked = []
    for basket, discount in baskets:
        for code in basket:
            page.locator(f"[data-product={code}]").click()
        for code, pieces in basket.items():
            page.get_by_role("spinbutton", name=code, exact=True).and_(
                page.locator(".basket input")
            ).fill(str(pieces))
            page.keyboard.press("Tab")
        if not page.locator("#till-discount").is_visible():
            page.locator("summary", has_text="Discount").click()
        page.locator("#till-discount").fill(discount)
        asked.append(page.locator("[data-part=total]").inner_text())
        page.locator("[data-pay=card]").click()
        page.get_by_role("button", name=f"Card paid {asked[-1]}").click()
        sees(page, "Recorded on receipt R")
        page.get_by_role("button", name="Next sale").click()

    bills = list(Invoice.objects.order_by("id"))
    booked = [f"${bill.total_cents / 100:,.2f}" for bill in bills]
    assert asked == booked
    # 21.15 less 21.15 is nothing; a case of pounds at 99.55 is no multiple of a piece's price.
    assert booked[-1] == "$0.00"
    case_line = bills[2].lines.get(description="pound")
    assert case_line.amount_cents + case_line.discount_cents == 9_955
    # 6 at 5.30; a case at 60.00 is less than 12 at 5.30; 36 at 4.90 are less than three cases.
    bears = [line.amount_cents for bill in bills for line in bill.lines.filter(description="bear")]
    assert bears == [3_180, 6_000, 17_640]


def test_a_price_that_changed_is_told_while_a_sale_is_open_and_is_what_the_sale_costs(till, pounds):
    tap(till, "One pound")
    PiecePrice.objects.update(piece_cents=900)

    till.reload()

    sees(till, "One pound now costs $9.00; before it was $8.00. This sale has it.")
    tap(till, "1 piece · $9.00")


def test_a_price_that_changed_while_the_money_is_counted_is_for_the_next_sale(till, pounds):
    sell_one(till)
    tap(till, "One pound")
    tap(till, "Pay")
    PiecePrice.objects.update(piece_cents=900)
    with till.expect_response("**/stand/data/"):
        till.evaluate("window.dispatchEvent(new Event('online'))")

    till.get_by_role("heading", name="To pay $8.00").wait_for()
    tap(till, "Take $8.00")
    sees(till, "Recorded on receipt")

    till.locator("[data-product=one-pound]", has_text="$9.00").wait_for()
    assert sorted(Invoice.objects.values_list("total_cents", flat=True)) == [800, 800]


def test_a_sale_without_signal_is_kept_through_a_reload_and_sent_once(till, pounds):
    till.context.set_offline(True)
    sees(till, "No signal. Go on selling")
    for name in ["One pound", "Pay", "$10.00", "Take $10.00, give back $2.00"]:
        tap(till, name)
    sees(till, "The sale is kept on this device and sent later.")
    sees(till, "Give back $2.00")
    sees(till, "1 sale is waiting to be sent")
    stock_says(till, "one-pound", "23 here")

    till.reload()
    sees(till, "1 sale is waiting to be sent")
    sees(till, "No signal. Go on selling")
    stock_says(till, "one-pound", "23 here")
    assert not Invoice.objects.exists()

    till.context.set_offline(False)
    sees_no(till, "1 sale is waiting to be sent")
    till.reload()
    till.locator("[data-till]:not([hidden])").wait_for()

    assert Invoice.objects.count() == 1
    assert Payment.objects.get().tendered_cents == 1_000
    assert at("stand", pounds) == 23
    stock_says(till, "one-pound", "23 here")
    assert list(books.faults()) == []


def test_an_answer_lost_on_the_way_does_not_sell_twice(till, pounds):
    """The server records the sale, the signal goes before its answer arrives."""
    lost = []

    def lose_the_answer(route):
        route.fetch()
        lost.append(route.request.post_data_json["key"])
        route.abort("connectionreset")

    till.context.route("**/stand/sales/", lose_the_answer)
    for name in ["One pound", "Pay", "Take $8.00"]:
        tap(till, name)
    sees(till, "1 sale is waiting to be sent")
    assert Invoice.objects.count() == 1

    till.context.unroute("**/stand/sales/")
    tap(till, "Sales")
    tap(till, "Send now")
    till.locator(".sales-list").get_by_text("in the books").wait_for()

    assert len(lost) >= 1
    assert Invoice.objects.count() == 1
    assert Payment.objects.count() == 1
    assert at("stand", pounds) == 23


def test_signed_out_meanwhile_the_sale_waits_until_the_next_sign_in(till, pounds):
    cookies = till.context.cookies()
    till.context.clear_cookies(name="sessionid")
    for name in ["One pound", "Pay", "Take $8.00"]:
        tap(till, name)
    sees(till, "Sign in again to send the sales that are waiting.")
    assert not Invoice.objects.exists()

    till.context.add_cookies(cookies)
    tap(till, "Sales")
    tap(till, "Send now")
    till.locator(".sales-list").get_by_text("in the books").wait_for()

    assert Invoice.objects.count() == 1


def test_without_script_the_form_sells(chromium, sign_in, live_server, pounds):
    signed_in = sign_in("stand", PHONE).context.storage_state()
    context = chromium.new_context(
        base_url=live_server.url, java_script_enabled=False, storage_state=signed_in
    )
    page = context.new_page()

    page.goto("/stand/")
    page.get_by_label("One pound").fill("2")
    page.get_by_role("textbox", name="Cash given").fill("20")
    page.get_by_role("button", name="Finish the sale").click()
    sees(page, "Sold for $16.00. Give back $4.00.")
    context.close()

    assert at("stand", pounds) == 22


def test_a_sale_is_undone_from_its_receipt(till, pounds, axe):
    for name in ["One pound", "Pay", "Take $8.00"]:
        tap(till, name)
    till.get_by_role("link", name="Receipt", exact=True).tap()
    till.get_by_role("link", name="Undo this sale").wait_for()
    axe(till)
    till.get_by_role("link", name="Undo this sale").tap()
    till.get_by_label("Why?").fill("Changed their mind")
    axe(till)
    tap(till, "Undo and give back $8.00")
    sees(till, "The goods are back in stock.")

    assert at("stand", pounds) == 24
    assert list(books.faults()) == []
