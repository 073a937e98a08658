"""Reminders: which are due, what the office approves, and who gets none."""

from datetime import date, timedelta

import pytest
import time_machine
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from apiary_sales.billing.services import opening, payments
from apiary_sales.mailing.models import Email, Reminder
from apiary_sales.mailing.rules.reminders import level_due
from apiary_sales.mailing.services import reminders
from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotAllowedNow
from tests import builders
from tests.billing.conftest import invoice_of, jars
from tests.mailing import worker

pytestmark = pytest.mark.django_db

DUE = date(2026, 10, 10)
PLAN = (7, 21, 35)


@pytest.fixture
def days_after(invoice):
    """Go to a day so many days after the invoice's due day, at noon."""
    travels = []

    def go(days):
        day = invoice.due_on + timedelta(days=days)
        travel = time_machine.travel(f"{day.isoformat()}T18:00:00+00:00", tick=False)
        travel.start()
        travels.append(travel)
        return day

    yield go
    for travel in reversed(travels):
        travel.stop()


def due():
    return reminders.due(timezone.localdate(), sent_by=builders.person())


def send_all(key=None):
    chosen = {row.customer.pk: row.digest for row in due()}
    return reminders.send(chosen=chosen, sent_by=builders.person(), key=key or builders.new_key())


# Expected from the plan of the house itself, which is its own rule (common practice).
@pytest.mark.parametrize(
    ("days", "last_level", "days_since_last", "level"),
    [
        (0, 0, None, None),
        (6, 0, None, None),
        (7, 0, None, 1),
        (8, 0, None, 1),
        # Late: the first one still goes first.
        (90, 0, None, 1),
        (20, 1, 13, None),
        (21, 1, 14, 2),
        # The first one was late, so the second one is as far from it as in the plan.
        (40, 1, 13, None),
        (41, 1, 14, 2),
        (35, 2, 14, 3),
        (35, 2, 13, None),
        (400, 3, 300, None),
    ],
)
def test_which_reminder_is_due(days, last_level, days_since_last, level):
    on = DUE + timedelta(days=days)
    last = None if days_since_last is None else on - timedelta(days=days_since_last)

    found = level_due(due_on=DUE, on=on, plan=PLAN, last_level=last_level, last_sent_on=last)

    assert found == level


@pytest.mark.parametrize(("days", "count"), [(6, 0), (7, 1), (8, 1)])
def test_a_reminder_is_due_on_its_day(days_after, invoice, days, count):
    days_after(days)

    assert len(due()) == count


def test_nothing_is_sent_until_the_office_sends_it(at_once, days_after, invoice):
    days_after(7)

    due()

    assert mail.outbox == []
    assert not Reminder.objects.exists()


def test_one_e_mail_reminds_a_customer_of_all_that_is_due(
    at_once, shop, pounds, invoice, days_after
):
    other = invoice_of(shop, jars(pounds, 2))
    days_after(7)

    [email] = send_all()

    [sent] = mail.outbox
    assert sent.to == ["ada@corner.example"]
    assert sent.subject == "Reminder from Hollow Oak Honey House: $84.00 is overdue"
    assert f"{invoice} of Sep 10, 2026, due on Oct 10, 2026 (7 days overdue): $72.00" in sent.body
    assert f"{other} of Sep 10, 2026, due on Oct 10, 2026 (7 days overdue): $12.00" in sent.body
    assert [name for name, _content, _type in sent.attachments] == [
        f"Invoice {invoice}.pdf",
        f"Invoice {other}.pdf",
    ]
    rows = Reminder.objects.order_by("id").values_list("email", "invoice", "level", "open_cents")
    assert list(rows) == [(email.pk, invoice.pk, 1, 7200), (email.pk, other.pk, 1, 1200)]


def test_levels_follow_each_other_with_their_own_texts(at_once, invoice, days_after):
    subjects = []
    for days in (7, 8, 20, 21, 34, 35, 100):
        days_after(days)
        if due():
            send_all()
            subjects.append((days, mail.outbox[-1].subject.partition(" from")[0]))

    assert subjects == [(7, "Reminder"), (21, "Second reminder"), (35, "Last reminder")]


def test_a_reminder_is_in_the_customers_language(at_once, shop, invoice, days_after):
    shop.language = "es"
    shop.save()
    days_after(7)

    send_all()

    assert mail.outbox[0].subject.startswith("Recordatorio de Hollow Oak Honey House: $72.00")
    assert "Hola, Ada Lind:" in mail.outbox[0].body


def test_an_invoice_from_before_the_books_began_is_not_said_to_be_attached(
    at_once, shop, invoice, days_after
):
    day = days_after(10)
    opening.owe(
        customer=shop,
        number="1187",
        amount_cents=5_000,
        issued_on=day - timedelta(days=60),
        due_on=day - timedelta(days=30),
        begins_on=day,
        recorded_by=builders.person(),
        key="opening",
    )
    [row] = due()

    send_all()

    lines = [line for line in row.body.splitlines() if "overdue):" in line]
    assert [line.endswith("not attached") for line in lines] == ["1187" in line for line in lines]
    assert len(lines) == 2
    assert len(mail.outbox[0].attachments) == 1


def test_money_on_account_is_taken_off(shop, pounds, invoice, days_after):
    payments.receive(
        customer=shop,
        amount_cents=2000,
        method="check",
        received_by=builders.person(),
        key="p1",
        allocations={},
    )
    days_after(7)

    [row] = due()

    assert (row.on_account_cents, row.owed_cents) == (2000, 5200)
    assert "$52.00 is overdue" in row.subject


@pytest.mark.parametrize(("least", "count"), [(7199, 1), (7200, 1), (7201, 0)])
def test_less_than_the_least_amount_is_not_reminded_of(invoice, days_after, least, count):
    reminders.change_plan(first_days=7, second_days=21, third_days=35, minimum_cents=least)
    days_after(7)

    assert len(due()) == count


def test_a_paused_customer_gets_none_until_the_pause_ends(shop, invoice, days_after):
    day = days_after(7)
    pause = reminders.pause(
        customer=shop,
        reason="Pays by the month",
        until=day,
        placed_by=builders.person(),
        key="p",
    )

    assert due() == []
    days_after(8)
    assert len(due()) == 1
    days_after(7)
    assert due() == []
    reminders.end_pause(pause=pause, ended_by=builders.person())
    assert len(due()) == 1


def test_a_disputed_invoice_is_left_out_alone(shop, pounds, invoice, days_after):
    other = invoice_of(shop, jars(pounds, 2))
    reminders.pause(
        customer=shop,
        invoice=invoice,
        reason="Two jars came broken",
        placed_by=builders.person(),
        key="p",
    )
    days_after(7)

    [row] = due()

    assert [each.invoice for each in row.invoices] == [other]


@pytest.mark.parametrize(
    ("changes", "parameter"),
    [({"reason": " "}, "reason"), ({"until": date(2026, 9, 9)}, "until")],
)
def test_a_pause_needs_a_reason_and_a_day_to_come(shop, changes, parameter):
    given = {"reason": "Disputed", "until": None, **changes}

    with pytest.raises(BadValue) as refused:
        reminders.pause(customer=shop, **given, placed_by=builders.person(), key="p")

    assert refused.value.parameter == parameter


def test_an_invoice_of_another_customer_is_refused(shop, invoice):
    other = builders.customer("Hill Bakery")

    with pytest.raises(BadValue) as refused:
        reminders.pause(
            customer=other, invoice=invoice, reason="x", placed_by=builders.person(), key="p"
        )

    assert refused.value.parameter == "invoice"


def test_what_changed_since_it_was_shown_is_not_sent(at_once, shop, invoice, days_after):
    days_after(7)
    chosen = {row.customer.pk: row.digest for row in due()}
    payments.receive(
        customer=shop, amount_cents=100, method="check", received_by=builders.person(), key="p1"
    )

    with pytest.raises(NotAllowedNow, match="The reminders have changed"):
        reminders.send(chosen=chosen, sent_by=builders.person(), key="r1")

    assert (mail.outbox, Reminder.objects.count()) == ([], 0)


def test_one_key_sends_reminders_once(at_once, invoice, days_after):
    days_after(7)
    chosen = {row.customer.pk: row.digest for row in due()}
    made = reminders.send(chosen=chosen, sent_by=builders.person(), key="r1")

    with pytest.raises(AlreadyRecorded) as refused:
        reminders.send(chosen=chosen, sent_by=builders.person(), key="r1")

    assert refused.value.made == made
    assert len(mail.outbox) == 1


def test_only_what_was_chosen_is_sent(at_once, shop, pounds, invoice, days_after):
    other = builders.customer("Hill Bakery", email="hill@bakery.example", terms_days=30)
    invoice_of(other, jars(pounds, 2))
    days_after(7)
    [digest] = [row.digest for row in due() if row.customer == other]

    reminders.send(chosen={other.pk: digest}, sent_by=builders.person(), key="r1")

    assert [sent.to for sent in mail.outbox] == [["hill@bakery.example"]]
    assert [row.customer for row in due()] == [shop]


def test_nothing_chosen_is_refused(sender):
    with pytest.raises(BadValue, match="Choose at least one customer"):
        reminders.send(chosen={}, sent_by=builders.person(), key="r1")


def test_a_customer_without_an_address_is_shown_and_refused(at_once, shop, invoice, days_after):
    shop.email = ""
    shop.save()
    days_after(7)

    [row] = due()

    with pytest.raises(HouseError, match="Corner Grocery has no e-mail address"):
        reminders.send(chosen={shop.pk: row.digest}, sent_by=builders.person(), key="r1")
    assert mail.outbox == []


def test_a_reminder_that_was_refused_is_due_again(invoice, days_after):
    days_after(7)
    [email] = send_all()
    assert due() == []

    Email.objects.filter(pk=email.pk).update(
        status=Email.Status.REFUSED, next_attempt_at=None, error="550 no"
    )

    assert [row.level for row in due()] == [1]


def test_reminders_wait_for_the_worker(invoice, days_after):
    days_after(7)
    send_all()
    assert mail.outbox == []

    worker.do_all()

    assert len(mail.outbox) == 1


@pytest.mark.parametrize(
    ("days", "parameter"),
    [((7, 7, 35), "second_days"), ((7, 21, 21), "third_days"), ((0, 21, 35), "first_days")],
)
def test_each_reminder_comes_later_than_the_one_before(days, parameter):
    first, second, third = days

    with pytest.raises(BadValue) as refused:
        reminders.change_plan(
            first_days=first, second_days=second, third_days=third, minimum_cents=0
        )

    assert refused.value.parameter == parameter


def test_more_customers_take_no_more_queries(shop, pounds, invoice, days_after):
    def count():
        with CaptureQueriesContext(connection) as asked:
            due()
        return len(asked)

    days_after(7)
    one = count()
    days_after(0)
    for number in range(3):
        customer = builders.customer(f"Shop {number}", email="s@shop.example", terms_days=0)
        invoice_of(customer, jars(pounds, 2))
    days_after(10)

    assert len(due()) == 4
    assert count() == one
