"""The pages of e-mails and reminders."""

import html
import re
from datetime import timedelta

import pytest
import time_machine
from django.core import mail
from django.urls import reverse

from apiary_sales.billing.services import payments
from apiary_sales.mailing.models import Email, EmailText, ReminderPause, ReminderPlan
from inventory.shared import mailable
from tests import builders
from tests.billing.conftest import invoice_of, jars, queries_of, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


def fields_of(response):
    """Return what the form of a page would send as it is."""
    form = response.context["form"]
    return {field.html_name: field.value() or "" for field in form}


def send(client, invoice, **changes):
    url = reverse("mailing:send", args=["invoice", invoice.pk])
    return client.post(url, fields_of(client.get(url)) | changes, follow=True)


def test_the_page_has_the_text_and_the_address_filled_in(office, invoice):
    page = office.get(reverse("mailing:send", args=["invoice", invoice.pk]))

    fields = fields_of(page)
    assert fields["to"] == "ada@corner.example"
    assert fields["subject"] == f"Invoice {invoice} from Hollow Oak Honey House"
    assert f"Attached: Invoice {invoice}.pdf" in words_of(page.content.decode())
    assert "e-mails do not leave the house" in page.content.decode()


def test_what_was_changed_before_sending_is_sent(at_once, office, invoice):
    page = send(office, invoice, to="boss@corner.example", body="As we said.")

    assert (mail.outbox[0].to, mail.outbox[0].body) == (["boss@corner.example"], "As we said.")
    assert "The e-mail to boss@corner.example is on its way." in page.content.decode()
    assert page.context["email"].sent_by == builders.person("office")


def test_a_form_sent_twice_sends_once(at_once, office, invoice):
    url = reverse("mailing:send", args=["invoice", invoice.pk])
    fields = fields_of(office.get(url))

    office.post(url, fields)
    again = office.post(url, fields, follow=True)

    assert len(mail.outbox) == 1
    assert "This was recorded already." in again.content.decode()


def test_a_wrong_address_is_told_at_its_field(at_once, office, invoice):
    page = send(office, invoice, to="ada@")

    assert page.status_code == 422
    assert page.context["form"].errors.keys() == {"to"}
    assert mail.outbox == []


def test_what_was_sent_is_shown_on_the_invoice_and_on_the_customer(at_once, office, invoice):
    send(office, invoice)

    for url in (
        reverse("billing:invoice_detail", args=[invoice.pk]),
        reverse("customers:detail", args=[invoice.customer_id]),
        reverse("mailing:email_list"),
    ):
        shown = words_of(office.get(url).content.decode())
        assert f"Invoice {invoice} from Hollow Oak Honey House" in shown, url
        assert "ada@corner.example Sep 10, 2026 Office sent" in shown.replace("  ", " "), url


def test_the_error_of_a_mail_server_is_shown(office, invoice):
    send(office, invoice)
    Email.objects.update(
        status=Email.Status.REFUSED, next_attempt_at=None, error="550 no such mailbox"
    )

    page = office.get(reverse("mailing:email", args=[Email.objects.get().pk]))

    assert "550 no such mailbox" in page.content.decode()
    assert "The mail server did not take this e-mail." in page.content.decode()


def test_the_paper_of_an_e_mail_is_the_one_that_was_sent(at_once, office, invoice):
    send(office, invoice)
    [(_name, content, _type)] = mail.outbox[0].attachments

    attached = Email.objects.get().papers.get()
    answer = office.get(reverse("mailing:email_paper", args=[attached.pk]))

    assert answer["Content-Type"] == "application/pdf"
    assert answer.content == content


def test_an_e_mail_is_sent_again_from_its_page(at_once, office, invoice):
    send(office, invoice)
    url = reverse("mailing:resend", args=[Email.objects.get().pk])

    office.post(url, fields_of(office.get(url)) | {"to": "boss@corner.example"})

    assert [sent.to for sent in mail.outbox] == [["ada@corner.example"], ["boss@corner.example"]]


def test_that_an_e_mail_came_back_is_noted_on_its_page(at_once, office, invoice):
    send(office, invoice)
    url = reverse("mailing:bounce", args=[Email.objects.get().pk])
    fields = {"key": "b1", "bounced_on": "2026-09-10", "note": "Mailbox is full"}

    page = office.post(url, fields, follow=True)

    assert "Mailbox is full" in page.content.decode()
    assert "came back" in words_of(page.content.decode())


def test_a_statement_is_sent_with_the_days_of_its_page(at_once, office, shop, invoice):
    statement = reverse("billing:statement", args=[shop.pk])
    page = office.get(f"{statement}?since=2026-09-01&until=2026-09-09").content.decode()
    [url] = re.findall(r'href="([^"]*send/statement[^"]*)"', page)
    url = html.unescape(url)

    office.post(url, fields_of(office.get(url)))

    assert Email.objects.get().papers.get().details == {
        "since": "2026-09-01",
        "until": "2026-09-09",
    }


def test_the_stand_sends_receipts_and_no_invoices(client, invoice):
    client.force_login(builders.person("stand"))
    url = reverse("mailing:send", args=["invoice", invoice.pk])

    assert client.get(url).status_code == 403
    assert client.get(reverse("mailing:email_list")).status_code == 403
    assert mailable.by_name("receipt").may_send(builders.person("stand"))


@pytest.mark.parametrize("url", ["email", "resend", "bounce"])
def test_an_e_mail_with_an_invoice_is_not_for_the_stand(at_once, client, office, invoice, url):
    send(office, invoice)
    client.force_login(builders.person("stand"))

    assert client.get(reverse(f"mailing:{url}", args=[Email.objects.get().pk])).status_code == 403


def test_there_is_no_page_that_sends_a_paper_that_is_not_there(office, invoice):
    assert office.get(reverse("mailing:send", args=["receipt", invoice.pk])).status_code == 404
    assert office.get(reverse("mailing:send", args=["nothing", 1])).status_code == 403


def test_more_e_mails_take_no_more_queries(at_once, office, shop, invoice):
    send(office, invoice)
    urls = [reverse("mailing:email_list"), reverse("customers:detail", args=[shop.pk])]
    one = [queries_of(office, url) for url in urls]
    for _turn in range(3):
        send(office, invoice)

    assert [queries_of(office, url) for url in urls] == one


def test_a_text_of_the_house_is_set_and_taken_back(office, sender):
    url = reverse("mailing:text", args=["invoice", "es"])
    fields = {"key": "t", "subject": "Factura {number}", "body": "Gracias. {total}"}

    office.post(url, fields)
    assert EmailText.objects.get().subject == "Factura {number}"
    assert "Use the usual text again" in office.get(url).content.decode()

    office.post(reverse("mailing:text_usual", args=["invoice", "es"]))
    assert not EmailText.objects.exists()


def test_a_text_with_a_name_that_means_nothing_is_refused(office, sender):
    url = reverse("mailing:text", args=["invoice", "es"])

    page = office.post(url, {"key": "t", "subject": "Factura {numero}", "body": "Gracias."})

    assert page.status_code == 422
    assert page.context["form"].errors.keys() == {"subject"}


# -------------------------------------------------------------------------- reminders


@pytest.fixture
def other(sender, pounds, invoice):
    """An invoice of another customer, of the same day."""
    customer = builders.customer("Hill Bakery", email="hill@bakery.example", terms_days=30)
    return invoice_of(customer, jars(pounds, 2))


@pytest.fixture
def late(client, invoice):
    """A week after the invoice was due."""
    day = invoice.due_on + timedelta(days=7)
    with time_machine.travel(f"{day.isoformat()}T18:00:00+00:00", tick=False):
        # Those who signed in on the day of the invoice are signed out by now.
        client.force_login(builders.person("office"))
        yield day


def test_the_reminders_that_are_due_are_shown_ticked_and_sent(at_once, office, invoice, late):
    url = reverse("mailing:reminders")
    page = office.get(url)
    [(row, value, is_ticked)] = page.context["rows"]
    assert (row.customer, is_ticked) == (invoice.customer, True)
    assert "$72.00 is overdue" in page.content.decode()

    sent = office.post(url, {"key": "r1", "chosen": [value]}, follow=True)

    assert "1 reminder is on its way." in sent.content.decode()
    assert [each.to for each in mail.outbox] == [["ada@corner.example"]]
    assert "No reminders are due today." in office.get(url).content.decode()


def test_a_reminder_without_a_tick_is_not_sent(at_once, office, other, late):
    url = reverse("mailing:reminders")
    values = {row.customer.name: value for row, value, _t in office.get(url).context["rows"]}

    office.post(url, {"key": "r1", "chosen": [values["Hill Bakery"]]})

    assert [each.to for each in mail.outbox] == [["hill@bakery.example"]]


def test_a_payment_meanwhile_stops_the_reminders(at_once, office, shop, invoice, late):
    url = reverse("mailing:reminders")
    [(_row, value, _ticked)] = office.get(url).context["rows"]
    payments.receive(
        customer=shop, amount_cents=7200, method="check", received_by=builders.person(), key="p"
    )

    page = office.post(url, {"key": "r1", "chosen": [value]})

    assert page.status_code == 422
    assert "The reminders have changed since you opened this page." in page.content.decode()
    assert mail.outbox == []


def test_a_reminder_is_shown_on_its_invoice(at_once, office, invoice, late):
    url = reverse("mailing:reminders")
    [(_row, value, _ticked)] = office.get(url).context["rows"]
    office.post(url, {"key": "r1", "chosen": [value]})

    page = office.get(reverse("billing:invoice_detail", args=[invoice.pk]))

    assert "Reminder from Hollow Oak Honey House: $72.00 is overdue" in page.content.decode()


def test_a_disputed_invoice_is_paused_and_the_pause_ended(office, shop, invoice, late):
    url = reverse("mailing:pause", args=[shop.pk])
    fields = {"key": "p1", "invoice": invoice.pk, "reason": "Two jars broken", "until": ""}

    page = office.post(url, fields, follow=True)

    assert "Two jars broken" in page.content.decode()
    assert office.get(reverse("mailing:reminders")).context["rows"] == []
    office.post(reverse("mailing:pause_end", args=[ReminderPause.objects.get().pk]))
    assert len(office.get(reverse("mailing:reminders")).context["rows"]) == 1


def test_the_schedule_is_changed(office):
    url = reverse("mailing:reminder_plan")
    fields = {"key": "s1", "first_days": 10, "second_days": 20, "third_days": 30, "minimum": "25"}

    office.post(url, fields)

    plan = ReminderPlan.current()
    assert (plan.days, plan.minimum_cents) == ((10, 20, 30), 2500)


def test_a_schedule_that_does_not_rise_is_refused_at_its_field(office):
    url = reverse("mailing:reminder_plan")
    fields = {"key": "s1", "first_days": 10, "second_days": 10, "third_days": 30, "minimum": "25"}

    page = office.post(url, fields)

    assert page.status_code == 422
    assert page.context["form"].errors.keys() == {"second_days"}


def test_bottling_sees_no_e_mails(client, invoice):
    client.force_login(builders.person("bottling"))

    for name in ("email_list", "reminders", "reminder_plan", "text_list"):
        assert client.get(reverse(f"mailing:{name}")).status_code == 403
