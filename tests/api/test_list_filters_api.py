"""What lists find by a state that no one field tells, and what their rows tell of one another."""

from datetime import date
from decimal import Decimal
from itertools import count

import pytest

from apiary_sales.billing.models import Invoice
from apiary_sales.billing.services import credit_notes, invoices, payments
from apiary_sales.customers.models import Customer
from apiary_sales.orders.services import orders
from apiary_sales.orders.trade_models import Contract
from inventory.stock.models import Lot
from tests import builders
from tests.billing.buying_room import Room
from tests.billing.conftest import (  # noqa: F401
    _today,
    honey_tax,
    house,
    invoice_of,
    jars,
    order_of,
    pounds,
    quarts,
    shelf,
    shop,
    stand,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def ask(client):
    def send(path, **asked):
        client.force_login(builders.person("owner"))
        answer = client.get(f"/api/v1/{path}", asked)
        assert answer.status_code == 200, answer.content
        return answer.json()

    return send


@pytest.fixture
def found(ask):
    """Return the ids that a list finds."""
    return lambda path, **asked: {row["id"] for row in ask(path, **asked)["results"]}


def paid(invoice, cents):
    return payments.receive(
        customer=invoice.customer,
        amount_cents=cents,
        method="check",
        allocations={invoice: cents},
        received_by=builders.person(),
        key=builders.new_key(),
    )


def credit(invoice, **what):
    return credit_notes.credit(
        invoice=invoice,
        reason="Lids leak",
        issued_by=builders.person(),
        key=builders.new_key(),
        **what,
    )


def test_invoices_are_found_by_where_they_stand(without_triggers, found, shop, pounds):  # noqa: F811
    new, late, part, whole, taken_back = (
        invoice_of(shop, jars(pounds, pieces)) for pieces in range(1, 6)
    )
    Invoice.objects.filter(pk=late.pk).update(due_on=date(2026, 9, 9))
    paid(part, 100)
    paid(whole, whole.total_cents)
    note = credit(taken_back)

    assert found("invoices/", state="open") == {new.pk, late.pk, part.pk}
    assert found("invoices/", state="overdue") == {late.pk}
    assert found("invoices/", state="paid") == {whole.pk}
    assert found("invoices/", state="credit") == {note.pk}
    assert found("invoices/", state="stand") == set()
    assert found(
        "invoices/", state="open", customer="Corner Grocery", due_on_until="2026-09-09"
    ) == {late.pk}


def test_an_invoice_tells_what_was_put_to_it(ask, shop, pounds, honey_tax):  # noqa: F811
    """10 jars at 6.00 and 6.25 % tax are 63.75; 2 come back, and 20.00 are paid."""
    invoice = invoice_of(shop, jars(pounds, 10))
    payment = paid(invoice, 2_000)
    [line] = invoice.lines.all()
    note = credit(invoice, lines=[credit_notes.LineCredit(line, quantity=Decimal(2))])

    told, note_told = ask(f"invoices/{invoice.pk}/"), ask(f"invoices/{note.pk}/")

    assert (told["customer"], told["customer_id"]) == ("Corner Grocery", shop.pk)
    assert (told["total_cents"], told["open_cents"]) == (6_375, 6_375 - 1_275 - 2_000)
    [tax] = told["taxes"]
    assert (tax["name"], tax["percent"], tax["base_cents"], tax["tax_cents"]) == (
        "State sales tax",
        "6.2500",
        6_000,
        375,
    )
    [put] = told["payments"]
    assert (put["payment"], put["method"], put["amount_cents"]) == (payment.pk, "check", 2_000)
    assert told["credit_notes"] == [{"id": note.pk, "number": "C26-00001"}]
    assert (note_told["credits"], note_told["credits_id"]) == (str(invoice), invoice.pk)
    assert note_told["total_cents"] == -1_275
    [listed] = ask("payments/", invoice_id=invoice.pk)["results"]
    assert [(each["invoice"], each["amount_cents"]) for each in listed["invoices"]] == [
        (str(invoice), 2_000)
    ]


def test_a_line_of_an_order_tells_what_is_delivered_and_invoiced(ask, shop, pounds):  # noqa: F811
    order = order_of(shop, jars(pounds, 10), fill=False)
    [line] = order.lines.all()
    orders.fulfil(order=order, quantities={line.pk: 6}, filled_by=builders.person(), key="first")
    invoice = invoices.issue(order=order, issued_by=builders.person(), key="bill")
    orders.fulfil(order=order, quantities={line.pk: 3}, filled_by=builders.person(), key="second")

    [row] = ask("orders/", status="to_fill")["results"]

    [told] = row["lines"]
    assert (told["unit"], told["quantity"], told["filled"], told["to_fill"]) == ("piece", 10, 9, 1)
    assert (told["invoiced"], told["invoiced_cents"], told["returned"]) == (6, 3_600, 0)
    assert row["invoices"] == [{"id": invoice.pk, "number": str(invoice)}]
    assert ask("orders/", status="filled")["results"] == []


def test_bills_of_suppliers_are_found_by_where_they_stand(found):
    room = Room()
    numbers = (f"M-{number}" for number in count(1))
    due = {"open": "2026-12-01", "overdue": "2026-09-09", "paid": "2026-12-02"}
    billed_on = date(2026, 9, 1)
    made = {
        state: room.bill(number=next(numbers), billed_on=billed_on, due_on=date.fromisoformat(day))
        for state, day in due.items()
    }
    room.pay(made["paid"], 10_000)

    assert found("supplier-bills/", state="open") == {made["open"].pk, made["overdue"].pk}
    assert found("supplier-bills/", state="overdue") == {made["overdue"].pk}
    assert found("supplier-bills/", state="paid") == {made["paid"].pk}


def test_lots_are_found_by_where_something_of_them_is(found, pounds):  # noqa: F811
    at = {lot.code: lot.pk for lot in Lot.objects.filter(product=pounds)}

    assert found("lots/", place="shelf", kind="packed") == {at["P26-001"]}
    assert found("lots/", place="stand") == {at["P26-002"]}


def test_contracts_are_found_by_a_day_on_which_they_run(found):
    packer = builders.customer("Prairie Packers", kind=Customer.Kind.BULK)
    contract = Contract.objects.create(
        number="K26-0001",
        customer=packer,
        max_grams=1_000,
        starts_on=date(2026, 9, 1),
        ends_on=date(2026, 9, 30),
        created_by=builders.person(),
        idempotency_key="k",
    )

    assert found("contracts/", runs_on="2026-09-30") == {contract.pk}
    assert found("contracts/", runs_on="2026-10-01") == set()
    assert found("contracts/", runs_on="2026-08-31") == set()


@pytest.mark.parametrize(
    ("path", "asked", "said"),
    [
        ("places/", {"kind": "barrel"}, "barrel is not one of the choices: tank, drum, pail, tote"),
        ("places/", {"is_active": "yes"}, "yes is not one of the choices: true, false."),
        ("invoices/", {"issued_on_from": "10.9.2026"}, "Enter a day, for example 2026-07-31."),
        ("invoices/", {"customer": "Nobody"}, "There is no customer with this name: Nobody."),
        ("invoices/", {"customer_id": "99"}, "There is no customer with this id: 99."),
        ("invoices/", {"customer_id": "x"}, "Send a whole number, the id of a row."),
        ("invoices/", {"customer_id": "9" * 30}, "Send a whole number, the id of a row."),
        ("orders/", {"status": ""}, "Send a value, or leave this out."),
        ("lots/", {"season": "1e3"}, "Enter a whole number."),
        (
            "orders/",
            {"placed_on_from": "2026-09-11", "placed_on_until": "2026-09-10"},
            "The first day is after the last one.",
        ),
    ],
)
def test_a_value_that_no_row_can_have_is_refused(client, path, asked, said):
    client.force_login(builders.person("owner"))

    answer = client.get(f"/api/v1/{path}", asked)

    assert answer.status_code == 400
    [error] = answer.json()["errors"]
    assert error["field"] == next(iter(asked))
    assert error["detail"].startswith(said)


def test_an_act_takes_a_thing_by_its_code_or_by_its_id(client):
    tank, drum = builders.place("tank-1"), builders.place("drum-1")
    builders.lot_in(tank, 5_000)
    client.force_login(builders.person("owner"))

    def pour(key, **body):
        return client.post(
            "/api/v1/transfers/",
            {"grams": 1_000, **body},
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )

    by_id = pour("a", source=tank.pk, target=drum.pk)
    by_code = pour("b", source="tank-1", target="drum-1")
    wrong = pour("c", source=10**9, target="drum-1")

    assert [line["place_id"] for line in by_id.json()["lines"]] == [
        line["place_id"] for line in by_code.json()["lines"]
    ]
    assert (wrong.status_code, wrong.json()["errors"][0]["field"]) == (400, "source")
    assert pour("d", source=True, target="drum-1").status_code == 400
