"""The kept months of the accounts: with what came since, they are all that was ever entered."""

from collections import defaultdict
from datetime import date, timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from apiary_sales.billing.models import AccountMonth, Entry, EntryLine
from apiary_sales.billing.queries import account_months as proof
from apiary_sales.billing.services import account_months, book
from apiary_sales.billing.services.book import BookLine
from apiary_sales.keeping.services import nightly
from tests.profiles import examples

pytestmark = pytest.mark.django_db
FIRST = date(2026, 1, 30)
ACCOUNTS = ["cash", "transfer", "expenses"]

days = st.integers(0, 70)
acts = st.one_of(
    st.tuples(st.just("enter"), days, st.integers(1, 900), st.sampled_from(["", "fees", "fuel"])),
    st.tuples(st.just("undo"), days, st.integers(0, 5), st.just("")),
    st.tuples(st.just("renew"), st.just(0), st.just(0), st.just("")),
)
# A day in a month that is kept already, its undoing, and a month before all that are kept.
LATE = [
    *[("enter", 40, 100, "fees"), ("renew", 0, 0, ""), ("enter", 39, 7, ""), ("undo", 3, 0, "")],
    *[("renew", 0, 0, ""), ("enter", 1, 13, "fuel")],
]


def act(name, day, figure, detail):
    on = FIRST + timedelta(days=day)
    if name == "enter":
        enter(on, figure, detail)
    elif name == "renew":
        account_months.renew()
    elif Entry.objects.exists():
        entries = list(Entry.objects.order_by("pk"))
        book.enter_opposite(entries[figure % len(entries)], happened_on=on)


def enter(on, cents, detail=""):
    book.enter(
        kind=Entry.Kind.TRANSFER,
        lines=[
            BookLine("cash", -3 * cents),
            BookLine("transfer", 2 * cents),
            BookLine("expenses", cents, detail=detail),
        ],
        happened_on=on,
    )


def plain_sums(before=None):
    """Add up every line there is, one after the other."""
    found = defaultdict(int)
    for line in EntryLine.objects.select_related("entry"):
        if before is None or line.entry.entered_on < before:
            found[line.account, line.detail] += line.amount_cents
    return without_zeros(found)


def without_zeros(sums):
    return {key: cents for key, cents in sums.items() if cents}


@settings(
    max_examples=examples(8, nightly=400),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, min_size=3, max_size=12), days)
@example(LATE, 2)
@example(LATE, 40)
def test_after_any_acts_the_months_and_what_came_since_are_the_sum_of_all(db, series, asked):
    with transaction.atomic():
        for one in series:
            act(*one)
            for before in (None, FIRST + timedelta(days=asked), date(2026, 3, 1)):
                found = AccountMonth.objects.balances(ACCOUNTS, before=before)
                assert without_zeros(found) == plain_sums(before)
            assert list(proof.faults()) == []
        transaction.set_rollback(True)


def test_a_reading_begins_where_the_kept_months_end():
    enter(FIRST, 100)
    enter(FIRST + timedelta(days=3), 10)
    account_months.renew()
    enter(FIRST, 1)

    last = Entry.objects.order_by("pk").values_list("pk", flat=True)[1]
    assert AccountMonth.objects.last_entry() == last
    # Of one statement, so that months which are kept meanwhile are not added twice.
    with CaptureQueriesContext(connection) as asked:
        assert AccountMonth.objects.balance_cents("cash", before=date(2026, 2, 1)) == -303
    assert len(asked) == 1
    # What was kept is not added up again.
    AccountMonth.objects.filter(account="cash").update(cents=-1_000)
    assert AccountMonth.objects.balance_cents("cash", before=date(2026, 2, 1)) == -1_003


def test_the_work_of_the_night_keeps_the_months(monkeypatch):
    monkeypatch.setattr(nightly, "make_nightly", lambda *, now: "")
    enter(FIRST, 100, "fees")

    nightly.back_up_tonight.func()

    assert {month.key: month.cents for month in AccountMonth.objects.all()} == {
        ("cash", "", date(2026, 1, 1)): -300,
        ("transfer", "", date(2026, 1, 1)): 200,
        ("expenses", "fees", date(2026, 1, 1)): 100,
    }


@pytest.mark.parametrize("wrong", ["cents", "last_entry", "missing", "of_no_entry"])
def test_a_wrong_month_is_found_and_made_anew(wrong):
    enter(FIRST, 100)
    enter(FIRST, 5)
    account_months.renew()
    cash = AccountMonth.objects.get(account="cash")
    fault = (
        "What is kept of account cash for 2026-01 is not what its entries give. "
        "Run manage.py rebuild_derived."
    )

    if wrong == "cents":
        AccountMonth.objects.filter(pk=cash.pk).update(cents=-314)
    elif wrong == "last_entry":
        AccountMonth.objects.filter(pk=cash.pk).update(last_entry=Entry.objects.earliest("pk"))
    elif wrong == "missing":
        cash.delete()
    else:
        cash.pk, cash.detail = None, "drawer"
        cash.save()
    assert list(proof.faults()) == [fault]

    call_command("rebuild_derived", stdout=StringIO())
    assert list(proof.faults()) == []
    assert AccountMonth.objects.get(account="cash").cents == -315
