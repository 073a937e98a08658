"""Cash is rounded to the smallest coin of the house, cards are not, and the books say by how much.

The rule is from memory, as it is used where the smallest coins are gone: to the nearest coin.
"""

import pytest
from django.urls import reverse

from apiary_sales.billing.models import EntryLine, StandSale
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import payments
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.takings import takings
from inventory.shared.errors import BadValue
from inventory.shared.services import house as houses
from tests import builders
from tests.billing.conftest import invoice_of, jars
from tests.billing.stand_room import card, cash, sold

pytestmark = pytest.mark.django_db


@pytest.fixture
def five_cents(house):
    houses.change(smallest_coin_cents=5)


def on(account):
    return sum(EntryLine.objects.filter(account=account).values_list("amount_cents", flat=True))


@pytest.mark.parametrize(
    ("price", "handed", "rounding"), [("8.02", 800, -2), ("8.03", 805, 2), ("8.05", 805, 0)]
)
def test_a_sale_in_cash_is_rounded_and_the_receipt_stays_exact(
    five_cents, stand, pounds, price, handed, rounding
):
    receipt = sold(stand, jars(pounds, 1, price), payments=[cash()])

    [payment] = receipt.stand_sale.payments
    assert (receipt.total_cents, receipt.open_cents) == (handed - rounding, 0)
    assert (payment.handed_cents, payment.rounding_cents) == (handed, rounding)
    assert receipt.stand_sale.change_cents == 10_000 - handed
    assert (on("cash"), on("cash_rounding")) == (handed, -rounding)
    assert list(books.faults()) == []


def test_the_till_may_say_the_rounded_cash_itself(five_cents, stand, pounds):
    receipt = sold(stand, jars(pounds, 1, "8.03"), payments=[card(500), cash(305)])

    assert [each.handed_cents for each in receipt.stand_sale.payments] == [500, 305]
    assert (on("card"), on("cash"), on("cash_rounding")) == (500, 305, -2)


def test_cards_pay_to_the_cent_and_so_does_a_house_with_cents(five_cents, stand, pounds):
    by_card = sold(stand, jars(pounds, 1, "8.03"), payments=[card()])
    houses.change(smallest_coin_cents=1)
    in_cash = sold(stand, jars(pounds, 1, "8.03"), payments=[cash()])

    handed = [sale.stand_sale.payments[0].handed_cents for sale in (by_card, in_cash)]
    assert (handed, on("cash_rounding")) == ([803, 803], 0)


def test_more_than_half_a_coin_is_a_wrong_amount(five_cents, stand, pounds):
    with pytest.raises(BadValue, match=r"comes to \$8\.03, but \$8\.10 was paid"):
        sold(stand, jars(pounds, 1, "8.03"), payments=[cash(810)])


def test_takings_are_what_changed_hands_and_nothing_of_it_is_unpaid(five_cents, stand, pounds):
    sold(stand, jars(pounds, 1, "8.03"), payments=[cash()])
    sold(stand, jars(pounds, 1, "8.02"), payments=[cash()])
    sold(stand, jars(pounds, 1, "8.03"), payments=[card()])

    found = takings(StandSale.objects.all())

    # 8.05 and 8.00 in cash; 24.08 in all.
    assert [(row.name, row.cents) for row in found.by_method] == [("cash", 1_605), ("card", 803)]
    assert (found.cents, found.rounding_cents, found.unpaid_cents) == (2_408, 0, 0)


def test_undoing_a_sale_gives_the_rounded_cash_back(five_cents, stand, pounds, owner, key):
    receipt = sold(stand, jars(pounds, 1, "8.03"), payments=[cash()])

    stand_sales.take_back(receipt=receipt, taken_by=owner, key=key(), reason="Mistyped")

    assert (on("cash"), on("cash_rounding"), on("receivable")) == (0, 0, 0)
    assert list(books.faults()) == []


@pytest.mark.parametrize(("price", "handed"), [("8.02", 800), ("8.03", 805)])
def test_an_invoice_paid_in_cash_is_paid_by_what_there_are_coins_for(
    five_cents, shop, pounds, owner, key, price, handed
):
    invoice = invoice_of(shop, jars(pounds, 1, price))

    payments.receive(
        customer=shop, amount_cents=handed, method="cash", received_by=owner, key=key()
    )

    invoice.refresh_from_db()
    assert (invoice.open_cents, on("cash")) == (0, handed)
    assert payments.on_account_cents(shop) == 0
    assert list(books.faults()) == []


@pytest.mark.parametrize("share", ["", "8.00"])
def test_the_page_of_payments_asks_nothing_about_what_the_coin_leaves(
    five_cents, shop, pounds, client, share
):
    invoice = invoice_of(shop, jars(pounds, 1, "8.02"))
    client.force_login(builders.person("owner"))
    form = {
        "key": "page",
        "amount": "8.00",
        "method": "cash",
        "received_on": "2026-09-10",
        "allocations": "chosen",
        f"take_{invoice.pk}": "on",
        f"share_{invoice.pk}": share,
    }

    page = client.post(f"/money/payments/new/?customer={shop.pk}", form)

    invoice.refresh_from_db()
    assert (page.status_code, invoice.open_cents, on("cash_rounding")) == (302, 0, 2)


def test_an_amount_that_there_are_no_coins_for_is_rounded_by_itself(
    five_cents, shop, pounds, owner, key
):
    invoice = invoice_of(shop, jars(pounds, 1, "8.03"))

    payments.receive(customer=shop, amount_cents=803, method="cash", received_by=owner, key=key())

    invoice.refresh_from_db()
    assert (invoice.open_cents, on("cash"), on("cash_rounding")) == (0, 805, -2)


def test_what_is_given_on_top_in_cash_is_not_rounded_apart(five_cents, stand, pounds):
    sold(stand, jars(pounds, 1, "8.03"), payments=[cash(1_000)], on_top_cents=197)

    assert (on("cash"), on("cash_rounding"), on("receivable")) == (1_000, 0, 0)


def test_money_given_back_in_cash_is_rounded_too(five_cents, shop, pounds, owner, key):
    payments.receive(customer=shop, amount_cents=803, method="check", received_by=owner, key=key())

    payments.pay_back(customer=shop, amount_cents=803, method="cash", paid_by=owner, key=key())

    assert (on("cash"), on("cash_rounding"), payments.on_account_cents(shop)) == (-805, 2, 0)


def test_the_receipt_says_by_how_much_it_was_rounded(five_cents, stand, pounds, client):
    receipt = sold(stand, jars(pounds, 1, "8.03"), payments=[cash()])
    client.force_login(builders.person("owner"))

    page = client.get(reverse("billing:receipt", args=[receipt.pk]))

    rows = page.text.split("<tr")
    assert any("Rounded to the smallest coin" in row and "$0.02" in row for row in rows)
    assert any("Change given" in row and "$91.95" in row for row in rows)
