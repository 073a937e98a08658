"""Services on orders and bills: no stock, their own tax, exact to the cent."""

from decimal import Decimal

import pytest
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import credit_notes, invoices, service_bills
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders import papers
from apiary_sales.orders.models import Fulfilment, Order, OrderLine
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.queries.orders import for_page
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import TaxRate
from apiary_sales.pricing.services import service_list
from apiary_sales.reports.frames import sales
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow
from inventory.shared.models import House
from inventory.stock.models import Posting
from tests import builders, data_layer
from tests.billing.conftest import TODAY, invoice_of, jars, order_of, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def work(house):
    return service_list.add(name="Work by the hour", unit="hour", usual_price=Decimal(45))


@pytest.fixture
def fee(house):
    return service_list.add(name="Returned-check fee", unit="each", taxed_as="")


@pytest.fixture
def service_tax(house):
    return TaxRate.objects.create(
        name="State sales tax", goods="services", percent=Decimal(6), valid_from=TODAY
    )


def of(service, hundredths, price="45.00", **fields):
    return LineWanted(OrderLine.Kind.SERVICE, hundredths, Decimal(price), service=service, **fields)


def bill(customer, *lines, key="bill-1", **fields):
    return service_bills.bill(
        customer=customer, lines=lines, billed_by=builders.person(), key=key, **fields
    )


def faults():
    return [*books.faults(), *order_books.faults()]


def test_two_and_a_half_hours_are_billed_and_taxed_as_services(shop, work, service_tax):
    invoice = bill(shop, of(work, 250))

    [line] = invoice.lines.all()
    # 2.5 × 45.00 = 112.50; 6 % of it is 6.75
    assert (line.shown_quantity, line.get_unit_display()) == ("2.5", "hour")
    assert (invoice.net_cents, invoice.tax_cents, invoice.total_cents) == (11_250, 675, 11_925)
    assert invoice.order.status == Order.Status.FILLED
    assert CustomerBalance.objects.owed_cents(shop) == 11_925
    assert not Posting.objects.exists()
    assert faults() == []


def test_a_fee_without_tax_bears_none(shop, fee, service_tax, honey_tax):
    invoice = bill(shop, of(fee, 100, "35.00"))

    assert (invoice.net_cents, invoice.tax_cents) == (3_500, 0)


@pytest.mark.parametrize(("rounding", "tax_cents"), [("line", 6), ("invoice", 5)])
def test_services_are_taxed_in_both_ways_of_rounding(rounding, tax_cents, shop, work, house):
    # 5 % of 0.50 is 0.025: rounded up line by line 0.03 + 0.03, once an invoice 0.05.
    TaxRate.objects.create(name="Tax", goods="services", percent=5, valid_from=TODAY)
    choices = {"line": House.Rounding.BY_LINE, "invoice": House.Rounding.BY_INVOICE}
    House.objects.update(tax_rounding=choices[rounding])

    invoice = bill(shop, of(work, 100, "0.50"), of(work, 100, "0.50"))

    assert invoice.tax_cents == tax_cents


def test_a_service_is_on_an_invoice_with_goods(shop, pounds, work, honey_tax, service_tax):
    invoice = invoice_of(shop, jars(pounds, 12), of(work, 100))

    assert [line.tax_percent for line in invoice.lines.all()] == [Decimal("6.25"), Decimal(6)]
    # 72.00 at 6.25 % is 4.50; 45.00 at 6 % is 2.70
    assert (invoice.net_cents, invoice.tax_cents) == (11_700, 720)


def test_a_credit_note_undoes_a_billed_service_and_leaves_nothing_to_do(shop, fee):
    invoice = bill(shop, of(fee, 100, "35.00"))

    note = credit_notes.credit(
        invoice=invoice, issued_by=builders.person(), key="credit", reason="Bank's mistake"
    )

    invoice.order.refresh_from_db()
    assert note.total_cents == -3_500
    assert invoice.order.status == Order.Status.FILLED
    assert CustomerBalance.objects.owed_cents(shop) == 0
    assert faults() == []


def test_the_same_bill_sent_twice_is_one(shop, fee):
    first = bill(shop, of(fee, 100, "35.00"))

    with pytest.raises(AlreadyRecorded) as repeat:
        bill(shop, of(fee, 100, "35.00"))

    assert repeat.value.made == first
    assert Invoice.objects.count() == 1


def test_goods_are_not_billed_as_a_service(shop, pounds):
    with pytest.raises(BadValue, match="Goods are not billed this way"):
        bill(shop, jars(pounds, 1))


def test_a_cancelled_service_leaves_what_was_done_before(shop, work):
    order = order_of(shop, of(work, 1_000), fill=False)
    line = order.lines.get()
    owner = builders.person()
    orders.fulfil(order=order, filled_by=owner, key="half", quantities={line.pk: 250})
    orders.cancel(order=order, cancelled_by=owner, key="rest", reason="Rain")

    with pytest.raises(NotAllowedNow):
        orders.fulfil(order=order, filled_by=owner, key="more")

    assert invoices.issue(order=order, issued_by=owner, key="bill").net_cents == 11_250
    assert faults() == []


@settings(
    max_examples=data_layer.examples(15),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    price=st.integers(min_value=1, max_value=3_000_000),
    parts=st.lists(st.integers(min_value=1, max_value=500), min_size=2, max_size=5),
)
def test_the_parts_of_a_service_add_up_to_its_amount(price, parts, shop, work):
    whole, owner = sum(parts), builders.person()
    order = order_of(shop, of(work, whole, Decimal(price).scaleb(-4)), fill=False)
    line = order.lines.get()
    for part in parts:
        key = builders.new_key()
        orders.fulfil(order=order, filled_by=owner, key=key, quantities={line.pk: part})

    bills = Fulfilment.objects.filter(order=order).values_list("lines__amount_cents", flat=True)

    # hundredths × ten-thousandths of a dollar are 10 000 to the cent, half a cent up
    assert sum(bills) == line.amount_cents == (whole * price + 5_000) // 10_000
    assert faults() == []


def test_an_entered_cost_is_exact_and_without_one_it_is_unknown(shop, work):
    priced = service_list.add(
        name="Extracting", unit="pound", usual_price=Decimal("0.25"), unit_cost=Decimal("0.0850")
    )
    order = order_of(shop, of(work, 100), of(priced, 12_345, "0.25"))

    costs = [line.cost_cents for line in order.lines.order_by("id")]

    # 123.45 lb × 0.0850 = 10.493…
    assert costs == [None, 1_049]


def test_reports_keep_services_apart_from_honey_and_charges(shop, pounds, work):
    order_of(shop, jars(pounds, 1), of(work, 100))
    freight = LineWanted(OrderLine.Kind.FREIGHT, 1, Decimal(9))
    order_of(shop, freight)

    def amounts(goods):
        return sales.lines(sales.SalesFilters(goods=goods))["amount_cents"].tolist()

    assert amounts(sales.HONEY) == [600]
    assert amounts(sales.SERVICES) == [4_500]
    assert amounts(sales.CHARGE) == [900]
    [row] = sales.by_product(sales.SalesFilters(goods=sales.SERVICES)).to_dict("records")
    assert (row["product"], row["goods"]) == ("Work by the hour", "services")


def test_the_pick_list_has_services_to_do_and_none_to_pick(shop, pounds, work, client):
    order = order_of(shop, jars(pounds, 1), of(work, 250), fill=False)

    context = papers.pick_list_context(for_page().get(pk=order.pk))
    client.force_login(builders.person())
    page = client.get(reverse("orders:pick_list", args=[order.number])).content.decode()

    assert [line.description for line in context["to_do"]] == ["Work by the hour"]
    assert "To do Work by the hour 2.5 hour" in words_of(page)


def test_the_order_form_takes_services_at_their_usual_price(shop, pounds, work, client):
    client.force_login(builders.person())

    client.post(
        reverse("orders:order_create"),
        {
            "key": "form-1",
            "customer": shop.pk,
            "channel": "shop",
            "service_0": work.pk,
            "service_amount_0": "1.75",
            "service_1": work.pk,
            "service_amount_1": "1",
            "service_price_1": "50",
        },
    )

    lines = Order.objects.get().lines.values_list("kind", "quantity", "amount_cents")
    # 1.75 × 45 = 78.75
    assert list(lines) == [("service", 175, 7_875), ("service", 100, 5_000)]


def test_part_of_a_service_is_handed_over_as_done(shop, work, client):
    order = order_of(shop, of(work, 250), fill=False)
    line = order.lines.get()
    client.force_login(builders.person())

    client.post(
        reverse("orders:order_fulfil", args=[order.number]),
        {"key": "done-1", f"line_{line.pk}": "1.25", "filled_on": TODAY.isoformat()},
    )

    line.refresh_from_db()
    assert (line.filled, line.to_fill) == (125, 125)


def test_the_page_bills_a_fee_at_once(shop, fee, client):
    client.force_login(builders.person("office"))
    address = reverse("billing:service_bill", args=[shop.pk])
    typed = {
        "key": "form-1",
        "billed_on": TODAY.isoformat(),
        "service_0": fee.pk,
        "service_amount_0": "1",
    }

    refused = client.post(address, typed)
    done = client.post(address, {**typed, "service_price_0": "35"})

    assert refused.status_code == 422
    assert "Returned-check fee has no usual price. Enter one." in words_of(refused.content.decode())
    invoice = Invoice.objects.get()
    assert done["Location"] == reverse("billing:invoice_detail", args=[invoice.pk])
    assert invoice.total_cents == 3_500
    page = words_of(client.get(done["Location"]).content.decode())
    assert "Returned-check fee 1 each $35.00" in page


def test_the_api_names_the_unit_of_each_line(shop, pounds, work, client):
    order_of(shop, jars(pounds, 2), of(work, 250))
    client.force_login(builders.person())

    [order] = client.get("/api/v1/orders/").json()["results"]

    assert [(line["kind"], line["unit"], line["service"]) for line in order["lines"]] == [
        ("packed", "piece", None),
        ("service", "hundredth of hour", "work-by-the-hour"),
    ]
