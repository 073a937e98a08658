"""Many papers are printed as one PDF, as long work that can be stopped."""

from io import BytesIO

import pytest
from django.urls import reverse
from pypdf import PdfReader

from apiary_sales.billing import printing
from apiary_sales.billing.models import Invoice
from inventory.shared.models import LongWork
from inventory.shared.services import long_work
from tests import builders
from tests.billing.conftest import invoice_of, jars

pytestmark = pytest.mark.django_db


@pytest.fixture
def two_invoices(shop, pounds):
    return [invoice_of(shop, jars(pounds, number)) for number in (1, 2)]


@pytest.fixture
def at_once(settings, tmp_path):
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    settings.FILES_DIR = tmp_path


def test_the_invoices_that_a_list_shows_are_printed_as_one_pdf(
    client, two_invoices, at_once, django_capture_on_commit_callbacks
):
    client.force_login(builders.person("office"))

    with django_capture_on_commit_callbacks(execute=True):
        begun = client.post(reverse("billing:invoices_print") + "?state=open")
    work = LongWork.objects.get()
    file = client.get(work.result_url)

    assert begun.url == reverse("inventory:long_work", args=[work.pk])
    assert (work.state, work.done, work.total) == ("done", 2, 2)
    text = "".join(page.extract_text() for page in PdfReader(BytesIO(file.content)).pages)
    assert [str(invoice) in text for invoice in two_invoices] == [True, True]


def test_what_is_stopped_makes_no_file_and_others_do_not_see_it(client, two_invoices, settings):
    office = builders.person("office")
    work = long_work.begin(kind="invoices", title="Invoices", started_by=office)
    long_work.ask_to_stop(work)

    printing.print_invoices.call(work.pk, [invoice.pk for invoice in two_invoices], "en")

    work.refresh_from_db()
    assert (work.state, work.result_url) == ("stopped", "")
    client.force_login(office)
    assert client.get(reverse("inventory:long_work_file", args=[work.pk])).status_code == 404


def test_an_empty_list_is_not_printed(client, db):
    client.force_login(builders.person("office"))

    answer = client.post(reverse("billing:invoices_print"), follow=True)

    assert "Choose up to 500 invoices" in answer.text
    assert not LongWork.objects.exists()
    assert not Invoice.objects.exists()
