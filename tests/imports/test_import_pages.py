"""Choose what, upload, match, look, bring in, undo: in the browser, by role."""

import pytest
from django.urls import reverse

from apiary_sales.customers.models import Customer
from apiary_sales.imports.models import Import
from apiary_sales.imports.services import long_lists
from inventory.shared.models import LongWork
from tests import builders
from tests.imports.lists import file_of, uploaded

pytestmark = pytest.mark.django_db


def test_the_way_of_a_list_from_upload_to_undo(client):
    client.force_login(builders.person("office"))
    rows = [["Shop", "Plan"], ["Mill Bakery", "shop"], ["Corner Grocery", "nonsense"]]
    sent = {"decimal_sign": ".", "day_order": "mdy", "key": "up-1"}

    page = client.post(
        "/settings/import/new/customers/", {**sent, "file": file_of(rows)}, follow=True
    )
    begun = Import.objects.get()
    assert page.redirect_chain[-1][0] == reverse("imports:columns", args=[begun.pk])
    page = client.post(page.redirect_chain[-1][0], {"key": "c", "tier": "1"})
    assert page.status_code == 422
    assert "Choose the column that has this. It is needed." in page.text
    page = client.post(
        reverse("imports:columns", args=[begun.pk]),
        {"key": "c", "name": "0", "tier": "1"},
        follow=True,
    )
    assert "“nonsense” is none of these: stand, shop, distributor, bulk." in page.text
    assert "nonsense" in client.get(reverse("imports:bad_rows", args=[begun.pk])).text
    url = reverse("imports:bring_in", args=[begun.pk])
    assert client.post(url, {"key": "b"}).status_code == 422
    page = client.post(url, {"key": "b", "without_bad_rows": "on"}, follow=True)
    customer = Customer.objects.get()
    assert reverse("customers:detail", args=[customer.pk]) in page.text
    client.post(reverse("imports:undo", args=[begun.pk]), {"key": "u", "reason": "A trial"})

    assert not Customer.objects.exists()
    begun.refresh_from_db()
    assert (begun.state, begun.undone_reason) == (Import.State.UNDONE, "A trial")


@pytest.mark.parametrize(
    ("role", "kinds"),
    [
        ("owner", 8),
        ("office", 6),
        ("bottling", None),
        ("stand", None),
    ],
)
def test_each_role_brings_in_what_it_may_enter_by_hand(client, role, kinds):
    client.force_login(builders.person(role))

    page = client.get("/settings/import/")

    assert page.status_code == (200 if kinds else 403)
    if kinds:
        assert page.text.count('class="task"') == kinds
    refused = client.get("/settings/import/new/products/")
    assert refused.status_code == (200 if role == "owner" else 403)


@pytest.mark.parametrize("kind", ["customers", "past-sales"])
def test_a_template_is_there_as_csv_and_as_a_workbook(client, kind):
    client.force_login(builders.person())

    assert client.get(f"/settings/import/new/{kind}/template.csv").content.startswith(
        "\ufeff".encode()
    )
    assert client.get(f"/settings/import/new/{kind}/template.xlsx").content.startswith(b"PK")


def test_a_list_is_dropped_with_all_that_was_read(client):
    client.force_login(builders.person())
    begun = uploaded("customers", [["Name"], ["Mill Bakery"]])

    client.post(reverse("imports:drop", args=[begun.pk]))

    begun.refresh_from_db()
    assert (begun.state, begun.headings, begun.rows.count()) == (Import.State.DROPPED, [], 0)
    assert client.get(reverse("imports:detail", args=[begun.pk])).status_code == 404


def test_a_long_list_is_long_work_with_its_result(monkeypatch):
    monkeypatch.setattr(long_lists, "ROWS_AT_ONCE", 1)
    owner = builders.person()
    begun = uploaded("customers", [["Name"], ["Mill Bakery"], ["Corner Grocery"]])

    work = long_lists.bring_in(begun=begun, brought_in_by=owner)
    long_lists.bring_in_list.func(begun.pk, owner.pk, "en", work.pk, False)

    work.refresh_from_db()
    assert (work.state, work.message) == (LongWork.State.DONE, "2 rows were brought in.")
    assert work.result_url == reverse("imports:detail", args=[begun.pk])
    assert Customer.objects.count() == 2


def test_the_first_rows_show_days_and_amounts_as_they_were_read(client):
    client.force_login(builders.person("office"))
    rows = [["Date", "Paid to", "Category", "Amount", "Method"]]
    rows += [["01/08/2025", "Valley Fuel", "fuel", "1.264,20", "cash"]]
    begun = uploaded("expenses", rows, decimal_sign=",")

    page = client.get(reverse("imports:detail", args=[begun.pk]))

    assert "Jan 8, 2025" in page.text
    assert "$1,264.20" in page.text
