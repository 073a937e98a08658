"""Papers with words longer than a line: parted, so that nothing is printed off the paper."""

import pytest

from apiary_sales.billing import papers
from apiary_sales.orders import papers as order_papers
from apiary_sales.orders.queries import orders as found
from inventory.shared import documents, press
from inventory.shared.models import House
from tests import builders
from tests.billing.conftest import invoice_of, jars, order_of

pytestmark = pytest.mark.django_db

STREET, REFERENCE = "S" * 100, "R" * 40


@pytest.fixture
def far_shop(house):
    return builders.customer(
        "C" * 100, street=STREET, city="M" * 60, region="IA", postal_code="50001", terms_days=30
    )


def printed(template_name, context):
    """Return what the lines of a paper say, and how far beyond its margins any of them goes."""
    ready = press.ready()
    html = documents.render_html(template_name, context)
    document = ready.make_html(string=html, url_fetcher=ready.fetcher).render(
        stylesheets=[ready.style], font_config=ready.fonts
    )
    lines, beyond = [], 0
    for page in document.pages:
        body = page._page_box
        left = body.content_box_x()
        for box in body.descendants():
            if hasattr(box, "text"):
                lines.append(box.text)
                end = box.position_x + box.width
                beyond = max(beyond, left - box.position_x, end - left - body.width)
    return "".join(lines), round(beyond)


def test_an_invoice_parts_long_words(far_shop, pounds):
    House.objects.update(name="H" * 60, street="A" * 100)
    invoice = invoice_of(far_shop, jars(pounds, 3), customer_reference=REFERENCE)

    said, beyond = printed("documents/invoice.html", papers.invoice_context(invoice))

    assert beyond == 0
    assert STREET in said
    assert REFERENCE in said.replace(" ", "")
    assert invoice.order.number in said


def test_a_pick_list_parts_long_words(far_shop, pounds):
    order = order_of(
        far_shop, jars(pounds, 3), fill=False, customer_reference=REFERENCE, note="N" * 120
    )
    order = found.for_page().get(pk=order.pk)

    said, beyond = printed("documents/pick_list.html", order_papers.pick_list_context(order))

    assert beyond == 0
    assert STREET in said
    assert REFERENCE in said
    assert "N" * 120 in said


def test_a_statement_parts_long_words(far_shop, pounds):
    invoice = invoice_of(far_shop, jars(pounds, 3), customer_reference=REFERENCE)

    said, beyond = printed(
        "documents/statement.html",
        papers.statement_context(far_shop, invoice.issued_on, invoice.issued_on),
    )

    assert beyond == 0
    assert STREET in said
