"""Several people at one return, on a real PostgreSQL: decided once, and its money given once."""

import pytest

from apiary_sales.billing.models import Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import return_requests, stand_returns
from apiary_sales.billing.services import stand as stand_sales
from inventory.shared.errors import HouseError, NotAllowedNow
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.conftest import jars
from tests.billing.stand_room import back, sold
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def asked(stand, pounds):
    receipt = sold(stand, jars(pounds, 4, "8.00"))
    return return_requests.ask(
        receipt=receipt,
        lines=back(receipt, 4),
        reason="Leaks",
        asked_by=builders.person("stand"),
        key="ask",
    )


def money_out():
    return -sum(row.amount_cents for row in Payment.objects.filter(amount_cents__lt=0))


def test_of_two_who_approve_at_once_one_does(asked, owner):
    office = builders.person("office")

    outcomes = together(
        lambda: return_requests.approve(request=asked, approved_by=owner, key="d-1"),
        lambda: return_requests.approve(request=asked, approved_by=office, key="d-2"),
        lambda: return_requests.approve(request=asked, approved_by=office, key="d-3"),
    )

    assert [type(outcome) for outcome in outcomes].count(NotAllowedNow) == 2
    asked.refresh_from_db()
    assert asked.state == "approved"


def test_two_taps_at_once_give_the_money_once(asked, owner):
    return_requests.approve(request=asked, approved_by=owner, key="d-1")

    outcomes = together(
        *(
            lambda number=number: return_requests.give_back(
                request=asked, given_by=owner, key=f"g-{number}"
            )
            for number in range(3)
        )
    )

    assert [type(outcome) for outcome in outcomes].count(NotAllowedNow) == 2
    assert money_out() == 3_200
    assert list(books.faults()) == []
    assert list(stock_books.faults()) == []


def test_crossing_returns_of_one_sale_never_give_back_more_than_was_paid(
    asked, stand, pounds, owner
):
    return_requests.approve(request=asked, approved_by=owner, key="d-1")
    receipt = asked.receipt

    outcomes = together(
        lambda: return_requests.give_back(request=asked, given_by=owner, key="g"),
        lambda: stand_returns.give_back(
            receipt=receipt, lines=back(receipt, 3), given_by=owner, key="b", reason="Leaks"
        ),
        lambda: stand_sales.take_back(receipt=receipt, taken_by=owner, key="u", reason="Typo"),
        lambda: sold(stand, jars(pounds, 1, "8.00"), sold_by=owner),
    )

    refused = [outcome for outcome in outcomes[:3] if isinstance(outcome, HouseError)]
    assert len(refused) == 2
    assert money_out() in (2_400, 3_200)
    assert list(books.faults()) == []
    assert list(stock_books.faults()) == []
