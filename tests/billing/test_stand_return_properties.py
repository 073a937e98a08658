"""Whatever comes back of a stand sale, in whatever order, gives back what was paid and no more."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import stand_returns
from apiary_sales.pricing.models import TaxRate
from inventory.shared.errors import HouseError
from inventory.shared.models import House
from inventory.stock.models import Place
from inventory.stock.queries import books as stock_books
from tests import builders, data_layer
from tests.billing.conftest import jars
from tests.billing.stand_room import back, card, cash, check, sold

pytestmark = pytest.mark.django_db

price = st.integers(min_value=0, max_value=2_999).map(lambda cents: Decimal(cents) / 100)
line = st.tuples(st.integers(min_value=1, max_value=5), price)
step = st.tuples(
    st.lists(st.integers(min_value=0, max_value=3), min_size=2, max_size=2),
    st.sampled_from(["cash", "card", "check"]),
    st.booleans(),
)


@settings(
    max_examples=data_layer.examples(10),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    lines=st.lists(line, min_size=2, max_size=2),
    discount=st.integers(min_value=0, max_value=100),
    percent=st.sampled_from(["0", "6.25", "8.875"]),
    is_included=st.booleans(),
    shares=st.tuples(*[st.integers(min_value=0, max_value=100)] * 2),
    steps=st.lists(step, max_size=5),
)
def test_returns_give_back_exactly_what_was_paid(
    lines, discount, percent, is_included, shares, steps
):
    with transaction.atomic():
        House(name="Hollow Oak", prices_include_tax=is_included).save()
        if Decimal(percent):
            TaxRate.objects.create(
                name="Tax", goods="honey", percent=Decimal(percent), valid_from=date(2026, 1, 1)
            )
        stand = builders.place("stand", Place.Kind.STAND)
        wanted = []
        for number, (pieces, of_one) in enumerate(lines):
            product = builders.product(f"Jar {number}", code=f"jar-{number}")
            builders.packed_lot(product, stand, 20, code=f"P26-00{number}")
            wanted.append(jars(product, pieces, of_one))
        whole = sum(each.amount_cents for each in wanted)
        in_cash, by_card = (whole * share // 100 for share in shares)
        receipt = sold(
            stand,
            *wanted,
            # What they overpay is given on top, and stays.
            payments=[cash(in_cash), card(by_card), check()],
            discount_cents=min(discount, whole),
            has_happened=True,
        )
        paid = stand_returns.ways_left(receipt)
        left = [pieces for pieces, _price in lines]

        # In the end all that is left comes back.
        for pieces, way, is_on_shelf in [*steps, (None, "cash", False)]:
            asked = list(left) if pieces is None else pieces
            offered = stand_returns.ways_left(receipt)
            if give_back(receipt, asked, way if way in offered else "", is_on_shelf):
                left = [there - count for there, count in zip(left, asked, strict=True)]
            assert all(cents <= paid[way] for way, cents in given_by_way(receipt).items())

        assert left == [0, 0]
        assert sum(paid.values()) == receipt.total_cents
        assert given_by_way(receipt) == paid
        credited = Invoice.objects.filter(credits=receipt)
        assert -sum(note.total_cents for note in credited) == receipt.total_cents
        assert -sum(note.tax_cents for note in credited) == receipt.tax_cents
        assert list(books.faults()) == []
        assert list(stock_books.faults()) == []
        transaction.set_rollback(True)


def give_back(receipt, pieces, way, is_on_shelf):
    """Give back so many of each line; tell whether it was not refused."""
    try:
        with transaction.atomic():
            stand_returns.give_back(
                receipt=receipt,
                lines=back(receipt, *pieces, is_on_shelf=is_on_shelf),
                given_by=builders.person(),
                key=builders.new_key(),
                reason="Changed their mind",
                method=way,
                check_has_cleared=True,
            )
    except HouseError:
        return False
    return True


def given_by_way(receipt):
    found = {}
    for payment in Payment.objects.filter(refunds__credits=receipt):
        assert payment.amount_cents < 0
        found[payment.method] = found.get(payment.method, 0) - payment.amount_cents
    return found
