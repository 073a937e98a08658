"""How long a question to "Find anything" takes among 1,000,000 entries; nothing is asserted.

Run by name, apart from the tests, and read what it prints; on PostgreSQL with DATABASE_URL:

    python -m pytest -s -n 0 tests/benchmarks/bench_finding.py

The house: 400,000 orders, 250,000 invoices and receipts, 250,000 payments, 60,000 lots and 40,000
customers, of which a name, a telephone number, a check number or an amount is asked for, and what
nothing has. Of orders, bills and payments only the newest, which are shown, are there as rows; each
has its entry. `found` is the answer with the rows that are shown, as the box asks for it while a
person types; `page` is the whole page with all kinds.
"""

import random
from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from itertools import islice
from statistics import median
from time import perf_counter

import pytest
from django.db import connection, transaction
from django.db.models import Model
from django.urls import reverse

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.customers.models import Customer
from apiary_sales.finding import engine, queries
from apiary_sales.finding.models import SearchEntry
from apiary_sales.finding.services import index
from apiary_sales.orders.models import Order
from inventory.shared import findable
from inventory.stock.models import Lot
from tests import builders

TIMES = 9
BATCH = 20_000
CUSTOMERS, ORDERS, INVOICES, RECEIPTS = 40_000, 400_000, 50_000, 200_000
PAYMENTS, LOTS = 250_000, 60_000
DAY = date(2026, 8, 1)
NEWEST = 500
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
    "an amount": "1,284.50",
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


def things() -> Iterator[Model]:
    """Yield the rows of a large house, written in bulk instead of one by one by the services."""
    chance = random.Random(12)
    person = builders.person()
    for number in range(1, CUSTOMERS + 1):
        name = "".join(chance.sample(PARTS, 3)).title()
        first = chance.choice(FIRST)
        yield Customer(
            pk=number,
            name=f"{name} {chance.choice(KINDS)} {number}",
            contact=f"{first} {''.join(chance.sample(PARTS, 2)).title()}",
            email=f"{first}@{name}.test",
            phone=f"({200 + number % 700}) 555-{number % 10_000:04d}",
        )
    for number in range(1, LOTS + 1):
        yield Lot(
            pk=number,
            kind="extraction",
            code=f"L{16 + number % 11}{number % 365:03d}-{number // 4015 + 1}",
            season=2026,
            made_on=DAY,
            moisture_percent=Decimal("17.4"),
        )
    for number in range(1, ORDERS + 1):
        yield Order(
            pk=number,
            number=f"K{16 + number % 11}-{number // 11 + 1:04d}",
            channel="stand",
            status="filled",
            customer_id=number % CUSTOMERS + 1,
            created_by=person,
            idempotency_key=f"order-{number}",
        )
    for number in range(1, INVOICES + RECEIPTS + 1):
        letter, place = ("F", number) if number <= INVOICES else ("R", number - INVOICES)
        cents = chance.randrange(300, 900_000)
        yield Invoice(
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
            issued_by=person,
            idempotency_key=f"invoice-{number}",
        )
    for number in range(1, PAYMENTS + 1):
        is_check = number % 5 == 0
        yield Payment(
            pk=number,
            customer_id=number % CUSTOMERS + 1,
            method="check" if is_check else "cash",
            amount_cents=chance.randrange(300, 900_000),
            reference=str(100_000 + number) if is_check else "",
            received_on=DAY,
            received_by=person,
            idempotency_key=f"payment-{number}",
        )


def make_house() -> None:
    left = things()
    while rows := list(islice(left, BATCH)):
        with transaction.atomic():
            for model in dict.fromkeys(map(type, rows)):
                model._default_manager.bulk_create(
                    (row for row in rows if type(row) is model and is_row(row)), batch_size=1000
                )
            # As a service that writes in bulk does it, but for orders without a row.
            findable.written(row for row in rows if not isinstance(row, Order))
            [kind] = findable.kinds_of(Order)
            index._keep([index.entry_of(kind, row) for row in rows if isinstance(row, Order)])


def is_row(thing: Model) -> bool:
    """Tell whether a thing is there as a row, beside its entry."""
    if isinstance(thing, Order):
        newest_bills = thing.pk > INVOICES - NEWEST and thing.pk <= INVOICES
        newest_receipts = INVOICES + RECEIPTS - NEWEST < thing.pk <= INVOICES + RECEIPTS
        return newest_bills or newest_receipts or thing.pk > ORDERS - NEWEST
    if isinstance(thing, Invoice):
        return INVOICES - NEWEST < thing.pk <= INVOICES or thing.pk > INVOICES + RECEIPTS - NEWEST
    return not isinstance(thing, Payment) or thing.pk > PAYMENTS - NEWEST


def milliseconds(act: Callable[[], object]) -> float:
    times = []
    for _time in range(TIMES):
        start = perf_counter()
        act()
        times.append((perf_counter() - start) * 1000)
    return median(times)


@pytest.mark.django_db(transaction=True)
def test_questions_to_a_million_entries(client):
    owner, seller = builders.person("owner"), builders.person("stand")
    start = perf_counter()
    if connection.vendor == "postgresql":
        # Made at the end, which takes a part of the time.
        with connection.cursor() as cursor:
            cursor.execute(f"DROP INDEX {engine.TEXT_INDEX}")
    make_house()
    engine.make(connection)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    print(
        f"\n{connection.vendor}: {SearchEntry.objects.count():,} entries in "
        f"{perf_counter() - start:.0f} s, index of letters: {engine.is_there(connection)}"
    )
    client.force_login(owner)
    for what, asked in QUESTIONS.items():
        keys = keys_found(asked, owner)
        of_owner = milliseconds(lambda asked=asked: queries.find(asked, user=owner, a_kind=3))
        of_seller = milliseconds(lambda asked=asked: queries.find(asked, user=seller, a_kind=3))
        page = milliseconds(lambda asked=asked: client.get(reverse("finding:find"), {"q": asked}))
        print(
            f"{what:28} {asked:12} {keys:4} keys  "
            f"found {of_owner:6.1f}  by a seller {of_seller:6.1f}  page {page:6.1f} ms"
        )


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
