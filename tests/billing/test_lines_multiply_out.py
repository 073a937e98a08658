"""No printed line that does not multiply out: quantity × unit price − discount = amount."""

from decimal import Decimal

import pytest

from apiary_sales.billing import papers
from apiary_sales.billing.services import credit_notes
from apiary_sales.orders import papers as order_papers
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries import orders as found
from apiary_sales.orders.rules.lines import LineWanted
from inventory.shared import documents
from inventory.stock.models import Place
from tests import builders, printed_lines
from tests.billing.conftest import invoice_of, jars, order_of

pytestmark = pytest.mark.django_db


def invoice_html(invoice):
    return documents.render_html(papers.invoice_template(invoice), papers.invoice_context(invoice))


def order_html(order, name):
    order = found.for_page().get(pk=order.pk)
    return documents.render_html(f"documents/{name}.html", order_papers.order_context(order))


def test_the_reading_finds_a_line_that_does_not_multiply_out():
    page = """<table class="lines">
    <tr><th>Goods</th><th>Quantity</th><th>Price</th><th>Amount</th></tr>
    <tr><td>right</td><td>3 pc</td><td>$1.25</td><td>$3.75</td></tr>
    <tr><td>discount<small>less discount $0.50</small></td><td>3</td><td>$1.25</td>
    <td>$3.25</td></tr>
    <tr><td>back</td><td>−3 pc</td><td>$1.25</td><td>−$3.75</td></tr>
    <tr><td>part<small>part of 10 at $0.3333, $3.33 together</small></td><td>5</td><td>$0.3333</td>
    <td>$1.66</td></tr>
    <tr><td>wrong</td><td>3 pc</td><td>$1.25</td><td>$3.76</td></tr>
    <tr><td>wrong part, part of 10 at $0.3333, $3.34 together</td><td>5</td><td>$0.3333</td>
    <td>$1.66</td></tr></table>"""

    assert [text.split()[0:2] for text in printed_lines.faults(page)] == [
        ["wrong", "3"],
        ["wrong", "part,"],
    ]


@pytest.mark.parametrize("price", ["18.37", "12.9999", "99.5"])
@pytest.mark.parametrize("grams", [453, 1, 777, 10_001])
def test_honey_at_a_high_price_is_printed_with_the_decimals_it_needs(shop, grams, price):
    # 453 g are 0.99869401 lb. × 18.37 = 18.3460…: 1.00 lb would make 18.37, 0.999 lb 18.35.
    drum = builders.place("7", Place.Kind.DRUM, name="Drum 7")
    lot = builders.lot_in(drum, grams)
    line = LineWanted(
        kind=OrderLine.Kind.HONEY,
        quantity=grams,
        unit_price=Decimal(price),
        drum=drum,
        lot=lot,
    )

    invoice = invoice_of(shop, line)

    html = invoice_html(invoice)
    assert len(list(printed_lines.rows(html))) == 1
    assert printed_lines.faults(html) == []
    assert printed_lines.faults(order_html(invoice.order, "order_confirmation")) == []
    assert printed_lines.faults(order_html(invoice.order, "quote")) == []


def test_lots_that_share_the_amount_of_a_line_say_so(shop, pounds, shelf):
    # 99 × 0.4545 = 44.9955, so 45.00; 96 of 99 pieces are 43.64 of it, and 96 × 0.4545 = 43.63.
    builders.packed_lot(pounds, shelf, 50, code="P26-009")

    invoice = invoice_of(shop, jars(pounds, 99, "0.4545"))

    html = invoice_html(invoice)
    assert [figures[2] for figures in printed_lines.rows(html)] == ["$43.64", "$1.36"]
    assert html.count("part of 99 at $0.4545, $45.00 together") == 1
    assert printed_lines.faults(html) == []


@pytest.mark.usefixtures("without_triggers")
def test_a_part_that_does_not_multiply_out_says_what_it_is_part_of(shop, pounds):
    # 10 × 0.3333 = 3.333, so 3.33; two parts of 5 would be 1.67 and 1.66.
    invoice = invoice_of(shop, jars(pounds, 10, "0.3333"))
    line = invoice.lines.get()
    line.quantity, line.amount_cents = Decimal(5), 166
    line.save()

    assert not line.multiplies_out
    assert line.made_up_of == "part of 10 at $0.3333, $3.33 together"
    html = invoice_html(invoice)
    assert "part of 10 at $0.3333, $3.33 together" in html
    assert printed_lines.faults(html) == []


def test_credits_by_quantity_price_and_allowance_multiply_out(shop, pounds, quarts, owner, key):
    invoice = invoice_of(
        shop,
        jars(pounds, 7, "1.3333", discount_cents=10),
        jars(quarts, 3, "21.00"),
        jars(pounds, 1, "6.00"),
    )
    first, second, third = invoice.lines.order_by("id")
    credit = credit_notes.LineCredit

    note = credit_notes.credit(
        invoice=invoice,
        lines=[
            credit(first, quantity=Decimal(2)),
            credit(second, price_off=Decimal("0.3333")),
            credit(third, allowance_cents=123),
        ],
        reason="Lids leak",
        issued_by=owner,
        key=key(),
    )

    html = invoice_html(note)
    assert len(list(printed_lines.rows(html))) == 3
    assert printed_lines.faults(html) == []
    assert "price difference" in html
    assert "allowance" in html


def test_a_pro_forma_multiplies_out_and_comes_to_the_invoice(shop, pounds, quarts, honey_tax):
    order = order_of(
        shop, jars(pounds, 7, "1.3333", discount_cents=10), jars(quarts, 3, "21.00"), fill=False
    )

    context = papers.pro_forma_context(order)

    html = documents.render_html("documents/pro_forma.html", context)
    assert len(list(printed_lines.rows(html))) == 2
    assert printed_lines.faults(html) == []
    assert "This is no invoice." in html
    # 7 × 1.3333 = 9.3331 and 0.10 less; 3 × 21.00; 6.25 % of each: 0.58 and 3.94
    assert (context["invoice"].net_cents, context["invoice"].tax_cents) == (7_223, 452)
    assert not order.invoices.exists()
