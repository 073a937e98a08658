"""The deposit of drums that came back: credited drum by drum, and given back as money."""

from decimal import Decimal

import pytest
from django.template.loader import render_to_string
from django.urls import reverse

from apiary_sales.billing import papers
from apiary_sales.billing.models import Invoice, InvoiceLine, Payment
from apiary_sales.billing.queries import books, money
from apiary_sales.billing.services import credit_notes, invoices, payments
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import TaxRate
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow
from inventory.stock.models import Place
from inventory.stock.services import drums
from tests import builders
from tests.billing.conftest import TODAY, invoice_of, jars, pay, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(books.faults()) == []
    assert list(order_books.faults()) == []


@pytest.fixture
def packer(house):
    return builders.customer("Prairie Packers", kind="bulk", tier="bulk")


@pytest.fixture
def order(packer, owner, key):
    """Two drums of 295 kg at $2.15 a pound, on deposits of $40.05, and handed over."""
    lines = []
    for number in (7, 8):
        tank = builders.place(f"tank-{number}")
        builders.lot_in(tank, 295_000)
        drum = builders.place(f"d{number}", Place.Kind.DRUM, tare_grams=18_000)
        drums.fill(tank=tank, drum=drum, gross_grams=313_000, recorded_by=owner, key=key())
        lines.append(LineWanted(OrderLine.Kind.HONEY, 295_000, Decimal("2.15"), drum=drum))
    lines.append(LineWanted(OrderLine.Kind.DRUM_DEPOSIT, 2, Decimal("40.05")))
    order = orders.take(customer=packer, channel="bulk", lines=lines, created_by=owner, key=key())
    orders.fulfil(order=order, filled_by=owner, key=key())
    return order


@pytest.fixture
def invoice(order, owner, key):
    """295 kg at 2.15 a pound come to 1,398.28; twice, with the deposits, to 2,876.66."""
    return invoices.issue(order=order, issued_by=owner, key=key())


@pytest.fixture
def give_back(owner, key):
    def make(invoice, count, **fields):
        fields = {"issued_by": owner, "key": key(), **fields}
        return credit_notes.credit_deposit(invoice=invoice, drums=count, **fields)

    return make


def owed(customer):
    return CustomerBalance.objects.get(customer=customer).owed_cents


def test_the_deposit_of_one_drum_comes_off_what_is_to_pay(packer, invoice, give_back):
    note = give_back(invoice, 1)

    invoice.refresh_from_db()
    [line] = note.lines.all()
    assert str(note) == "C26-00001"
    assert (line.description, line.quantity, line.amount_cents) == ("Drum deposit", -1, -4_005)
    assert (note.credits, note.returns_deposit, note.total_cents) == (invoice, True, -4_005)
    assert note.note == "Deposit of 1 drum that came back"
    assert (invoice.total_cents, invoice.open_cents) == (287_666, 283_661)
    assert owed(packer) == 283_661


def test_a_deposit_that_was_paid_goes_on_account_and_can_be_given_back(
    packer, invoice, give_back, owner, key
):
    pay(packer, 280_000)
    pay(packer, 7_666)

    give_back(invoice, 2)

    invoice.refresh_from_db()
    assert (invoice.open_cents, owed(packer)) == (0, -8_010)
    assert payments.on_account_cents(packer) == 8_010
    # The money that came last is the first to be free again.
    assert [payment.left_cents for payment in payments.money_left(packer)] == [344, 7_666]

    payments.pay_back(customer=packer, amount_cents=8_010, method="check", paid_by=owner, key=key())

    assert (owed(packer), payments.on_account_cents(packer)) == (0, 0)


def test_a_part_paid_invoice_is_settled_first(packer, invoice, give_back):
    pay(packer, 285_000)

    give_back(invoice, 1)

    # 2,876.66 − 2,850.00 = 26.66 were to pay; of the 40.05, 13.39 are over.
    invoice.refresh_from_db()
    assert (invoice.open_cents, payments.on_account_cents(packer)) == (0, 1_339)


@pytest.mark.parametrize("count", [0, -1, 3])
def test_no_more_drums_than_are_out_on_deposit(invoice, give_back, count):
    with pytest.raises(BadValue) as refused:
        give_back(invoice, count)

    assert (refused.value.parameter, refused.value.message) == (
        "drums",
        "Invoice F26-00001 has 2 drums out on deposit. Enter from 1 to 2.",
    )
    assert Invoice.objects.count() == 1


def test_drum_by_drum_until_none_is_out(invoice, give_back):
    give_back(invoice, 1)
    give_back(invoice, 1)

    with pytest.raises(NotAllowedNow) as refused:
        give_back(invoice, 1)

    assert refused.value.message == "Invoice F26-00001 has no drum out on deposit any more."
    assert credit_notes.drums_on_deposit(invoice) == 0


def test_tax_on_the_deposit_goes_back_to_the_last_cent(packer, order, give_back, owner, key):
    TaxRate.objects.create(name="State", goods="other", percent=Decimal("6.25"), valid_from=TODAY)
    invoice = invoices.issue(order=order, issued_by=owner, key=key())
    # 80.10 at 6.25 % are 5.00625, half up 5.01
    assert invoice.tax_cents == 501

    first, second = give_back(invoice, 1), give_back(invoice, 1)

    # Half of 5.01 to the even cent, and then what is left.
    assert [note.tax_cents for note in (first, second)] == [-250, -251]
    assert [note.net_cents for note in (first, second)] == [-4_005, -4_005]


def test_the_same_form_twice_gives_one_deposit_back(invoice, give_back):
    note = give_back(invoice, 1, key="form-1")

    with pytest.raises(AlreadyRecorded) as repeat:
        give_back(invoice, 1, key="form-1")

    assert repeat.value.made == note
    assert credit_notes.drums_on_deposit(invoice) == 1


def test_the_goods_stay_billed_when_a_deposit_went_back(order, invoice, give_back, owner, key):
    give_back(invoice, 2)

    with pytest.raises(NotAllowedNow) as refused:
        orders.take_back(
            fulfilment=order.fulfilments.get(), taken_by=owner, key=key(), reason="Mistake"
        )

    assert refused.value.message == (
        "These goods are on an invoice. Issue a credit note for it, and say what came back; or, "
        "where they are credited already, book them as goods back."
    )


def test_taking_the_invoice_back_credits_only_what_is_left(
    packer, order, invoice, give_back, owner, key
):
    pay(packer, 287_666)
    give_back(invoice, 1)

    note = credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Wrong honey")

    # 2 × 1,398.28 and one deposit of 40.05
    assert note.total_cents == -283_661
    assert [line.quantity for line in note.lines.all()][-1] == -1
    assert (owed(packer), payments.on_account_cents(packer)) == (-287_666, 287_666)
    assert credit_notes.drums_on_deposit(invoice) == 0
    order.refresh_from_db()
    assert order.status == Order.Status.FILLED


def test_an_invoice_without_drums_has_no_deposit(shop, pounds, give_back):
    with pytest.raises(NotAllowedNow) as refused:
        give_back(invoice_of(shop, jars(pounds, 10)), 1)

    assert refused.value.message == "Invoice F26-00001 has no drum out on deposit any more."


def test_a_bounced_check_leaves_the_rest_to_pay(packer, invoice, give_back, owner, key):
    payment = pay(packer, 287_666)
    give_back(invoice, 1)

    payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Bounced")

    invoice.refresh_from_db()
    assert (invoice.open_cents, owed(packer)) == (283_661, 283_661)


def test_a_list_shows_an_invoice_with_a_returned_deposit_as_paid(packer, invoice, give_back):
    pay(packer, 287_666)
    note = give_back(invoice, 1)

    assert list(money.invoices(state="paid", on=TODAY)) == [invoice]
    assert list(money.invoices(state="credit", on=TODAY)) == [note]


def test_the_office_credits_a_deposit_on_its_page(client, packer, invoice):
    client.force_login(builders.person("office"))
    address = reverse("billing:deposit_credit", args=[invoice.pk])
    assert address in client.get(reverse("billing:invoice_detail", args=[invoice.pk])).text
    page = client.get(address)
    assert page.context["form"]["drums"].value() == 2

    refused = client.post(address, {"key": "d1", "drums": "5"})

    assert refused.status_code == 422
    assert refused.context["form"].errors["drums"] == [
        "Invoice F26-00001 has 2 drums out on deposit. Enter from 1 to 2."
    ]

    done = client.post(address, {"key": "d1", "drums": "2"}, follow=True)

    note = Invoice.objects.get(returns_deposit=True)
    assert done.redirect_chain[-1][0] == reverse("billing:invoice_detail", args=[note.pk])
    assert "Credit note C26-00001 gives $80.10 of deposit back." in done.text
    shown = words_of(client.get(reverse("billing:invoice_detail", args=[invoice.pk])).text)
    assert "Deposit of 2 drums that came back" in shown
    assert "Give a drum deposit back" not in shown
    assert Payment.objects.count() == 0


def test_papers_name_the_deposit_and_not_the_whole_invoice(invoice, give_back):
    note = give_back(invoice, 1)

    paper = words_of(render_to_string("documents/credit_note.html", papers.invoice_context(note)))
    bill = words_of(render_to_string("documents/invoice.html", papers.invoice_context(invoice)))

    assert "in full" not in paper
    assert "deposit on invoice F26-00001" in paper
    assert "Credited in full" not in bill
    assert "Credit note C26-00001" in bill
    assert "$2,836.61" in bill


@pytest.mark.usefixtures("without_triggers")
def test_a_note_for_more_drums_than_were_billed_is_a_fault(invoice, give_back):
    note = give_back(invoice, 1)
    InvoiceLine.objects.filter(invoice=note).update(quantity=-3)

    found = list(books.faults())

    assert found == [f"More of {note.lines.get().description} is credited than {invoice} bills."]
    InvoiceLine.objects.filter(invoice=note).update(quantity=-1)


def test_the_stand_and_the_bottler_give_no_deposit_back(client, invoice):
    address = reverse("billing:deposit_credit", args=[invoice.pk])
    for role in ("stand", "bottling"):
        client.force_login(builders.person(role))
        assert client.get(address).status_code == 403
        assert client.post(address, {"key": "d1", "drums": "1"}).status_code == 403
    assert Invoice.objects.count() == 1
