"""The running seal: what is entered is sealed in batches, and any later change is found."""

import hashlib
import json
from datetime import timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.template.loader import render_to_string
from django.utils import timezone

from apiary_sales.billing import papers
from apiary_sales.billing.models import Entry, EntryLine
from apiary_sales.billing.services import closing
from apiary_sales.keeping import triggers
from apiary_sales.keeping.models import Backup
from inventory.stock import seal_text
from inventory.stock.models import Posting, Seal
from inventory.stock.queries import seals as found
from inventory.stock.services import seals
from tests import builders
from tests.billing.conftest import pay
from tests.keeping.small_books import write_books
from tests.mailing import worker

pytestmark = pytest.mark.django_db


@pytest.fixture
def books(db):
    return write_books()


def change(statement):
    """Change the books as somebody with the database in hand can."""
    with triggers.lifted():
        connection.cursor().execute(statement)


def faults():
    return list(found.faults())


def kinds_and_numbers():
    return [line.rsplit(" ", 1)[0] for seal in Seal.objects.all() for line in seal.rows.split("\n")]


def test_everything_is_sealed_once_and_in_order(books):
    first = seals.make()
    again = seals.make()
    pay(books.customer, 100)
    more = seals.make()

    assert (first, again, more) == (1, 0, 1)
    postings = [f"posting {row.pk}" for row in Posting.objects.order_by("pk")]
    *entries, last = [f"entry {row.pk}" for row in Entry.objects.order_by("pk")]
    assert [row for row in kinds_and_numbers() if row] == [*postings, *entries, last]
    assert [seal.covered for seal in Seal.objects.all()] == [
        len(postings) + len(entries),
        len(postings) + len(entries) + 1,
    ]
    assert faults() == []


def test_many_rows_make_several_seals(books, monkeypatch):
    monkeypatch.setattr(seals, "ROWS_OF_A_KIND", 1)

    made = seals.make()

    assert made == max(Posting.objects.count(), Entry.objects.count())
    assert Seal.objects.newest().covered == Posting.objects.count() + Entry.objects.count()
    assert faults() == []


def test_a_seal_is_what_anybody_can_work_out_from_the_rows(books):
    """The text of version 1, written here once more: no later version may seal another."""
    seals.make()
    seal = Seal.objects.get()
    entry = Entry.objects.get(invoice=books)

    moment = entry.entered_at.isoformat(timespec="microseconds")
    own = ["invoice", str(entry.happened_on), str(entry.entered_on), moment, books.pk, None]
    lines = [
        [row.pk, row.account, row.detail, row.customer_id, row.supplier_id, row.amount_cents]
        for row in EntryLine.objects.filter(entry=entry).order_by("pk")
    ]
    text = json.dumps(["entry", entry.pk, own, lines])
    assert f"entry {entry.pk} {hashlib.sha256(text.encode()).hexdigest()[:32]}\n" in seal.rows
    made_at = seal.made_at.isoformat(timespec="microseconds")
    ends = [["entry", seal.last["entry"]], ["posting", seal.last["posting"]]]
    head = json.dumps(["", 1, 1, made_at, ends, seal.covered])
    assert seal.digest == hashlib.sha256(f"{head}\n{seal.rows}".encode()).hexdigest()


def test_a_changed_posting_is_named(books):
    seals.make()
    posting = Posting.objects.earliest("pk").pk
    change(f"UPDATE inventory_posting SET note = 'another' WHERE id = {posting}")

    [fault] = faults()

    assert fault.startswith(f"Posting {posting} was changed behind the program's back")
    assert "seal 1 of " in fault


def test_a_changed_line_is_told_of_its_entry(books):
    seals.make()
    line = EntryLine.objects.latest("pk")
    change(f"UPDATE billing_entryline SET detail = 'another' WHERE id = {line.pk}")

    [fault] = faults()

    assert fault.startswith(f"Entry {line.entry_id} was changed behind the program's back")


def test_a_removed_row_is_named(books):
    seals.make()
    first = Entry.objects.earliest("pk")
    change(f"DELETE FROM billing_entryline WHERE entry_id = {first.pk}")
    change(f"DELETE FROM billing_entry WHERE id = {first.pk}")

    [fault] = faults()

    assert fault.startswith(f"Entry {first.pk} was removed behind the program's back")


def test_a_line_that_came_later_is_told_of_its_posting(books):
    seals.make()
    posting = Posting.objects.earliest("pk").pk
    change(
        "INSERT INTO inventory_postingline (posting_id, item_id, place_id, lot_id, quantity) "
        f"SELECT posting_id, item_id, place_id, lot_id, 5 FROM inventory_postingline "
        f"WHERE posting_id = {posting} AND quantity > 0"
    )

    [fault] = faults()

    assert fault.startswith(f"Posting {posting} was changed behind the program's back")


def test_a_row_under_a_number_that_was_free_is_named(books):
    number = Entry.objects.latest("pk").pk + 1
    connection.cursor().execute(
        # As where an act was undone before it was committed: its number stays free.
        "UPDATE sqlite_sequence SET seq = seq + 1 WHERE name = 'billing_entry'"
        if connection.vendor == "sqlite"
        else "SELECT nextval('billing_entry_id_seq')"
    )
    pay(books.customer, 100)
    seals.make()
    change(
        "INSERT INTO billing_entry (id, kind, happened_on, entered_on, entered_at) "
        f"SELECT {number}, 'expense', happened_on, entered_on, entered_at FROM billing_entry "
        f"WHERE id = {number - 1}"
    )

    [fault] = faults()

    assert fault.startswith(f"Entry {number} was added behind the program's back")


def test_a_seal_that_was_made_to_fit_breaks_the_chain(books):
    seals.make()
    pay(books.customer, 100)
    seals.make()
    change("UPDATE inventory_posting SET note = 'another'")
    first = Seal.objects.get(number=1)
    rows = "".join(
        f"{kind.name} {number} {digest}\n"
        for kind in seals.kinds()
        for number, digest in seal_text.row_digests(kind, 1, after=0, until=first.last[kind.name])
    )
    with triggers.lifted():
        connection.cursor().execute("UPDATE inventory_seal SET rows = %s WHERE number = 1", [rows])

    [fault] = faults()

    assert fault.startswith("Seal 1 of ")
    assert "does not follow" in fault


def test_a_chain_that_was_made_anew_lacks_the_noted_seal(books):
    seals.make()
    noted = str(Seal.objects.get())
    change("UPDATE inventory_posting SET note = 'another'")
    change("DELETE FROM inventory_seal")
    seals.make()

    assert faults() == []
    with pytest.raises(CommandError, match=r"^1 faults\."):
        call_command("verify_ledger", seal=noted, stdout=StringIO(), stderr=StringIO())


def told_by_verify_ledger():
    told = StringIO()
    with pytest.raises(CommandError, match=r"^1 faults\."):
        call_command("verify_ledger", stdout=StringIO(), stderr=told)
    return told.getvalue()


def test_a_seal_that_a_backup_noted_and_that_is_gone_is_named(books):
    for days in (2, 1):
        seals.make()
        noted = str(Seal.objects.newest())
        made_at = timezone.now() - timedelta(days=days)
        Backup.objects.create(kind="nightly", ok=True, seal=noted, made_at=made_at)
        pay(books.customer, 100)
    call_command("verify_ledger", stdout=StringIO())
    last = Seal.objects.get(number=2)

    change("DELETE FROM inventory_seal WHERE number >= 2")
    without_last = told_by_verify_ledger()
    change("DELETE FROM inventory_seal")
    without_any = told_by_verify_ledger()
    seals.make()
    made_anew = told_by_verify_ledger()

    assert f"noted a seal that these books do not have: {last}. " in without_last
    assert "So say 1 of 2 backups." in without_last
    assert without_any == made_anew
    assert "So say 2 of 2 backups." in made_anew


@pytest.mark.parametrize(("days", "is_told"), [(1, False), (3, True)])
def test_old_entries_without_any_seal_are_told_and_are_no_fault(books, days, is_told):
    first, again = StringIO(), StringIO()

    with time_machine.travel(timezone.localtime() + timedelta(days=days)):
        call_command("verify_ledger", stdout=StringIO(), stderr=first)
        call_command("verify_ledger", stdout=StringIO(), stderr=again)

    assert ("and no seal at all" in first.getvalue()) is is_told
    assert again.getvalue() == ""


def test_a_house_without_entries_is_told_of_nothing(db):
    told = StringIO()

    call_command("verify_ledger", stdout=StringIO(), stderr=told)

    assert told.getvalue() == ""


@pytest.mark.parametrize("digits", [16, 64])
def test_a_noted_seal_is_found_however_it_was_written(books, digits):
    seals.make()
    seal = Seal.objects.get()
    out = StringIO()

    call_command("verify_ledger", seal=seal.digest[:digits].upper(), stdout=out)
    call_command("verify_ledger", seal=str(seal), stdout=out)

    assert out.getvalue().count(f"These books have the seal that you noted: {seal}.") == 2
    assert found.noted("nothing of the kind") is None
    assert found.noted("") is None


def test_verify_ledger_seals_what_is_right_and_nothing_else(books):
    out = StringIO()
    call_command("verify_ledger", stdout=out)
    seal = Seal.objects.get()

    assert f"{seal}. Note it" in out.getvalue()
    assert seal.digest.startswith(seal.short_digits.replace(" ", ""))

    with triggers.lifted():
        connection.cursor().execute("UPDATE inventory_postingline SET quantity = quantity * 2")
    pay(books.customer, 100)
    with pytest.raises(CommandError):
        call_command("verify_ledger", stdout=StringIO(), stderr=StringIO())
    assert Seal.objects.count() == 1


def test_a_dropped_trigger_is_a_fault(books):
    triggers.lift("default")
    told = StringIO()

    with pytest.raises(CommandError):
        call_command("verify_ledger", stdout=StringIO(), stderr=told)

    assert "The database does not refuse changes of inventory_posting:" in told.getvalue()


def test_seals_themselves_are_never_changed(books):
    seals.make()

    for statement in ("UPDATE inventory_seal SET covered = 1", "DELETE FROM inventory_seal"):
        with pytest.raises(IntegrityError), transaction.atomic():
            connection.cursor().execute(statement)


def test_books_without_seals_are_sealed_by_migrate(books):
    call_command("migrate", verbosity=0)

    assert Seal.objects.get().covered == Posting.objects.count() + Entry.objects.count()


def test_a_statement_names_the_last_seal(books):
    seals.make()
    today = timezone.localdate()

    context = papers.statement_context(books.customer, today, today)

    paper = render_to_string("documents/statement.html", context)
    assert f"entries: {Seal.objects.get().short_digits}</p>" in paper


def test_closed_books_are_sealed_after_the_act(books, owner, key):
    closing.close(until=builders.today() - timedelta(days=1), locked_by=owner, key=key())
    assert not Seal.objects.exists()

    worker.do_all()

    assert Seal.objects.get().covered == Posting.objects.count() + Entry.objects.count()
