"""The books are proved while people work, however long they are, and faults are looked at twice."""

from io import StringIO
from threading import Thread

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from apiary_sales.billing.models import Payment
from apiary_sales.keeping import books, triggers
from apiary_sales.keeping.models import ProvedSeals
from inventory.stock.models import Balance, Place, Posting
from inventory.stock.queries import books as stock_books
from inventory.stock.services import seals
from tests import builders
from tests.billing.conftest import pay
from tests.keeping.long_books import LINES, write_long_books
from tests.keeping.small_books import write_books


def proved(**options):
    out = StringIO()
    call_command("verify_ledger", stdout=out, stderr=StringIO(), **options)
    return out.getvalue()


def told(**options):
    """Return what is told of wrong books, and what to do."""
    lines = StringIO()
    with pytest.raises(CommandError) as failure:
        call_command("verify_ledger", stdout=StringIO(), stderr=lines, **options)
    return lines.getvalue(), str(failure.value)


def change(statement):
    """Change the books as somebody with the database in hand can."""
    with triggers.lifted():
        connection.cursor().execute(statement)


@pytest.mark.django_db
def test_long_books_with_many_undone_postings_are_proved():
    rounds = 1_010
    write_long_books(rounds)

    assert Posting.objects.filter(kind="reversal").count() == 2 * rounds
    assert LINES * rounds > 40_000
    assert proved().startswith("The books are right: ")

    undoing = Posting.objects.filter(kind="reversal").latest("pk")
    change(
        "UPDATE inventory_postingline SET quantity = quantity + CASE WHEN quantity > 0 THEN 1 "
        f"ELSE -1 END WHERE posting_id = {undoing.pk}"
    )
    faults, what_to_do = told()

    day = f"{undoing.occurred_at.astimezone():%Y-%m-%d}"
    undone = f"does not undo posting {undoing.reverses_id} exactly."
    assert f"Posting {undoing.pk} (undo of {day}) {undone}" in faults.splitlines()
    assert "Go on working" in what_to_do


@pytest.mark.django_db
def test_what_is_gone_at_the_second_look_is_not_told():
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.packed_lot(builders.size("One pound"), shelf, 48, code="L1")
    balance = Balance.objects.filter(place=shelf)
    balance.update(quantity=50)

    def a_passing_fault():
        found = list(stock_books.faults())
        balance.update(quantity=48)
        yield from found

    assert books.prove((stock_books.faults,)) == [
        "One pound of lot L1 at shelf: the lines add up to 48, the balance says 50."
    ]
    assert books.prove((a_passing_fault,)) == []


@pytest.mark.django_db
def test_rows_are_compared_from_the_last_proved_seal_on_and_all_of_them_when_asked():
    customer = write_books().customer
    seals.make()
    assert "from seal" not in proved()
    pay(customer, 100)
    seals.make()
    first, payment = Posting.objects.earliest("pk"), Payment.objects.latest("pk")
    assert "Rows were compared with their seals from seal 2 on." in proved()
    pay(customer, 200)
    seals.make()

    change(f"UPDATE inventory_posting SET note = 'another' WHERE id = {first.pk}")

    assert "Rows were compared with their seals from seal 3 on." in proved()
    assert f"Posting {first.pk} was changed" in told(all=True)[0]

    pay(customer, 300)
    seals.make()
    last = Payment.objects.latest("pk").entry.pk
    assert last > payment.entry.pk
    change(f"UPDATE billing_entryline SET detail = 'another' WHERE entry_id = {last}")

    faults = told()[0]
    assert f"Entry {last} was changed" in faults
    assert f"Posting {first.pk}" not in faults


@pytest.mark.django_db
@pytest.mark.parametrize("wrong", [{"number": 99}, {"digest": "0" * 64}])
def test_a_kept_proof_of_other_seals_hides_nothing(wrong):
    write_books()
    seals.make()
    proved()
    first = Posting.objects.earliest("pk").pk
    change(f"UPDATE inventory_posting SET note = 'another' WHERE id = {first}")

    ProvedSeals.objects.update(**wrong)

    assert f"Posting {first} was changed" in told()[0]


@pytest.mark.django_db
def test_a_failed_proof_moves_nothing_on():
    write_books()
    seals.make()
    Balance.objects.update(quantity=1)

    told()

    assert not ProvedSeals.objects.exists()


@pytest.mark.data_layer
@pytest.mark.django_db(transaction=True)
def test_people_sell_while_the_books_are_proved():
    customer = write_books().customer
    payments = Payment.objects.count()
    seen = []

    def take_money():
        pay(customer, 100)
        connection.close()

    def proof_with_a_payment_meanwhile():
        at_first = Payment.objects.count()
        other = Thread(target=take_money, daemon=True)
        other.start()
        other.join(timeout=20)
        seen.append((at_first, Payment.objects.count(), other.is_alive()))
        yield from books.faults()

    found = books.prove((proof_with_a_payment_meanwhile,))

    assert (found, seen) == ([], [(payments, payments, False)])
    assert Payment.objects.count() == payments + 1
    # The connection writes again as before.
    pay(customer, 200)


@pytest.mark.postgresql
@pytest.mark.django_db
def test_a_cursor_of_the_server_is_planned_for_all_of_its_rows():
    with connection.cursor() as cursor:
        cursor.execute("SHOW cursor_tuple_fraction")

        assert float(cursor.fetchone()[0]) == 1
