"""Money moved by hand: what may go where, what it does to the books, and its pages.

Expected amounts are worked out by hand, by double entry: what leaves an account comes to others.
"""

import re

import pytest
from django.urls import reverse

from apiary_sales.billing.models import WAYS, EntryLine, MoneyMove
from apiary_sales.billing.queries import books, journal, purchase_books, tax_return
from apiary_sales.billing.queries.cash_book import cash_book
from apiary_sales.billing.queries.journal import Journal, JournalFilters
from apiary_sales.billing.services import (
    closing,
    deposit_slips,
    expenses,
    money_moves,
    opening,
)
from apiary_sales.billing.services import stand as stand_sales
from inventory.shared.errors import AlreadyRecorded, BadValue, CannotReverse
from tests import builders
from tests.billing.buying_room import Room
from tests.billing.conftest import TODAY, days, errors_in, filled_in, invoice_of, jars, pay

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(house):
    return builders.person()


@pytest.fixture
def office(client, house):
    client.force_login(builders.person("office"))
    return client


def account(name):
    return sum(EntryLine.objects.filter(account=name).values_list("amount_cents", flat=True))


def move(way, cents, **more):
    return money_moves.move(
        from_account=way[0],
        to_account=way[1],
        cents=cents,
        moved_by=builders.person(),
        key=more.pop("key", None) or builders.new_key(),
        **more,
    )


def begin_with(name, cents, begins_on=TODAY):
    return opening.amount(
        account=name,
        amount_cents=cents,
        begins_on=begins_on,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


def balances():
    rows = Journal(JournalFilters()).trial_balance()
    return {row.account.key: row.closing_cents for row in rows if row.closing_cents}


def faults():
    return [*books.faults(), *purchase_books.faults(), *journal.faults()]


# ------------------------------------------------------------------ what it does


def test_tax_that_is_paid_is_owed_no_more(shop, pounds, honey_tax):
    # 10 jars at 6.00 and 6.25 % of tax: 3.75 of tax.
    invoice_of(shop, jars(pounds, 10, "6.00"))

    move(("transfer", "sales_tax"), 375)

    assert (account("sales_tax"), account("transfer")) == (0, -375)
    # What was billed is to be declared all the same.
    found = tax_return.of_period(TODAY, TODAY)
    assert (found.tax_cents, found.difference_cents) == (375, 0)
    assert faults() == []


def test_tax_comes_back_the_same_way(owner):
    move(("transfer", "sales_tax"), 5_000)

    move(("sales_tax", "transfer"), 1_200)

    assert (account("sales_tax"), account("transfer")) == (3_800, -3_800)


def test_the_card_company_keeps_its_fee(pounds, stand, owner):
    # 3 jars at 8.00 by card; of 24.00 the card company keeps 0.72 (3 %).
    _sell_by_card(pounds, stand, owner, 3)

    made = move(("card", "transfer"), 2_400, fee_cents=72)

    assert made.arrived_cents == 2_328
    assert (account("card"), account("transfer"), account("expenses")) == (0, 2_328, 72)
    # The account of expenses for fees.
    assert balances()["expenses:fees"] == 72
    assert faults() == []


def _sell_by_card(product, place, owner, pieces):
    stand_sales.sell(
        lines=[jars(product, pieces, "8.00")],
        place=place,
        payments=builders.paid("card", None),
        sold_by=owner,
        key=builders.new_key(),
    )


@pytest.mark.parametrize("way", WAYS)
def test_every_way_leaves_one_account_comes_to_the_other_and_is_undone(way, owner, shop):
    for name in ("cash", "check", "card", "sales_tax", "deposits"):
        begin_with(name, 10_000)
    before = balances()

    made = move(way, 4_000)
    after = balances()
    money_moves.undo(money_move=made, undone_by=owner, reason="Entered twice")

    changed = {
        key: after.get(key, 0) - before.get(key, 0)
        for key in {*after, *before}
        if after.get(key, 0) != before.get(key, 0)
    }
    assert changed == {way[0]: -4_000, way[1]: 4_000}
    assert sum(after.values()) == 0
    assert balances() == before
    assert faults() == []


def test_owners_money_is_equity_and_no_income(owner):
    move(("owner", "transfer"), 50_000)
    move(("transfer", "owner"), 20_000)

    [row] = [
        row for row in Journal(JournalFilters()).trial_balance() if row.account.number == "3000"
    ]
    assert (row.account.kind, row.closing_cents) == ("equity", -30_000)


# ------------------------------------------------------------------ what is refused


@pytest.mark.parametrize(("cents", "is_there"), [(1_999, True), (2_000, True), (2_001, False)])
@pytest.mark.parametrize("to_account", ["transfer", "owner", "sales_tax"])
def test_no_more_cash_leaves_the_drawer_than_there_is(shop, cents, is_there, to_account):
    pay(shop, 2_000, method="cash")

    if is_there:
        move(("cash", to_account), cents)
    else:
        with pytest.raises(BadValue) as raised:
            move(("cash", to_account), cents)
        assert raised.value.message == (
            "There is $20.00 of cash in the books on this day. Enter an amount up to that."
        )
        assert raised.value.parameter == "cents"
    assert MoneyMove.objects.exists() == is_there


def test_no_cash_leaves_the_drawer_before_it_was_there(shop):
    pay(shop, 2_000, method="cash")

    with pytest.raises(BadValue, match=r"There is \$0.00 of cash"):
        move(("cash", "transfer"), 2_000, moved_on=TODAY - days(1))


def test_no_cash_leaves_the_drawer_that_a_later_day_needed(shop, owner):
    pay(shop, 2_000, method="cash", received_on=TODAY - days(5))
    move(("cash", "owner"), 1_500, moved_on=TODAY - days(3))
    pay(shop, 9_000, method="cash")

    with pytest.raises(BadValue, match=r"There is \$5.00 of cash"):
        move(("cash", "transfer"), 501, moved_on=TODAY - days(4))
    move(("cash", "transfer"), 500, moved_on=TODAY - days(4))


@pytest.mark.parametrize(("cents", "is_there"), [(800, True), (801, False)])
def test_no_more_is_paid_out_than_cards_took(pounds, stand, owner, cents, is_there):
    _sell_by_card(pounds, stand, owner, 1)

    if is_there:
        move(("card", "transfer"), cents)
    else:
        with pytest.raises(BadValue, match=r"The books have \$8.00 of card payments on this day"):
            move(("card", "transfer"), cents)


def test_only_checks_of_the_opening_amount_are_moved(shop, owner):
    check = pay(shop, 7_000)
    begun = begin_with("check", 3_000)

    with pytest.raises(BadValue) as raised:
        move(("check", "transfer"), 3_001)
    assert raised.value.message == (
        "$30.00 is left of the checks with which the books began. Checks that were received later "
        "are brought to the bank with a deposit slip."
    )
    made = move(("check", "transfer"), 3_000)
    with pytest.raises(BadValue, match=r"\$0.00 is left of the checks"):
        move(("check", "transfer"), 1)
    assert list(deposit_slips.checks_here()) == [check]
    with pytest.raises(CannotReverse, match="Some of this was moved already"):
        opening.undo_amount(opening=begun, undone_by=owner, reason="Wrong")

    money_moves.undo(money_move=made, undone_by=owner, reason="Wrong")
    opening.undo_amount(opening=begun, undone_by=owner, reason="Wrong")

    assert account("check") == 7_000


def test_only_drum_deposits_of_the_opening_amount_are_paid_back(owner):
    begin_with("deposits", 6_000)

    with pytest.raises(BadValue, match=r"\$60.00 is left of the drum deposits"):
        move(("transfer", "deposits"), 6_001)
    # The bank takes 1.00 for it, which is no part of the deposits.
    move(("transfer", "deposits"), 6_100, fee_cents=100)

    assert (account("deposits"), account("transfer")) == (0, -6_100)
    assert faults() == []


@pytest.mark.parametrize(
    ("way", "figures", "parameter", "message"),
    [
        (
            ("cash", "cash"),
            {},
            "to_account",
            "Money moves from one account to another. Choose two.",
        ),
        (("owner", "sales_tax"), {}, "to_account", "Money is not moved this way here."),
        (("receivable", "transfer"), {}, "to_account", "Money is not moved this way here."),
        (("owner", "transfer"), {"cents": 0}, "cents", "Enter an amount above zero."),
        (("owner", "transfer"), {"cents": -5}, "cents", "Enter an amount above zero."),
        (("owner", "transfer"), {"cents": 100_000_001}, "cents", "is too much for one payment"),
        (("owner", "transfer"), {"fee_cents": -1}, "fee_cents", "The fee is a part of the amount"),
        (("owner", "transfer"), {"fee_cents": 500}, "fee_cents", "The fee is a part of the amount"),
        (("owner", "cash"), {"fee_cents": 1}, "fee_cents", "Only a bank or a card company"),
        (("owner", "cash"), {"moved_on": TODAY + days(1)}, "moved_on", "This day is in the future"),
    ],
)
def test_a_move_that_can_not_be_is_refused(owner, way, figures, parameter, message):
    with pytest.raises(BadValue, match=re.escape(message)) as raised:
        move(way, **{"cents": 500, **figures})

    assert raised.value.parameter == parameter
    assert not EntryLine.objects.exists()


def test_the_same_move_sent_twice_is_recorded_once(owner):
    made = move(("owner", "cash"), 500, key="once")

    with pytest.raises(AlreadyRecorded) as raised:
        move(("owner", "cash"), 500, key="once")
    assert raised.value.made == made
    assert account("cash") == 500


def test_a_move_is_undone_once_and_with_a_reason(owner):
    made = move(("owner", "cash"), 500)

    with pytest.raises(BadValue, match="Say why it is undone"):
        money_moves.undo(money_move=made, undone_by=owner, reason=" ")
    money_moves.undo(money_move=made, undone_by=owner, reason="Wrong")
    with pytest.raises(CannotReverse, match="This was undone already"):
        money_moves.undo(money_move=made, undone_by=owner, reason="Again")
    assert account("cash") == 0


# ------------------------------------------------------------------ closed days


def test_a_move_of_a_closed_day_counts_on_the_first_open_one(owner):
    closing.close(until=TODAY - days(2), locked_by=owner, key="close")

    made = move(("owner", "transfer"), 500, moved_on=TODAY - days(4))

    assert made.moved_on == TODAY - days(4)
    assert made.entry.entered_on == TODAY - days(1)


def test_undoing_leaves_a_closed_day_as_it_is(owner):
    made = move(("owner", "transfer"), 500, moved_on=TODAY - days(4))
    closing.close(until=TODAY - days(2), locked_by=owner, key="close")

    undone = money_moves.undo(money_move=made, undone_by=owner, reason="Wrong")

    assert undone.undo_entry.entered_on == TODAY
    closed = cash_book(TODAY - days(9), TODAY - days(2), "transfer")
    assert closed.accounts[0].closing_cents == 500


# ------------------------------------------------------------------ what verify finds


@pytest.mark.usefixtures("without_triggers")
def test_a_move_that_differs_from_its_entry_is_found(owner):
    made = move(("owner", "transfer"), 500)
    MoneyMove.objects.filter(pk=made.pk).update(cents=600)

    assert list(books.faults()) == [
        f"Move of money {made.pk} of 600 cents is entered at other amounts."
    ]


# ------------------------------------------------------------------ the cash book


def test_the_cash_book_says_what_moved_and_who_was_paid(owner, django_assert_max_num_queries):
    made = move(("owner", "cash"), 9_000, reference="R-7")
    spent = expenses.enter(
        payee="Ridge Hardware",
        category="repairs",
        amount_cents=1_200,
        paid_by="cash",
        entered_by=owner,
        key="e-1",
    )
    expenses.undo(expense=spent, undone_by=owner, key="e-2", reason="Wrong")
    money_moves.undo(money_move=made, undone_by=owner, reason="Wrong")

    with django_assert_max_num_queries(5):
        lines = list(cash_book(TODAY, TODAY, "cash").lines)

    assert [(line.text, line.in_cents, line.out_cents) for line in lines] == [
        ("Owner's money put into the drawer R-7", 9_000, 0),
        ("Expense, Ridge Hardware: repairs and equipment", 0, 1_200),
        ("Expense undone, Ridge Hardware: repairs and equipment", 1_200, 0),
        ("Owner's money put into the drawer, undone R-7", 0, 9_000),
    ]
    assert lines[0].url == reverse("billing:money_move", args=[made.pk])
    assert lines[1].url == reverse("billing:expense", args=[spent.pk])


def test_the_cash_book_says_whose_bill_was_paid(house):
    room = Room()
    paid = room.pay(room.bill(), 10_000, reference="1042")

    [line] = cash_book(TODAY, TODAY, "transfer").lines

    assert (line.text, line.out_cents) == ("Bill paid, Meadow Glass 1042", 10_000)
    assert line.url == reverse("billing:supplier_payment", args=[paid.pk])


# ------------------------------------------------------------------ pages


def test_money_is_moved_on_its_page_and_undone(office, house):
    assert "No money has been moved yet." in office.get(reverse("billing:money_moves")).text
    typed = {
        "key": "m-1",
        "what": "owner-transfer",
        "amount": "120.50",
        "fee": "0.50",
        "moved_on": "2026-09-09",
        "reference": "44",
        "note": "For jars",
    }

    answer = office.post(reverse("billing:money_move_create"), typed)

    made = MoneyMove.objects.get()
    assert answer.url == made.get_absolute_url()
    assert (made.cents, made.fee_cents, made.note) == (12_050, 50, "For jars")
    page = office.get(answer.url).text
    assert "$120.00" in page
    assert "Undo this move" in page
    assert made.get_absolute_url() in office.get(reverse("billing:money_moves")).text

    office.post(reverse("billing:money_move_undo", args=[made.pk]), {"key": "u", "reason": "Twice"})

    assert "Undone on" in office.get(answer.url).text
    assert account("transfer") == 0


def test_the_form_says_at_each_field_what_is_wrong(office, house):
    typed = {
        "key": "m-1",
        "what": "owner-cash",
        "amount": "0",
        "fee": "1",
        "moved_on": "2026-09-11",
    }

    answer = office.post(reverse("billing:money_move_create"), typed)

    assert answer.status_code == 422
    assert errors_in(answer) == [
        "Amount: Enter an amount above zero.",
        "Fee of the bank or card company: The fee is a part of the amount, so it must be less "
        "than it.",
        "Day: This day is in the future. Choose today or an earlier day.",
    ]


def test_the_tax_return_fills_in_what_was_paid(office, shop, pounds, honey_tax):
    invoice_of(shop, jars(pounds, 10, "6.00"))
    asked = "?since=2026-09-01&until=2026-09-30"
    page = office.get(reverse("billing:tax_return") + asked).text
    [link] = re.findall(r'href="([^"]*/money/moves/new/[^"]*)"', page)

    form = office.get(link.replace("&amp;", "&"))

    filled = filled_in(form)
    assert (filled["what"], filled["amount"]) == ("transfer-sales_tax", "3.75")
    assert filled["note"] == "Tax return Sep 1, 2026 to Sep 30, 2026"
    answer = office.post(reverse("billing:money_move_create"), filled)
    assert answer.status_code == 302
    assert account("sales_tax") == 0


@pytest.mark.parametrize("cents", ["", "x", "-5", "²", "0", "9" * 40])
def test_what_another_page_fills_in_may_be_wrong(office, house, cents):
    answer = office.get(reverse("billing:money_move_create"), {"cents": cents, "what": "moon"})

    assert answer.status_code == 200
    assert filled_in(answer).get("amount") in (None, "")


@pytest.mark.parametrize("role", ["bottling", "stand"])
def test_only_those_who_take_payments_move_money(client, house, role):
    client.force_login(builders.person(role))

    assert client.get(reverse("billing:money_moves")).status_code == 403
    assert client.post(reverse("billing:money_move_create"), {}).status_code == 403
    assert not MoneyMove.objects.exists()


# ------------------------------------------------------------------ the API


def test_the_api_moves_money_reads_it_and_undoes_it(client, house):
    client.force_login(builders.person("office"))
    body = {"from_account": "owner", "to_account": "transfer", "cents": 2_500, "fee_cents": 100}

    def send(path, sent, key):
        return client.post(
            f"/api/v1/{path}",
            sent,
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )

    made = send("money-moves/", body, "a-1")
    number = made.json()["id"]
    refused = send("money-moves/", {**body, "to_account": "sales_tax"}, "a-2")
    undone = send(f"money-moves/{number}/undo/", {"reason": "Wrong"}, "a-3")

    assert made.status_code == 201
    assert (made.json()["arrived_cents"], made.json()["counts_on"]) == (2_400, "2026-09-10")
    assert refused.status_code == 422
    assert undone.json()["undone_on"] == "2026-09-10"
    assert client.get(f"/api/v1/money-moves/{number}/").json()["undone_reason"] == "Wrong"
    assert len(client.get("/api/v1/money-moves/").json()["results"]) == 1
    assert faults() == []
