"""How long a question to "Find anything" takes among 1,000,000 entries; nothing is asserted of it.

Run by name, apart from the tests, and read what it prints; on PostgreSQL with DATABASE_URL:

    python -m pytest -s -n 0 tests/benchmarks/bench_finding.py

The house: 400,000 orders, 250,000 invoices and receipts, 250,000 payments, 60,000 lots and 40,000
customers, of which a name, a telephone number, a check number or an amount is asked for, and what
nothing has. Of orders, bills and payments only the newest, which are shown, are there as rows; each
has its entry. Entries are written as text here, a million at once; those of the rows that are there
are compared with what the index would make of them. `owner` and `seller` is the answer with the
rows that are shown, as the box asks for it while the owner or a seller types; `page` is the whole
page with all kinds, for the owner. Medians, and the least that the owner waited: on a machine that
does other work too, that is nearer to what the question itself takes.
"""

import os
import random
from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from statistics import median
from time import perf_counter

import pytest
from django.db import connection, transaction
from django.db.models import Model
from django.urls import reverse

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.customers.models import Customer
from apiary_sales.finding import engine, queries
from apiary_sales.finding.models import SearchEntry, key_of
from apiary_sales.finding.services import index
from apiary_sales.orders.models import Order
from inventory.shared import findable
from inventory.stock.models import Lot
from tests import builders

TIMES = 9
CUSTOMERS, ORDERS, INVOICES, RECEIPTS = 40_000, 400_000, 50_000, 200_000
PAYMENTS, LOTS = 250_000, 60_000
DAY = date(2026, 8, 1)
NEWEST = 500
# Key, kind, text, code, other code, cents: a row of the index.
Entry = tuple[int, int, str, str | None, str | None, int | None]
COLUMNS = ("id", *index.COLUMNS)
FIRST = ["Ada", "Bruno", "Cleo", "Dario", "Elsa", "Greta", "Hugo", "Ines", "Karla", "Lino", "Mara"]
PARTS = ["al", "ber", "can", "dor", "el", "fen", "gar", "hol", "jun", "kel", "lor", "men", "nor"]
PARTS += ["os", "pel", "quin", "ros", "sal", "tor"]
KINDS = ["Grocery", "Bakery", "Market", "Farm", "Deli", "Kitchen", "Pantry", "Co-op"]
QUESTIONS = {
    "a lot code": "L18204-3",
    "a code that begins": "R24-01",
    "what most codes have": "26-",
    "part of a name": "rossal",
    "a part of a thousand names": "bakery",
    "two words": "greta pantry",
    "part of a telephone number": "555 0142",
    "an amount": "1,072.04",
    "a check number": "104215",
    "an e-mail": "ines@",
    "an invoice typed short": "f25-731",
    "nothing has it": "xylophone",
    "digits that nothing has": "998877665",
    "a code that nothing has": "R24-999999",
    "one letter": "m",
    "two letters": "ro",
    "two digits": "10",
}


class House:
    """A large house: the rows that are there, and the entries of all."""

    def __init__(self) -> None:
        self.chance = random.Random(12)
        self.person = builders.person()
        self.rows: list[Model] = []

    def entries(self) -> Iterator[Entry]:
        """Yield the entry of each thing, as the index keeps it; `rows` are those shown."""
        yield from self._customers()
        yield from self._lots()
        yield from self._orders()
        yield from self._invoices()
        yield from self._payments()

    def _customers(self) -> Iterator[Entry]:
        kind = number_of("customer")
        for number in range(1, CUSTOMERS + 1):
            name = "".join(self.chance.sample(PARTS, 3))
            first, last = self.chance.choice(FIRST), "".join(self.chance.sample(PARTS, 2))
            whole, digits = f"{name.title()} {self.chance.choice(KINDS)} {number}", number % 10_000
            row = Customer(
                pk=number,
                name=whole,
                contact=f"{first} {last.title()}",
                email=f"{first}@{name}.test",
                phone=f"({200 + number % 700}) 555-{digits:04d}",
            )
            self.rows.append(row)
            phone = f"{200 + number % 700}555{digits:04d}"
            text = f"{whole}\n{row.contact}\n{row.email}\n{phone}".lower()
            yield key_of(kind, number), kind, text, whole.lower(), phone, None

    def _lots(self) -> Iterator[Entry]:
        kind = number_of("lot")
        for number in range(1, LOTS + 1):
            code = f"L{16 + number % 11}{number % 365:03d}-{number // 4015 + 1}"
            self.rows.append(
                Lot(
                    pk=number,
                    kind="extraction",
                    code=code,
                    season=2026,
                    made_on=DAY,
                    moisture_percent=Decimal("17.4"),
                )
            )
            yield key_of(kind, number), kind, code.lower(), code.lower(), None, None

    def _orders(self) -> Iterator[Entry]:
        kind = number_of("order")
        for number in range(1, ORDERS + 1):
            code = f"K{16 + number % 11}-{number // 11 + 1:04d}"
            if is_shown_bill(number) or number > ORDERS - NEWEST:
                self.rows.append(
                    Order(
                        pk=number,
                        number=code,
                        channel="stand",
                        status="filled",
                        customer_id=number % CUSTOMERS + 1,
                        created_by=self.person,
                        idempotency_key=f"order-{number}",
                    )
                )
            yield key_of(kind, number), kind, code.lower(), code.lower(), None, None

    def _invoices(self) -> Iterator[Entry]:
        for number in range(1, INVOICES + RECEIPTS + 1):
            is_invoice = number <= INVOICES
            kind = number_of("invoice" if is_invoice else "receipt")
            letter, place = ("F", number) if is_invoice else ("R", number - INVOICES)
            cents = self.chance.randrange(300, 900_000)
            row = Invoice(
                pk=number,
                series=f"{letter}{16 + place % 11}",
                number=place // 11 + 1,
                customer_id=number % CUSTOMERS + 1,
                order_id=number,
                issued_on=DAY,
                due_on=DAY,
                currency="USD",
                seller={},
                buyer={},
                net_cents=cents,
                tax_cents=0,
                total_cents=cents,
                issued_by=self.person,
                idempotency_key=f"invoice-{number}",
            )
            if is_shown_bill(number):
                self.rows.append(row)
            code = str(row).lower()
            yield key_of(kind, number), kind, code, code, None, cents

    def _payments(self) -> Iterator[Entry]:
        kind = number_of("payment")
        for number in range(1, PAYMENTS + 1):
            check = str(100_000 + number) if number % 5 == 0 else ""
            cents = self.chance.randrange(300, 900_000)
            if number > PAYMENTS - NEWEST:
                self.rows.append(
                    Payment(
                        pk=number,
                        customer_id=number % CUSTOMERS + 1,
                        method="check" if check else "cash",
                        amount_cents=cents,
                        reference=check,
                        received_on=DAY,
                        received_by=self.person,
                        idempotency_key=f"payment-{number}",
                    )
                )
            yield key_of(kind, number), kind, check, check or None, None, cents


def number_of(name: str) -> int:
    return next(kind.number for kind in findable.kinds() if kind.name == name)


def is_shown_bill(number: int) -> bool:
    return INVOICES - NEWEST < number <= INVOICES or number > INVOICES + RECEIPTS - NEWEST


def make_house() -> None:
    house = House()
    drop_letters()
    with transaction.atomic():
        write(house.entries())
        for model in dict.fromkeys(map(type, house.rows)):
            of_model = [row for row in house.rows if type(row) is model]
            model._default_manager.bulk_create(of_model, batch_size=1000)
    engine.make(connection)
    engine.fill(connection)
    with connection.cursor() as cursor:
        # Else PostgreSQL tidies up by itself while it is asked.
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")


def write(entries: Iterator[Entry]) -> None:
    table, columns = SearchEntry._meta.db_table, ", ".join(COLUMNS)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                for entry in entries:
                    copy.write_row(entry)
        else:
            signs = ", ".join("%s" for _column in COLUMNS)
            cursor.executemany(f"INSERT INTO {table} ({columns}) VALUES ({signs})", entries)


def drop_letters() -> None:
    """Take the index of letters away: made of all entries at once, it takes a part of the time."""
    with connection.cursor() as cursor:
        for statement in engine.without_letters(connection):
            cursor.execute(statement)


def assert_entries_are_as_the_index_makes_them() -> None:
    for kind in findable.kinds():
        for row in kind.rows().order_by("-pk").prefetch_related(*kind.beside)[:NEWEST]:
            made = index.entry_of(kind, row)
            kept = SearchEntry.objects.get(pk=made.pk)
            assert [getattr(kept, name) for name in COLUMNS] == [
                getattr(made, name) for name in COLUMNS
            ]


def milliseconds(act: Callable[[], object]) -> list[float]:
    times = []
    for _time in range(TIMES):
        start = perf_counter()
        act()
        times.append((perf_counter() - start) * 1000)
    return times


def server() -> str:
    question = "SELECT sqlite_version()" if connection.vendor == "sqlite" else "SHOW server_version"
    with connection.cursor() as cursor:
        cursor.execute(question)
        return f"{connection.vendor} {cursor.fetchone()[0]}"


def load() -> str:
    return f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}, nice {os.nice(0)}"


@pytest.mark.django_db(transaction=True)
def test_questions_to_a_million_entries(client):
    owner, seller = builders.person("owner"), builders.person("stand")
    start = perf_counter()
    make_house()
    print(
        f"\n{server()}; {load()}: {SearchEntry.objects.count():,} entries in "
        f"{perf_counter() - start:.0f} s, index of letters: {engine.is_there(connection)}\n"
    )
    assert_entries_are_as_the_index_makes_them()
    client.force_login(owner)
    print(f"| {'question':28} | {'typed':12} | keys | owner, ms | least | seller, ms | page, ms |")
    print(f"|{'-' * 30}|{'-' * 14}|-----:|----------:|------:|-----------:|---------:|")
    for what, asked in QUESTIONS.items():
        keys = keys_found(asked, owner)
        of_owner = milliseconds(lambda asked=asked: queries.find(asked, user=owner, a_kind=3))
        of_seller = milliseconds(lambda asked=asked: queries.find(asked, user=seller, a_kind=3))
        page = milliseconds(lambda asked=asked: client.get(reverse("finding:find"), {"q": asked}))
        print(
            f"| {what:28} | {asked:12} | {keys:4} | {median(of_owner):9.1f} | {min(of_owner):5.1f} "
            f"| {median(of_seller):10.1f} | {median(page):8.1f} |"
        )
    if connection.vendor == "sqlite":
        SearchEntry.objects.filter(code="l18204-3").update(text="")
        start = perf_counter()
        engine.forget(connection)
        print(f"\nAfter an erasure the index is tidied in {perf_counter() - start:.1f} s")
    # Else each of them would be taken out of the index of letters one by one.
    drop_letters()
    SearchEntry.objects.all().delete()
    engine.make(connection)


def keys_found(asked: str, user) -> int:
    question = queries.read(asked)
    wanted = [
        engine.KindWanted(kind.number, 23) for kind in findable.kinds() if kind.page_for(user)
    ]
    ask = engine.beginnings if question.is_short else engine.parts
    keys = set(ask(connection, question, wanted))
    keys |= set(
        SearchEntry.objects.filter(code__in=question.codes).values_list("pk", flat=True)[:200]
    )
    if question.cents:
        keys |= set(engine.amounts(connection, question.cents, wanted))
    return len(keys)
