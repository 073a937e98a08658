"""Money through the API: each act calls the service of its page."""

from itertools import count

import pytest
import time_machine

from apiary_sales.billing.models import Adjustment, Invoice, Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import payments
from apiary_sales.pricing.services import service_list
from inventory.stock.models import Lot
from tests import builders
from tests.billing.conftest import NOON, days, invoice_of, jars, order_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def shop(db):
    return builders.customer("Corner Grocery", terms_days=30)


@pytest.fixture
def shelf(db):
    return builders.place("shelf", "shelf", name="Packing shelf")


@pytest.fixture
def pounds(shelf):
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, shelf, 96, code="P26-001")
    return product


@pytest.fixture
def invoice(shop, pounds):
    return invoice_of(shop, jars(pounds, 10, "6.00"))


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body=None, *, role="office", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            body or {},
            content_type="application/json",
            headers={"Idempotency-Key": key or next(keys)},
        )

    return make


@pytest.fixture
def read(client):
    def make(path, **query):
        client.force_login(builders.person("office"))
        return client.get(f"/api/v1/{path}", query)

    return make


def made(answer, status=201):
    assert answer.status_code == status, answer.content
    return answer.json()


def fields(answer):
    assert answer.status_code in (400, 409, 422), answer.content
    return [error["field"] for error in answer.json()["errors"]]


def paid(shop, cents=2_000, **more):
    return {"customer": shop.pk, "amount_cents": cents, "method": "check", **more}


def test_a_payment_is_recorded_listed_and_undone(send, read, shop, invoice):
    body = paid(shop, allocations=[{"invoice": invoice.pk, "amount_cents": 1_500}])

    one = made(send("payments/", body))
    listed = read("payments/").json()["results"]
    back = made(send(f"payments/{one['id']}/undo/", {"reason": "Wrong"}))

    assert [row["id"] for row in listed] == [one["id"]]
    assert (back["amount_cents"], back["reverses"]) == (-2_000, one["id"])
    invoice.refresh_from_db()
    assert invoice.open_cents == 6_000


def test_what_goes_to_an_invoice_is_refused_at_its_row(send, shop, invoice):
    first = {"invoice": invoice.pk, "amount_cents": 500}

    twice = send("payments/", paid(shop, allocations=[first, first]))
    too_much = send("payments/", paid(shop, 9_000, allocations=[first | {"amount_cents": 6_001}]))

    assert fields(twice) == ["allocations.1.invoice"]
    assert fields(too_much) == ["allocations.0.amount_cents"]
    assert not Payment.objects.exists()


@pytest.mark.parametrize(("allocations", "left"), [(None, 4_000), ([], 6_000)])
def test_no_allocations_pay_no_invoice_and_null_what_is_due_first(
    send, shop, invoice, allocations, left
):
    made(send("payments/", paid(shop, allocations=allocations)))

    invoice.refresh_from_db()
    assert invoice.open_cents == left


def test_a_payment_that_looks_like_another_is_asked_about(send, shop):
    made(send("payments/", paid(shop)))

    assert fields(send("payments/", paid(shop))) == ["is_another"]
    made(send("payments/", paid(shop, is_another=True)))
    assert Payment.objects.count() == 2


def test_what_was_paid_in_advance_is_listed_at_its_order(read, shop, pounds):
    order, other = (order_of(shop, jars(pounds, 2, "6.00"), fill=False) for _each in range(2))
    cash, check = (
        payments.receive(
            customer=shop,
            order=order,
            amount_cents=cents,
            method=method,
            received_by=builders.person("office"),
            key=builders.new_key(),
        )
        for cents, method in ((500, "cash"), (300, "check"))
    )

    def listed(of, **query):
        return [
            row["id"] for row in read(f"orders/{of.number}/payments/", **query).json()["results"]
        ]

    assert listed(order, ordering="id") == [cash.pk, check.pk]
    assert listed(order, ordering="-id") == [check.pk, cash.pk]
    assert listed(order, method="check") == [check.pk]
    assert listed(other) == []


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"amount_cents": 0}, "amount_cents"),
        ({"method": "opening"}, "method"),
        ({"rest": "write_off"}, "rest_reason"),
        ({"received_on": "2027-01-01"}, "received_on"),
    ],
)
def test_a_wrong_payment_names_its_field(send, shop, wrong, field):
    assert fields(send("payments/", paid(shop) | wrong)) == [field]
    assert not Payment.objects.exists()


def test_what_a_payment_leaves_is_written_off(send, shop, invoice):
    made(send("payments/", paid(shop, 5_990, rest="write_off", rest_reason="Cents")))

    assert Adjustment.objects.get().total_cents == 10
    assert list(books.faults()) == []


def test_money_is_kept_for_an_order(send, shop, pounds):
    order = order_of(shop, jars(pounds, 1), fill=False)

    assert made(send("payments/", paid(shop, order=order.number)))["order"] == order.number


def test_money_on_account_is_given_back(send, shop):
    made(send("payments/", paid(shop)))
    body = {"amount_cents": 2_000, "method": "cash"}

    assert made(send(f"customers/{shop.pk}/pay-back/", body))["amount_cents"] == -2_000
    assert fields(send(f"customers/{shop.pk}/pay-back/", body)) == ["amount_cents"]


def test_a_credit_note_is_refunded(send, shop, invoice):
    from apiary_sales.billing.services import credit_notes

    made(send("payments/", paid(shop, 6_000)))
    note = credit_notes.credit(
        invoice=invoice, issued_by=builders.person(), key="c", reason="Leaked"
    )
    body = {"amount_cents": 6_000, "method": "check"}

    assert made(send(f"invoices/{note.pk}/refund/", body))["refunds"] == "C26-00001"
    assert send(f"invoices/{invoice.pk}/refund/", body).status_code == 404


def test_an_invoice_is_adjusted_and_that_undone(send, invoice):
    body = {"kind": "bad_debt", "amount_cents": 6_000, "reason": "Closed"}

    one = made(send(f"invoices/{invoice.pk}/adjust/", body))
    back = made(send(f"adjustments/{one['id']}/undo/", {"reason": "They paid"}))

    assert (one["net_cents"], back["net_cents"]) == (6_000, -6_000)
    too_much = body | {"amount_cents": 6_001}
    assert fields(send(f"invoices/{invoice.pk}/adjust/", too_much)) == ["amount_cents"]


def test_a_check_is_deposited_bounces_and_was_good(send, read, shop, invoice):
    check = made(send("payments/", paid(shop, 6_000)))["id"]

    slip = made(send("deposit-slips/", {"checks": [check]}))
    bounced = made(send(f"payments/{check}/bounced/", {"bank_fee_cents": 1_200}))
    good = made(send(f"payments/{check}/good/", {"reason": "Bank"}))

    assert (slip["number"], slip["total_cents"], slip["checks"]) == (1, 6_000, [check])
    assert read("deposit-slips/").json()["results"] == [slip]
    assert bounced["bank_fee_cents"] == 1_200
    assert good["recorded_again"] is not None
    # A check of it bounced.
    assert send(f"deposit-slips/{slip['id']}/undo/", {"reason": "x"}).status_code == 409
    assert list(books.faults()) == []


def test_a_deposit_is_undone(send, shop):
    check = made(send("payments/", paid(shop)))["id"]
    slip = made(send("deposit-slips/", {"checks": [check]}))

    undone = made(send(f"deposit-slips/{slip['id']}/undo/", {"reason": "Closed"}))

    assert undone["undone_on"] == "2026-09-10"
    assert fields(send("deposit-slips/", {"cash_cents": 1})) == ["cash_cents"]


def test_interest_is_looked_at_and_billed(send, read, shop, invoice):
    service_list.add_usual()
    with time_machine.travel(NOON + days(50), tick=False):
        found = read(f"customers/{shop.pk}/interest/", percent_a_year="18").json()
        body = {"percent_a_year": "18", "total_cents": 58}
        stale = send(f"customers/{shop.pk}/interest/", body)
        bill = made(send(f"customers/{shop.pk}/interest/", body | {"total_cents": 59}))

    # 60.00 at 18 % for 20 days of 365 is 0.5918.
    assert [(row["days"], row["interest_cents"]) for row in found] == [(20, 59)]
    assert fields(stale) == ["total_cents"]
    assert bill["total_cents"] == 59


def test_the_cash_is_counted_and_read_back(send, read, shop):
    made(send("payments/", paid(shop, method="cash")))

    assert fields(send("cash-counts/", {"counted_cents": 1_990})) == ["note"]
    one = made(send("cash-counts/", {"counted_cents": 1_990, "note": "Change"}))
    found = read("cash-book/", account="cash").json()
    made(send(f"cash-counts/{one['id']}/undo/", {"reason": "Found it"}))

    assert one["difference_cents"] == -10
    assert read("cash-counts/").json()["results"][0]["id"] == one["id"]
    assert found["accounts"][0]["closing_cents"] == 1_990
    assert [line["out_cents"] for line in found["lines"]] == [0, 10]
    assert read("cash-book/", since="soon").status_code == 400


def test_the_books_begin_in_the_middle_of_a_year(send, read, shop):
    began = {"begins_on": "2026-07-01"}
    owed = began | {
        "customer": shop.pk,
        "number": "1187",
        "amount_cents": 12_500,
        "issued_on": "2026-05-20",
        "due_on": "2026-06-19",
    }

    one = made(send("opening-invoices/", owed))
    assert fields(send("opening-invoices/", owed)) == ["number"]
    made(send(f"invoices/{one['id']}/take-back/", {"reason": "Wrong"}))
    credit = made(send("opening-credits/", began | {"customer": shop.pk, "amount_cents": 4_000}))
    cash = made(send("opening-amounts/", began | {"account": "cash", "amount_cents": 5_000}))
    undone = made(send(f"opening-amounts/{cash['id']}/undo/", {"reason": "Wrong"}))
    first = made(send("first-numbers/", {"series": "invoice F26", "number": 1_188}))

    assert (one["number"], one["order"]) == ("1187", None)
    assert credit["method"] == "opening"
    assert undone["undone_on"] == "2026-09-10"
    assert (first["next_number"], first["has_begun"]) == (1_188, False)
    assert read("first-numbers/").json()[0]["next_number"] == 1_188
    assert fields(send("first-numbers/", {"series": "lots", "number": 2})) == ["series"]
    assert list(books.faults()) == []


def test_jars_begin_with_their_printed_code(send, pounds, shelf):
    body = {
        "product": "one-pound",
        "place": "shelf",
        "pieces": 40,
        "lot_code": "OLD-7",
        "floral_source": "Clover",
        "season": 2025,
        "bottled_on": "2026-02-03",
        "begins_on": "2026-07-01",
        "cost_cents": 10_000,
    }

    made(send("opening-jars/", body))
    made(send("opening-jars/", body | {"pieces": 8, "cost_cents": 2_000}))
    late = send("opening-jars/", body | {"lot_code": "OLD-8", "bottled_on": "2026-07-02"})
    taken = send("opening-jars/", body | {"lot_code": "P26-001"})

    lot = Lot.objects.get(code="OLD-7")
    assert (lot.quantity_made, lot.cost_cents) == (48, 12_000)
    assert fields(late) == ["bottled_on"]
    assert fields(taken) == ["lot_code"]


def test_who_may_not_see_money_moves_none(send, shop):
    for path in ("payments/", "deposit-slips/", "cash-counts/", "opening-credits/"):
        assert send(path, {}, role="stand").status_code == 403
    assert not Invoice.objects.exists()
