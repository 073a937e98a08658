"""Credit notes in part: goods, prices, allowances; what came back; and corrected copies."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.billing.models import Invoice, InvoiceLine
from apiary_sales.billing.queries import books
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import corrected_invoices, credit_notes, invoices, payments
from apiary_sales.billing.services.corrected_invoices import LineChange
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.queries import recall
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import drum_register, orders, returns
from apiary_sales.reports.frames import sales
from inventory.bottling.models import ReturnedJars
from inventory.shared.errors import BadValue, FiguresChanged, HouseError, NotAllowedNow
from inventory.shared.models import House
from inventory.stock.models import Balance, Place
from inventory.stock.queries import books as stock_books
from tests import builders, data_layer
from tests.billing.conftest import errors_in, filled_in, invoice_of, jars, pay, words_of

pytestmark = pytest.mark.django_db


def faults():
    return [*books.faults(), *order_books.faults(), *stock_books.faults()]


@pytest.fixture(autouse=True)
def _sound_books(db):
    yield
    assert faults() == []


def on_shelf(product):
    [balance] = Balance.objects.filter(place__code="shelf", item=product.item)
    return balance.quantity, balance.reserved


def credit(invoice, *lines, **more):
    return credit_notes.credit(
        invoice=invoice,
        issued_by=builders.person(),
        key=builders.new_key(),
        reason=more.pop("reason", "Lids leak"),
        lines=lines or None,
        **more,
    )


@pytest.fixture
def invoice(shop, pounds, quarts, honey_tax):
    # 24 × 6.10 = 146.40, tax 9.15; 6 × 17.35 = 104.10, tax 6.51
    return invoice_of(shop, jars(pounds, 24, "6.10"), jars(quarts, 6, "17.35"))


def test_some_of_the_goods_of_one_line_are_credited(invoice, pounds):
    line = invoice.lines.first()

    note = credit(invoice, LineCredit(line, quantity=Decimal(5)))

    [credited] = note.lines.all()
    # 5 × 6.10 = 30.50; of 9.15 tax on 146.40 fall 1.90625 to it
    assert (credited.quantity, credited.unit_price, credited.amount_cents) == (
        -5,
        Decimal("6.1000"),
        -3_050,
    )
    assert (credited.tax_cents, note.total_cents) == (-191, -3_241)
    invoice.refresh_from_db()
    assert invoice.open_cents == 26_616 - 3_241
    assert on_shelf(pounds) == (72, 0)


def test_part_of_the_price_is_credited_for_some_of_the_goods(invoice):
    line = invoice.lines.last()

    note = credit(invoice, LineCredit(line, quantity=Decimal(4), price_off=Decimal("1.25")))

    [credited] = note.lines.all()
    assert (credited.quantity, credited.unit_price, credited.amount_cents) == (
        -4,
        Decimal("1.2500"),
        -500,
    )
    # All six can still be credited, for what is left of their amount.
    rest = credit(invoice, LineCredit(line))
    [last] = rest.lines.all()
    assert (last.quantity, last.amount_cents, last.tax_cents) == (-6, -9_910, -651 + 31)


def test_an_allowance_is_an_amount_on_one_line(invoice):
    note = credit(invoice, LineCredit(invoice.lines.first(), allowance_cents=1_000))

    [credited] = note.lines.all()
    assert (credited.quantity, credited.unit_price, credited.amount_cents) == (
        -1,
        Decimal("10.0000"),
        -1_000,
    )
    # 9.15 × 10.00 / 146.40 = 0.625, half to even 0.62
    assert credited.tax_cents == -62


@pytest.mark.parametrize(
    ("asked", "parameter"),
    [
        ({"quantity": Decimal(25)}, "lines.0.quantity"),
        ({"quantity": Decimal(0)}, "lines.0.quantity"),
        ({"quantity": Decimal(-1)}, "lines.0.quantity"),
        ({"quantity": Decimal("0.5")}, "lines.0.quantity"),
        ({"quantity": Decimal("1.5"), "price_off": Decimal("1.00")}, "lines.0.quantity"),
        ({"price_off": Decimal("6.11")}, "lines.0.price_off"),
        ({"price_off": Decimal(0)}, "lines.0.price_off"),
        ({"allowance_cents": 14_641}, "lines.0.allowance_cents"),
        ({"allowance_cents": 0}, "lines.0.allowance_cents"),
    ],
)
def test_no_more_than_is_left_is_credited(invoice, asked, parameter):
    with pytest.raises(BadValue) as refused:
        credit(invoice, LineCredit(invoice.lines.first(), **asked))

    assert refused.value.parameter == parameter
    assert Invoice.objects.count() == 1


def test_one_line_is_credited_once_in_one_note(invoice):
    line = invoice.lines.first()

    with pytest.raises(BadValue, match="Nothing is left to credit"):
        credit(invoice, LineCredit(line, quantity=Decimal(1)), LineCredit(line))


def test_the_total_that_was_shown_is_the_one_that_is_issued(invoice):
    with pytest.raises(FiguresChanged) as refused:
        credit(invoice, expected_total_cents=26_615)

    assert refused.value.figures == {"now": 26_616, "shown": 26_615}
    assert credit(invoice, expected_total_cents=26_616).total_cents == -26_616


def test_what_comes_back_fit_is_on_its_shelf_and_the_rest_is_still_named(invoice, pounds):
    line = invoice.lines.first()
    goods, shelf = line.fulfilment_line, Place.objects.get(code="shelf")

    credit(invoice, LineCredit(line), goods_back=[GoodsBack(goods, 20, shelf)])

    assert on_shelf(pounds) == (92, 0)
    [row] = recall.answer([goods.lot_id], with_sales=True).sales
    assert (row.name, row.sold, row.came_back, row.still_out) == ("Corner Grocery", 24, 20, 4)
    goods.refresh_from_db()
    assert (goods.returned, goods.billed_cents) == (20, 0)


def test_what_is_not_fit_waits_for_a_decision(invoice, pounds):
    line = invoice.lines.first()
    back = GoodsBack(line.fulfilment_line, 3, Place.objects.get(code="shelf"), is_fit=False)

    credit(invoice, LineCredit(line, quantity=Decimal(3)), goods_back=[back])

    assert on_shelf(pounds) == (72, 0)
    assert ReturnedJars.objects.get().pieces == 3


def test_a_credit_note_is_no_older_than_its_invoice(invoice):
    with pytest.raises(HouseError, match="was issued on") as refused:
        credit(invoice, issued_on=invoice.issued_on - timedelta(days=1))

    assert refused.value.problems[0].parameter == "issued_on"


def test_more_than_is_out_does_not_come_back(invoice):
    goods, shelf = invoice.lines.first().fulfilment_line, Place.objects.get(code="shelf")

    with pytest.raises(HouseError):
        credit(invoice, goods_back=[GoodsBack(goods, 13, shelf), GoodsBack(goods, 12, shelf)])
    with pytest.raises(HouseError):
        credit(invoice, goods_back=[GoodsBack(goods, 25, shelf)])

    assert Invoice.objects.count() == 1


def test_a_credit_leaves_the_order_as_it_is_and_reserves_nothing(invoice, pounds):
    credit(invoice)

    order = Order.objects.get()
    assert order.status == Order.Status.FILLED
    assert on_shelf(pounds) == (72, 0)


def test_goods_are_sent_again_when_somebody_asks(invoice, pounds, owner, key):
    credit(invoice, LineCredit(invoice.lines.first(), quantity=Decimal(5)), sends_again=True)

    order = Order.objects.get()
    assert order.status == Order.Status.PART_FILLED
    assert on_shelf(pounds) == (72, 5)
    orders.fulfil(order=order, filled_by=owner, key=key())
    assert on_shelf(pounds) == (67, 0)
    # 24 at 146.40, five of them sent twice and credited once
    assert order.lines.first().filled == 24


def test_a_part_filled_order_keeps_its_rest_when_a_part_is_credited(shop, pounds, owner, key):
    order = orders.take(
        customer=shop, channel="shop", lines=[jars(pounds, 20)], created_by=owner, key=key()
    )
    orders.fulfil(order=order, filled_by=owner, key=key(), quantities={order.lines.get().pk: 8})
    invoice = invoices.issue(order=order, issued_by=owner, key=key())

    credit(invoice)

    order.refresh_from_db()
    assert order.status == Order.Status.PART_FILLED
    assert on_shelf(pounds) == (88, 12)


def test_goods_that_come_back_later_are_booked_without_a_credit(invoice, pounds, owner, key):
    credit(invoice)
    goods, shelf = invoice.lines.first().fulfilment_line, Place.objects.get(code="shelf")

    returns.record(
        order=invoice.order,
        goods_back=[GoodsBack(goods, 2, shelf)],
        recorded_by=owner,
        key=key(),
        reason="Found in the van",
    )

    assert on_shelf(pounds) == (74, 0)


@pytest.mark.parametrize(
    ("is_fit", "told"),
    [
        (True, "5 of One pound back at Packing shelf, fit to sell"),
        (False, "5 of One pound back at Packing shelf, not fit to sell"),
    ],
)
def test_the_history_says_how_many_came_back_where_and_whether_they_are_fit(
    office, invoice, owner, key, is_fit, told
):
    shelf = Place.objects.get(code="shelf")
    Place.objects.filter(pk=shelf.pk).update(name="Packing shelf")
    shelf.refresh_from_db()
    goods = invoice.lines.first().fulfilment_line

    returns.record(
        order=invoice.order,
        goods_back=[GoodsBack(goods, 5, shelf, is_fit=is_fit)],
        recorded_by=owner,
        key=key(),
        reason="Lids leak",
    )

    address = reverse("orders:order_detail", args=[invoice.order.number])
    assert told in words_of(office.get(address).content.decode())


# ----------------------------------------------------------------------------------- drums


@pytest.fixture
def drum(house):
    place = builders.place("7", Place.Kind.DRUM, name="Drum 7")
    place.lot_there = builders.lot_in(place, 295_289, cost_cents=60_000)
    return place


@pytest.fixture
def drum_invoice(shop, drum):
    honey = LineWanted(
        OrderLine.Kind.HONEY, 295_289, Decimal("2.85"), drum=drum, lot=drum.lot_there
    )
    deposit = LineWanted(OrderLine.Kind.DRUM_DEPOSIT, 1, Decimal("40.00"), drum=drum)
    return invoice_of(shop, honey, deposit)


def test_a_deposit_is_held_and_is_no_sale(drum_invoice):
    amounts = dict(drum_invoice.entry.lines.values_list("account", "amount_cents"))

    # 651.00 lb × 2.85 = 1,855.35, and 40.00 held
    assert amounts == {"receivable": 189_535, "sales": -185_535, "deposits": -4_000}


def test_an_invoice_of_a_drum_is_credited_whatever_became_of_the_drum(
    drum_invoice, drum, owner, key
):
    drum_register.take_back(
        outings=drum_register.outings_of(drum_invoice.order, [drum]), received_by=owner, key=key()
    )
    other = builders.lot_in(drum, 100_000)

    note = credit(drum_invoice)

    assert note.total_cents == -189_535
    # The drum came back empty and was filled with other honey: none of the old is in it.
    assert Balance.objects.in_vessel(drum).lot == other


def test_honey_that_comes_back_goes_into_the_vessel_that_is_named(drum_invoice, drum):
    goods = drum_invoice.lines.first().fulfilment_line
    drum.refresh_from_db()
    assert not drum.is_active

    credit(drum_invoice, goods_back=[GoodsBack(goods, 295_289)])

    drum.refresh_from_db()
    assert drum.is_active
    there = Balance.objects.in_vessel(drum)
    assert (there.lot, there.quantity, there.reserved) == (drum.lot_there, 295_289, 0)


def test_honey_does_not_go_back_onto_other_honey(drum_invoice, drum):
    goods = drum_invoice.lines.first().fulfilment_line
    tank = builders.place("t1", Place.Kind.TANK, name="Tank 1")
    builders.lot_in(tank, 50_000)

    with pytest.raises(BadValue, match="Tank 1 has other honey in it"):
        credit(drum_invoice, goods_back=[GoodsBack(goods, 295_289, tank)])

    assert Invoice.objects.count() == 1


def test_a_report_leaves_out_what_was_credited_and_what_came_back(drum_invoice, invoice):
    line = invoice.lines.first()
    shelf = Place.objects.get(code="shelf")
    credit(
        invoice,
        LineCredit(line, quantity=Decimal(4)),
        goods_back=[GoodsBack(line.fulfilment_line, 4, shelf)],
    )

    found = sales.lines(sales.SalesFilters(goods=sales.ALL))

    rows = found.set_index("what" if "what" in found else "product")
    # 20 × 6.10, 6 × 17.35 and the honey; the deposit is no sale
    assert sorted(rows["amount_cents"]) == [10_410, 12_200, 185_535]
    assert sorted(rows["pieces"].dropna()) == [6, 20]


# -------------------------------------------------------------------------- corrected copies


def test_a_wrong_price_is_corrected_in_one_step(invoice, shop, owner, key):
    pay(shop, 10_000)
    line = invoice.lines.first()

    copy = corrected_invoices.correct(
        invoice=invoice,
        issued_by=owner,
        key=key(),
        reason="Agreed price was 5.90",
        changes={line.pk: LineChange(unit_price=Decimal("5.90"))},
        customer_reference="PO 91",
    )

    # 24 × 5.90 = 141.60, tax 8.85; 104.10, tax 6.51
    assert (copy.net_cents, copy.tax_cents, copy.total_cents) == (24_570, 1_536, 26_106)
    assert (copy.corrects, copy.buyer["reference"]) == (invoice, "PO 91")
    invoice.refresh_from_db()
    assert (invoice.open_cents, copy.open_cents) == (0, 16_106)
    assert CustomerBalance.objects.get(customer=shop).owed_cents == 16_106
    assert payments.on_account_cents(shop) == 0
    assert Order.objects.get().status == Order.Status.FILLED


def test_a_corrected_copy_bills_only_what_is_not_credited_yet(office, invoice, shop, owner, key):
    line = invoice.lines.first()
    credit(invoice, LineCredit(line, quantity=Decimal(4)))
    credit(invoice, LineCredit(line, allowance_cents=300))
    page = office.get(reverse("billing:invoice_correct", args=[invoice.pk])).content.decode()
    assert "One pound 20 pc" in words_of(page)

    copy = corrected_invoices.correct(invoice=invoice, issued_by=owner, key=key(), reason="Name")

    # 20 × 6.10 − 3.00 = 119.00, tax 7.44; 104.10, tax 6.51
    [jars_left, _other] = copy.lines.all()
    assert (jars_left.quantity, jars_left.discount_cents) == (20, 300)
    assert (copy.net_cents, copy.tax_cents, copy.total_cents) == (22_310, 1_395, 23_705)
    assert CustomerBalance.objects.get(customer=shop).owed_cents == 23_705


def test_a_corrected_invoice_is_corrected_on_its_copy(invoice, owner, key):
    first = corrected_invoices.correct(invoice=invoice, issued_by=owner, key=key(), reason="Name")

    with pytest.raises(NotAllowedNow, match=f"Correct {first} instead"):
        corrected_invoices.correct(invoice=invoice, issued_by=owner, key=key(), reason="Name")

    second = corrected_invoices.correct(invoice=first, issued_by=owner, key=key(), reason="Town")
    assert second.total_cents == first.total_cents == invoice.total_cents


def test_a_copy_that_comes_to_something_else_than_was_shown_is_refused(invoice, owner, key):
    with pytest.raises(FiguresChanged):
        corrected_invoices.correct(
            invoice=invoice, issued_by=owner, key=key(), reason="x", expected_total_cents=1
        )

    assert Invoice.objects.count() == 1


# -------------------------------------------------------------------------------------- pages


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


def test_the_page_works_out_a_part_and_issues_what_it_showed(office, invoice, pounds):
    line = invoice.lines.first()
    address = reverse("billing:invoice_credit", args=[invoice.pk])
    form = {
        **filled_in(office.get(address)),
        "key": "c-1",
        "reason": "Lids leak",
        f"quantity_{line.pk}": "5",
        f"way_{invoice.lines.last().pk}": "",
        f"back_{line.fulfilment_line_id}": "5",
        f"place_{line.fulfilment_line_id}": Place.objects.get(code="shelf").pk,
        f"fit_{line.fulfilment_line_id}": "yes",
    }

    stale = office.post(address, form)
    shown = office.post(address, {**form, "work_out": "1"})
    done = office.post(address, {**form, "expected_total_cents": "3241"}, follow=True)

    assert stale.status_code == 422
    assert "it comes to $32.41 now, and $266.16 was shown" in errors_in(stale)[0]
    assert "Issue a credit note for $32.41" in words_of(shown.content.decode())
    assert "for $32.41 is issued. The goods that came back are booked." in done.content.decode()
    assert on_shelf(pounds) == (77, 0)


def test_a_mistake_is_shown_at_its_field(office, invoice):
    line = invoice.lines.first()
    address = reverse("billing:invoice_credit", args=[invoice.pk])
    form = {**filled_in(office.get(address)), "reason": "x", f"quantity_{line.pk}": "30"}

    page = office.post(address, form)

    assert page.status_code == 422
    assert errors_in(page) == ["How many: Enter a quantity from 0 to 24 of One pound."]


def test_the_page_corrects_an_invoice(office, invoice):
    line = invoice.lines.first()
    address = reverse("billing:invoice_correct", args=[invoice.pk])
    form = {
        **filled_in(office.get(address)),
        "reason": "Agreed price",
        f"unit_price_{line.pk}": "5.90",
        "expected_total_cents": "26106",
    }

    page = office.post(address, form, follow=True).content.decode()

    assert "is credited, and F26-00002 is issued for $261.06." in page


def test_the_page_books_goods_back(office, invoice, pounds):
    credit(invoice)
    goods = invoice.lines.first().fulfilment_line
    address = reverse("billing:goods_back", args=[invoice.order.number])
    form = {
        **filled_in(office.get(address)),
        "reason": "Found",
        f"back_{goods.pk}": "2",
        f"place_{goods.pk}": Place.objects.get(code="shelf").pk,
        f"fit_{goods.pk}": "yes",
    }

    page = office.post(address, form, follow=True).content.decode()

    assert "The goods that came back are booked." in page
    assert on_shelf(pounds) == (74, 0)


@pytest.mark.parametrize("role", ["stand", "bottling"])
def test_only_the_office_credits(client, invoice, role):
    client.force_login(builders.person(role))

    for name, argument in [
        ("invoice_credit", invoice.pk),
        ("invoice_correct", invoice.pk),
        ("goods_back", invoice.order.number),
    ]:
        assert client.get(reverse(f"billing:{name}", args=[argument])).status_code == 403


# ----------------------------------------------------------------------------------- property

WAYS = st.tuples(
    st.integers(0, 1), st.sampled_from(["goods", "price", "allowance"]), st.integers(1, 1_500)
)


@settings(
    max_examples=data_layer.examples(25),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(steps=st.lists(WAYS, max_size=8), rounding=st.sampled_from(list(House.Rounding)))
def test_any_parts_and_the_rest_take_an_invoice_back_to_the_cent(
    house, shop, pounds, quarts, honey_tax, steps, rounding
):
    House.objects.update(tax_rounding=rounding)
    invoice = invoice_of(
        shop, jars(pounds, 2, "6.1075", discount_cents=7), jars(quarts, 1, "17.3333")
    )
    owed = CustomerBalance.objects.get(customer=shop).owed_cents - invoice.total_cents
    lines = list(invoice.lines.all())
    for index, way, figure in steps:
        asked = {
            "goods": {"quantity": Decimal(1)},
            "price": {"quantity": Decimal(1), "price_off": Decimal(figure) / 100},
            "allowance": {"allowance_cents": figure},
        }[way]
        try:
            credit(invoice, LineCredit(lines[index], **asked))
        except HouseError:
            continue
    if any(left.amount_cents for left in credit_notes.left_on(invoice)):
        credit(invoice)

    invoice.refresh_from_db()
    notes = invoice.credit_notes.all()
    assert sum(note.total_cents for note in notes) == -invoice.total_cents
    assert sum(note.tax_cents for note in notes) == -invoice.tax_cents
    assert invoice.open_cents == 0
    assert CustomerBalance.objects.get(customer=shop).owed_cents == owed
    assert InvoiceLine.objects.filter(invoice__credits=invoice, amount_cents__gt=0).count() == 0


def test_goods_are_credited_for_no_more_than_an_allowance_left_of_them(shop, pounds, honey_tax):
    """Half a cent a piece rounds up, and nothing of the amount is left."""
    invoice = invoice_of(shop, jars(pounds, 2, "6.4850"))
    line = invoice.lines.get()
    owner = builders.person()
    credit_notes.credit(
        invoice=invoice,
        issued_by=owner,
        key=builders.new_key(),
        reason="Leaked",
        lines=[LineCredit(line, allowance_cents=1297)],
    )

    note = credit_notes.credit(
        invoice=invoice,
        issued_by=owner,
        key=builders.new_key(),
        reason="One came back",
        lines=[LineCredit(line, quantity=Decimal(1))],
    )

    [credited] = note.lines.all()
    assert (credited.quantity, credited.amount_cents, note.total_cents) == (-1, 0, 0)
    assert credited.multiplies_out
    assert list(books.faults()) == []
