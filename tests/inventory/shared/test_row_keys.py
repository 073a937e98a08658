"""What an address names a row by is read before the database is asked."""

import pytest
from django.urls import resolve, reverse

from inventory.shared.row_keys import row_key
from tests import builders


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("12", 12),
        (12, 12),
        ("9" * 18, 10**18 - 1),
        ("9" * 19, 0),
        ("9" * 5_000, 0),
        ("²", 0),
        ("١٢", 0),
        ("-1", 0),
        ("1.0", 0),
        (" 1", 0),
        ("a\x00", 0),
        ("\ud800", 0),
        ("", 0),
        (None, 0),
    ],
)
def test_a_key_is_a_short_whole_number_in_plain_digits(text, key):
    assert row_key(text) == key


@pytest.mark.django_db
@pytest.mark.parametrize("absurd", ["9" * 5_000, "²", "١", "1e-999999999", "1e999999999"])
@pytest.mark.parametrize(
    "address",
    [
        "/bottling/days/preview/?sheet=",
        "/customers/new/?supplier=",
        "/selling/orders/new/?customer=",
        "/selling/quotes/new/?customer=",
        "/honey/recall/?lot=",
        "/find/?q=a&before=",
        "/reports/plan/?kept=",
        "/prices/drums/set/?price=",
        "/money/tax/documents/?percent=",
        "/honey/stock/count/?stock=",
        "/money/payments/new/?customer=",
        "/money/purchase-orders/new/?supplier=",
    ],
)
def test_an_absurd_key_or_figure_in_an_address_is_no_fault(client, address, absurd):
    client.force_login(builders.person("owner"))

    assert resolve(address.partition("?")[0])
    answer = client.get(f"{address}{absurd}")

    assert answer.status_code in (200, 302, 404)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "address",
    [
        "/stand/marks/{}/seen/",
        "/money/invoices/{}/",
        "/customers/{}/",
        "/money/tax/certificates/{}/",
        "/api/v1/invoices/{}/",
    ],
)
@pytest.mark.parametrize("key", [2**63 - 1, 2**63, 10**400])
def test_there_is_no_page_of_a_huge_key(client, address, key):
    client.force_login(builders.person("owner"))

    assert client.get(address.format(key)).status_code == 404


@pytest.mark.django_db
@pytest.mark.parametrize("lines", ["61", "99999999"])
def test_more_lines_than_a_table_has_are_refused_before_they_are_made(client, lines):
    client.force_login(builders.person("owner"))

    page = client.post(
        reverse("inventory:size_create"), {"parts-TOTAL_FORMS": lines, "parts-INITIAL_FORMS": "0"}
    )

    assert page.status_code == 422
    assert page.text.count('name="parts-') < 300
