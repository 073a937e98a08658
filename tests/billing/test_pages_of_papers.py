"""Where the pages of papers end: what belongs together is on one page, however many lines."""

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader

from apiary_sales.billing import papers
from apiary_sales.orders import papers as order_papers
from apiary_sales.orders.queries import orders as found
from inventory.shared import documents
from inventory.shared.models import House
from tests.billing.conftest import TODAY, days, invoice_of, jars, order_of

pytestmark = pytest.mark.django_db

LINES_MAX = 60
# Totals and what follows them are as high as so many lines: with fewer to go to the foot of the
# page, they no longer fit below the last line.
LINES_OF_TOTALS = 10


def pages_of(pdf):
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def with_lines(context, count):
    return {**context, "lines": context["lines"][:count]}


def statement_with_lines(context, count):
    statement = context["statement"]
    return {**context, "statement": replace(statement, lines=statement.lines[:count])}


def lines_on_first_page(template, context):
    return pages_of(documents.render_pdf(template, context))[0].count("One pound")


def check_pages(pages, *, count, head, ends):
    """Check that each page has lines below a head, and that what follows them is on the last."""
    for page in pages:
        assert "One pound" in page, page
        assert head in page, page
    assert sum(page.count("One pound") for page in pages) == count
    for end in ends:
        assert [end in page for page in pages] == [False] * (len(pages) - 1) + [True], end


def check_around_the_foot(template, context, *, head, ends, step=1, cut=with_lines):
    """Check papers with one line, with all, and with each number that ends near a foot."""
    full = lines_on_first_page(template, context)
    assert 10 < full < LINES_MAX
    numbers = {1, LINES_MAX, *range(full - LINES_OF_TOTALS, full + 3, step)}
    pages_seen = set()
    for count in sorted(numbers):
        pages = pages_of(documents.render_pdf(template, cut(context, count)))
        check_pages(pages, count=count, head=head, ends=ends)
        pages_seen.add(len(pages))
    assert len(pages_seen) > 1


def many_jars(pounds):
    return [jars(pounds, 1, "6.00") for _line in range(LINES_MAX)]


@pytest.mark.parametrize("paper", ["letter", "A4"])
def test_the_totals_of_an_invoice_and_how_to_pay_are_with_the_last_line(shop, pounds, paper):
    House.objects.update(paper=paper)
    invoice = invoice_of(shop, *many_jars(pounds))

    check_around_the_foot(
        "documents/invoice.html",
        papers.invoice_context(invoice),
        head="Unit price",
        ends=["Subtotal", "Balance due", "How to pay", "Please pay", "infants"],
    )


def test_the_totals_of_a_pro_forma_and_a_confirmation_are_with_the_last_line(shop, pounds):
    order = found.for_page().get(pk=order_of(shop, *many_jars(pounds), fill=False).pk)

    check_around_the_foot(
        "documents/pro_forma.html",
        papers.pro_forma_context(order),
        head="Unit price",
        ends=["Expected total", "To pay in advance", "Please mention"],
        step=3,
    )
    check_around_the_foot(
        "documents/order_confirmation.html",
        order_papers.order_context(order),
        head="Quantity",
        ends=["Total before tax", "Thank you for your order"],
        step=3,
    )


def test_the_total_of_a_statement_and_how_to_pay_are_with_the_last_line(shop, pounds):
    invoice_of(shop, jars(pounds, 1, "6.00"))
    context = papers.statement_context(shop, TODAY - days(30), TODAY)
    [line] = context["statement"].lines
    lines = [replace(line, text="One pound")] * LINES_MAX
    context["statement"] = replace(context["statement"], lines=lines)

    check_around_the_foot(
        "documents/statement.html",
        context,
        head="Billed",
        ends=["Total", "on account", "How to pay"],
        step=3,
        cut=statement_with_lines,
    )
