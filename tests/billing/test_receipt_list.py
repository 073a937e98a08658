"""The list of receipts: which ones a person sees and finds, and what they come to."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts.services import people
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import receipts
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services.stand import PaymentMade
from inventory.stock.models import Place
from tests import builders
from tests.billing.conftest import queries_of, words_of
from tests.billing.receipt_room import cash, sale_of

pytestmark = pytest.mark.django_db

LIST = "/stand/receipts/"


@pytest.fixture
def van(pounds):
    van = builders.place("van", Place.Kind.VAN, name="Market van")
    builders.packed_lot(pounds, van, 12, code="P26-005")
    return van


@pytest.fixture
def mira():
    return people.add(username="mira", name="Mira Oak", password="mira-oak-9", role="stand")


@pytest.fixture
def sales(pounds, shelf, stand, van, mira):
    """R26-00001 to 4: at the stand yesterday, and today at the stand, the van and the shelf."""
    yesterday = timezone.now() - timedelta(days=1)
    return [
        sale_of(pounds, stand, sold_at=yesterday, has_happened=True),
        sale_of(pounds, stand, cash(800, 800), PaymentMade("card", 800), pieces=2, sold_by=mira),
        sale_of(pounds, van, PaymentMade("check", reference="1042"), pieces=3),
        sale_of(pounds, shelf, pieces=4, sold_by=builders.person()),
    ]


def listed(client, **asked):
    """Return the numbers of the receipts that the list shows."""
    return [row.receipt.number for row in client.get(LIST, asked).context["rows"]]


@pytest.fixture
def boss(client, sales):
    client.force_login(builders.person())
    return client


def test_receipts_are_listed_by_day_the_newest_sale_first(boss):
    answer = boss.get(LIST)

    assert [row.receipt.number for row in answer.context["rows"]] == [4, 3, 2, 1]
    page = words_of(answer.content.decode())
    assert "4 receipts, $80.00" in page
    today, yesterday = page.index("Sep 10, 2026"), page.index("Sep 9, 2026")
    numbers = [page.index(f"R26-0000{number}") for number in (4, 3, 2, 1)]
    assert sorted([today, yesterday, *numbers]) == [today, *numbers[:3], yesterday, numbers[3]]
    assert "12:00 p.m. 2 × One pound R26-00002 Stand cash, card Mira Oak $16.00" in page


def test_a_list_ends_with_the_newest_and_says_how_older_receipts_are_found(boss, monkeypatch):
    monkeypatch.setattr(receipts, "LISTED_MAX", 3)
    older = "The newest receipts. To see older ones, choose a day"

    answer = boss.get(LIST)

    assert [row.receipt.number for row in answer.context["rows"]] == [4, 3, 2]
    page = words_of(answer.content.decode())
    assert older in page
    assert "3 receipts, $72.00" in page
    assert listed(boss, on="2026-09-09") == [1]
    assert older not in words_of(boss.get(LIST, {"on": "2026-09-10"}).content.decode())


def test_a_receipt_that_no_sale_is_kept_beside_comes_last(boss):
    receipt = Invoice.objects.get(number=3)
    receipt.pk, receipt.number, receipt.idempotency_key = None, 9, "before-sales-were-kept"
    receipt.save()

    assert listed(boss) == [4, 3, 2, 1, 9]


@pytest.mark.parametrize(
    ("asked", "numbers"),
    [
        ({"on": "2026-09-09"}, [1]),
        ({"on": "2026-09-10"}, [4, 3, 2]),
        ({"place": "van"}, [3]),
        ({"method": "card"}, [2]),
        ({"method": "cash"}, [4, 2, 1]),
        ({"text": "R26-00003"}, [3]),
        ({"text": "r26 3"}, [3]),
        ({"text": "3"}, [3]),
        ({"text": "32"}, [4]),
        ({"text": "$16.00"}, [2]),
        ({"text": "1042"}, [3]),
        ({"text": "X26-00003"}, []),
        ({"text": "honey"}, []),
        ({"text": "9" * 40}, []),
        ({"text": "3", "place": "stand"}, []),
        # What can't be read is left out.
        ({"on": "soon", "place": "moon", "method": "shells"}, [4, 3, 2, 1]),
    ],
)
def test_receipts_are_found_by_what_is_asked(boss, asked, numbers):
    assert listed(boss, **asked) == numbers


def test_receipts_are_found_by_their_seller(boss, mira):
    assert listed(boss, seller=mira.pk) == [2]
    assert "Mira Oak" in boss.get(LIST).content.decode()


@pytest.mark.usefixtures("without_triggers")
def test_who_sells_at_the_stand_sees_stands_vans_and_her_own_sales(client, sales, pounds, shelf):
    suki = builders.person("stand")
    own = sale_of(pounds, shelf, sold_by=builders.person())
    own.sold_by = suki
    own.save(update_fields=["sold_by"])
    client.force_login(suki)

    seen = listed(client)

    assert seen == [5, 3, 2, 1]
    for name in ("receipt", "receipt_pdf", "receipt_undo"):
        other = reverse(f"billing:{name}", args=[sales[3].receipt_id])
        assert client.get(other).status_code == 404
    assert client.get(reverse("billing:receipt", args=[own.receipt_id])).status_code == 200


def test_what_came_back_is_told_with_what_was_sold(boss, sales, owner, key):
    stand_sales.take_back(
        receipt=sales[1].receipt, taken_by=owner, key=key(), reason="Changed mind"
    )

    page = words_of(boss.get(LIST).content.decode())

    assert "4 receipts, $80.00 · $16.00 of it given back" in page
    assert re.search(r"R26-00002 \W*undone", page)


def test_a_search_without_a_receipt_leads_back_to_all(boss):
    page = boss.get(LIST, {"text": "X26-00003"}).content.decode()

    assert "No receipts match your search." in page
    assert f'href="{LIST}">Show all</a>' in page


def test_the_list_takes_as_many_queries_for_many_receipts_as_for_few(boss, pounds, stand):
    few = queries_of(boss, LIST)
    for _number in range(4):
        sale_of(pounds, stand)

    assert queries_of(boss, LIST) == few
