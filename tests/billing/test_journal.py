"""The journal: every movement as debits and credits, the stock accounts as the stock is worth.

Expected figures are worked out by hand from the costs and prices in the comments.
"""

from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine

from apiary_sales.billing import chart_of_accounts as accounts
from apiary_sales.billing.models import ClosedStockLine, LedgerAccount
from apiary_sales.billing.queries import journal, stock_value
from apiary_sales.billing.queries.journal import Journal, JournalFilters
from apiary_sales.billing.services import (
    adjustments,
    bills,
    closing,
    credit_notes,
    deposit_slips,
    expenses,
    ledger_accounts,
    opening,
    payments,
)
from apiary_sales.billing.services.bills import LineBilled
from apiary_sales.orders.models import FulfilmentLine
from apiary_sales.orders.rules.returns import GoodsBack
from inventory.bottling.services import costs, delivery_corrections
from inventory.shared.errors import BadValue
from inventory.shared.services import books_lock
from inventory.stock.models import Lot, LotCost, Posting
from inventory.stock.services import ledger, purchases, stores
from inventory.stock.services.arrivals import VesselReceived
from tests import builders
from tests.billing.buying_room import Room
from tests.billing.conftest import NOON, TODAY, days, invoice_of, jars, pay
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db
YESTERDAY = TODAY - days(1)


@pytest.fixture
def close(owner):
    def make(until=YESTERDAY):
        return closing.close(until=until, locked_by=owner, key=builders.new_key())

    return make


def on(day):
    return time_machine.travel(NOON + (day - TODAY), tick=False)


def closings(**asked):
    """Return what is on each account, in cents; accounts at zero are left out."""
    book = Journal(JournalFilters(**asked))
    return {row.account.key: row.closing_cents for row in book.trial_balance() if row.closing_cents}


def stock_on(day, known_at=None):
    return {row.lot: row.cents for row in stock_value.as_of(day, known_at) if row.quantity}


def test_honey_parts_and_labour_become_jars_and_cost_of_sales():
    """200,000 g at 1,000.00; 500 jars at .60, 500 lids at .15, 50 cases at .90: 420.00 of parts.

    The run draws 45,000 g: 225.00; 98 jars and lids and 8 cases: 58.80 + 14.70 + 7.20 = 80.70.
    """
    room = bottling_room.set_up()
    run = bottling_room.recorded(room)
    made = 22_500 + 8_070 + (run.labour_cents or 0)

    found = closings()

    assert run.packed_lot.cost_cents == made
    assert found == {
        "stock:honey": 77_500,
        "stock:packed": made,
        "stock:part": 42_000 - 8_070,
        "not_billed": -42_000,
        "production:harvest": -100_000,
        **({"production:labour": -run.labour_cents} if run.labour_cents else {}),
    }
    assert list(journal.faults()) == []


def test_a_sale_moves_its_cost_out_of_stock_and_its_price_to_the_customer(shop, stand):
    """100 jars that cost 300.00; 10 are sold at 6.00 and paid in part."""
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, stand, 100, cost_cents=30_000)
    invoice_of(shop, jars(product, 10, "6.00"))
    pay(shop, 2_500)

    assert closings() == {
        "receivable": 3_500,
        "check": 2_500,
        "sales": -6_000,
        "stock:packed": 27_000,
        "cost_of_sales": 3_000,
        # Nobody told what was filled into the jars of this test.
        "production:filled": -30_000,
    }


def test_every_line_says_its_document_day_and_who(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    [sale] = Posting.objects.filter(kind="sale")

    lines = Journal(JournalFilters(since=TODAY)).lines()

    told = {line.document: (line.url, line.who, line.happened_on) for line in lines}
    who = builders.person().display_name
    assert told[str(invoice)] == (f"/money/invoices/{invoice.pk}/", who, TODAY)
    assert Journal(JournalFilters()).lines_without_cost > 0
    # Jars without a cost move none, and are counted apart.
    assert f"Sale {sale.pk}" not in told


def test_what_undoes_an_entry_says_so(shop, owner, key):
    room = Room()
    bill = room.bill()
    paid, spent, received = room.pay(bill, 10_000), room.spend(), pay(shop, 4_000)
    slip = deposit_slips.deposit(checks=[received], cash_cents=0, deposited_by=owner, key=key())
    owed = opening.owe(
        customer=shop,
        number="1187",
        amount_cents=4_000,
        issued_on=TODAY,
        due_on=TODAY,
        begins_on=TODAY,
        recorded_by=owner,
        key=key(),
    )
    kept = adjustments.adjust(
        invoice=owed,
        kind="write_off",
        cents=100,
        reason="Short",
        made_by=owner,
        key=key(),
    )

    bills.undo_payment(payment=paid, undone_by=owner, key=key(), reason="Wrong")
    bills.undo(bill=bill, undone_by=owner, key=key(), reason="Wrong")
    expenses.undo(expense=spent, undone_by=owner, key=key(), reason="Wrong")
    deposit_slips.undo(slip=slip, undone_by=owner, reason="Wrong")
    payments.reverse(payment=received, reversed_by=owner, key=key(), reason="Wrong")
    adjustments.undo(adjustment=kept, undone_by=owner, key=key(), reason="Wrong")

    told = [(line.source, line.document) for line in Journal(JournalFilters()).lines()]
    documents = [name for (kind, _key), name in sorted(set(told)) if kind == "entry"]
    assert documents == [
        "Bill of a supplier",
        "Bill paid",
        "Expense",
        "Payment",
        "Money moved",
        "1187",
        "Adjustment",
        "Bill paid undone",
        "Bill of a supplier undone",
        "Expense undone",
        "Money moved undone",
        "Payment undone",
        "Adjustment undone",
    ]


def test_goods_that_came_back_fit_take_their_cost_back_and_others_do_not(shop, stand, owner, key):
    """10 of 100 jars at 3.00 are sold; 4 come back fit, 2 leaking: cost of sales is that of 6."""
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, stand, 100, cost_cents=30_000)
    invoice = invoice_of(shop, jars(product, 10, "6.00"))
    goods = FulfilmentLine.objects.get()

    credit_notes.credit(
        invoice=invoice,
        issued_by=owner,
        key=key(),
        reason="Leaked",
        goods_back=[GoodsBack(goods, 4, stand), GoodsBack(goods, 2, stand, is_fit=False)],
    )

    goods.refresh_from_db()
    found = closings()
    assert found["cost_of_sales"] == goods.cost_cents - goods.returned_cost_cents == 1_800
    assert found["stock:packed"] == 94 * 300
    assert found["stock:returned"] == 600
    # What leaked was sold and is lost only when somebody decides so.
    assert found["losses"] == -600
    assert list(journal.faults()) == []


@pytest.mark.parametrize(
    ("reason", "account"),
    [
        ("breakage", "losses"),
        ("spoilage", "losses"),
        ("own_use", "own_use"),
        ("gift", "given_away"),
    ],
)
def test_what_is_written_off_has_an_account_of_its_own(stand, owner, key, reason, account):
    product = builders.product("One pound", code="one-pound")
    lot = builders.packed_lot(product, stand, 100, cost_cents=30_000)

    stores.write_off(
        item=product.item,
        lot=lot,
        place=stand,
        pieces=5,
        reason=reason,
        recorded_by=owner,
        key=key(),
    )

    found = closings(since=TODAY)
    assert found[account] == 1_500
    assert found["stock:packed"] == 28_500


def test_honey_that_was_bought_is_owed_until_it_is_billed(owner, key):
    tank = builders.place("tank-1")
    purchases.receive(
        supplier="Olmo Honey",
        supplier_lot="OL-7",
        country="ES",
        vessels=[VesselReceived(tank, net_grams=90_000)],
        floral_source="Rosemary",
        season=2026,
        received_on=TODAY,
        moisture_percent=Decimal("17.1"),
        cost_cents=45_001,
        recorded_by=owner,
        key=key(),
    )

    assert closings() == {"stock:honey": 45_001, "not_billed": -45_001}


def test_parts_of_two_prices_are_stock_at_their_average_and_owed_at_their_price():
    shelf = builders.place("shelf", "shelf")
    part = builders.part("Jar")
    bottling_room.receive(part, shelf, 100, 5_000)
    bottling_room.receive(part, shelf, 100, 6_001)

    assert closings() == {"stock:part": 11_001, "not_billed": -11_001}


def test_an_undone_delivery_leaves_nothing_on_any_account(owner, key):
    shelf = builders.place("shelf", "shelf")
    receipt = bottling_room.receive(builders.part("Jar"), shelf, 100, 5_000)
    ledger.reverse(posting=receipt.posting, recorded_by=owner, key=key())

    assert closings() == {}


def test_a_corrected_delivery_is_owed_at_what_it_cost(owner, key):
    shelf = builders.place("shelf", "shelf")
    receipt = bottling_room.receive(builders.part("Jar"), shelf, 100, 5_000)
    known_before = NOON
    with time_machine.travel(NOON + timedelta(hours=1)):
        delivery_corrections.correct_parts(
            receipt=receipt,
            pieces=90,
            cost_cents=4_500,
            reason="Ten were missing",
            recorded_by=owner,
            key=key(),
        )

        assert closings() == {"stock:part": 4_500, "not_billed": -4_500}
        assert closings(known_at=known_before) == {"stock:part": 5_000, "not_billed": -5_000}


def test_a_closed_day_answers_as_it_was_closed_and_the_difference_counts_after_it(close, owner):
    """100,000 g at 500.00, set to 800.00 after the closing: 300.00 more on the first open day."""
    tank = builders.place("tank-1")
    lot = builders.lot_in(tank, 100_000, cost_cents=50_000)
    close()
    before = closings(until=YESTERDAY)

    costs.set_lot_cost(lot=lot, cost_cents=80_000)

    assert (
        before
        == closings(until=YESTERDAY)
        == {
            "stock:honey": 50_000,
            "production:harvest": -50_000,
        }
    )
    assert stock_on(YESTERDAY) == {lot.pk: 50_000}
    assert stock_on(TODAY) == {lot.pk: 80_000}
    [stock, against] = Journal(JournalFilters(since=TODAY)).lines()
    assert (stock.account.key, stock.cents) == ("stock:honey", 30_000)
    assert (against.account.key, against.cents) == (accounts.COSTS_ANEW, -30_000)
    assert stock.document == "Costs set anew since the books were closed"
    assert closings()["stock:honey"] == 80_000
    assert list(journal.faults()) == []


def test_days_that_are_opened_again_have_the_costs_of_today_until_they_are_closed(close, owner):
    lot = builders.lot_in(builders.place("tank-1"), 100_000, cost_cents=50_000)
    close()
    costs.set_lot_cost(lot=lot, cost_cents=80_000)
    books_lock.open_again(until=None, locked_by=owner, key=builders.new_key(), reason="Wrong cost")

    assert closings(until=YESTERDAY)["stock:honey"] == 80_000
    close()
    costs.set_lot_cost(lot=lot, cost_cents=90_000)

    assert closings(until=YESTERDAY)["stock:honey"] == 80_000
    assert closings()["stock:honey"] == 90_000
    assert list(journal.faults()) == []


def test_a_second_closing_keeps_the_difference_with_its_days(owner):
    lot = builders.lot_in(builders.place("tank-1"), 100_000, cost_cents=50_000)
    closing.close(until=TODAY - days(3), locked_by=owner, key=builders.new_key())
    costs.set_lot_cost(lot=lot, cost_cents=80_000)
    closing.close(until=YESTERDAY, locked_by=owner, key=builders.new_key())
    costs.set_lot_cost(lot=lot, cost_cents=70_000)

    assert stock_on(TODAY - days(3)) == {lot.pk: 50_000}
    assert stock_on(TODAY - days(2)) == stock_on(YESTERDAY) == {lot.pk: 80_000}
    assert stock_on(TODAY) == {lot.pk: 70_000}
    assert [closings(until=TODAY - days(n))["stock:honey"] for n in (3, 2, 1, 0)] == [
        50_000,
        80_000,
        80_000,
        70_000,
    ]
    assert list(journal.faults()) == []


@pytest.mark.parametrize("cost_cents", [None, 45_000])
def test_a_bill_after_the_closing_clears_what_came_in_before_it(close, owner, cost_cents):
    """Honey came in without a price, or at 450.00, and is billed at 500.00 in the next month."""
    supplier = builders.supplier()
    lot = builders.bought_lot(
        builders.place("tank-1"),
        cost_cents=cost_cents,
        supplier=supplier.name,
        received_on=TODAY - days(5),
    )
    with on(TODAY + days(1)):
        closing.close(until=TODAY, locked_by=owner, key=builders.new_key())
        before = closings(until=TODAY)
        bills.enter(
            supplier=lot.supplier,
            number="88",
            billed_on=TODAY + days(1),
            lines=[LineBilled(50_000, delivery=lot, takes_over_cost=True)],
            entered_by=owner,
            key=builders.new_key(),
        )

        assert closings(until=TODAY) == before
        assert closings() == {"stock:honey": 50_000, "payable": -50_000}
        assert list(journal.faults()) == []


def test_what_is_entered_late_for_a_closed_day_counts_on_the_first_open_one(close, owner, key):
    close()
    builders.lot_in(
        builders.place("tank-1"), 100_000, cost_cents=50_000, extracted_on=TODAY - days(9)
    )

    assert closings(until=YESTERDAY) == {}
    assert stock_on(YESTERDAY) == {}
    assert closings()["stock:honey"] == 50_000
    [line, _against] = Journal(JournalFilters()).lines()
    assert (line.happened_on, line.counts_on) == (TODAY - days(9), TODAY)


def test_what_was_known_at_a_moment_has_the_entries_and_costs_of_then():
    """The cost is entered on the second day; the sale on the third."""
    with on(TODAY - days(4)):
        lot = builders.lot_in(builders.place("tank-1"), 100_000, extracted_on=TODAY - days(4))
    with on(TODAY - days(2)):
        costs.set_lot_cost(lot=lot, cost_cents=50_000)
    costs.set_lot_cost(lot=lot, cost_cents=60_000)

    then = [NOON - timedelta(days=number) for number in (5, 3, 1)]
    assert [stock_on(TODAY, moment) for moment in then] == [
        {},
        {lot.pk: None},
        {lot.pk: 50_000},
    ]
    assert stock_on(TODAY - days(4)) == {lot.pk: 60_000}
    assert closings(known_at=then[2])["stock:honey"] == 50_000
    assert list(LotCost.objects.values_list("cost_cents", flat=True)) == [None, 50_000, 60_000]


def test_the_moment_before_a_closing_has_the_open_days_of_then(close):
    lot = builders.lot_in(builders.place("tank-1"), 100_000, cost_cents=50_000)
    with time_machine.travel(NOON + timedelta(hours=1)):
        costs.set_lot_cost(lot=lot, cost_cents=80_000)
        close()
    with time_machine.travel(NOON + timedelta(hours=2)):
        costs.set_lot_cost(lot=lot, cost_cents=90_000)

        assert stock_on(YESTERDAY, NOON) == {lot.pk: 50_000}
        assert stock_on(YESTERDAY, NOON + timedelta(hours=1)) == {lot.pk: 80_000}
        assert stock_on(YESTERDAY) == {lot.pk: 80_000}


def test_what_belongs_to_another_beekeeper_is_on_no_account(owner, key):
    from inventory.stock.services import others

    keeper = builders.supplier("Hanna Birch", kind="beekeeper")
    others.receive(
        owner=keeper,
        kind="stored",
        vessels=[VesselReceived(builders.place("tank-1"), net_grams=50_000)],
        floral_source="Clover",
        season=2026,
        received_on=TODAY,
        moisture_percent=Decimal("17.1"),
        recorded_by=owner,
        key=key(),
    )

    assert closings() == {}


def test_a_fault_in_what_was_kept_is_found(close):
    builders.lot_in(builders.place("tank-1"), 100_000, cost_cents=50_000)
    close()
    row = ClosedStockLine.objects.filter(account="stock:honey").get()
    ClosedStockLine.objects.bulk_create(
        [ClosedStockLine(closing=row.closing, counts_on=YESTERDAY, account="losses", cents=7)]
    )

    assert any("comes to 7 cents, not zero" in fault for fault in journal.faults())


def test_a_cost_changed_past_the_services_is_no_fault_but_is_kept_from_then_on():
    lot = builders.lot_in(builders.place("tank-1"), 100_000, cost_cents=50_000)
    fresh = Lot.objects.get(pk=lot.pk)
    fresh.cost_cents = 40_000
    fresh.save()

    assert LotCost.objects.latest("id").cost_cents == 40_000
    fresh.note = "No other cost"
    fresh.save()
    assert LotCost.objects.filter(lot=lot).count() == 2


def test_the_owner_gives_accounts_other_numbers_and_names():
    sales = journal.chart()["sales"]

    made = ledger_accounts.change(account=sales, number=" 8400 ", name="Honey sold")

    assert (made.key, made.number, made.name, made.kind) == (
        "sales",
        "8400",
        "Honey sold",
        "income",
    )
    assert journal.chart()["sales"].title == "8400 Honey sold"
    ledger_accounts.change(account=journal.chart()["sales"], number="8400", name="Sales of honey")
    assert LedgerAccount.objects.get().name == "Sales of honey"


@pytest.mark.parametrize(
    ("number", "name", "field"),
    [("", "Sales", "number"), ("1000", "Sales", "number"), ("8400", " ", "name")],
)
def test_an_account_needs_a_number_of_its_own_and_a_name(number, name, field):
    with pytest.raises(BadValue) as refused:
        ledger_accounts.change(account=journal.chart()["sales"], number=number, name=name)

    assert refused.value.parameter == field
    assert not LedgerAccount.objects.exists()


def test_an_account_that_nobody_named_has_the_number_of_what_it_is_a_detail_of():
    found = accounts.chart(used=["expenses:bee_food", "sales:tours", "brand_new"])

    assert found["expenses:bee_food"].title == "6000.bee_food Expenses: bee food"
    assert (found["sales:tours"].number, found["sales:tours"].kind) == ("4000.tours", "income")
    assert found["brand_new"].kind == "expense"


def test_each_account_of_the_book_and_of_stock_has_a_number_of_its_own():
    from apiary_sales.billing.models import EntryLine

    chart = accounts.chart()

    assert {str(account) for account in EntryLine.Account} <= set(chart)
    assert len({row.number for row in chart.values()}) == len(chart)
    assert not [row for row in chart.values() if "." in row.number]
