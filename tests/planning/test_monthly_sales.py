"""What was sold month by month: unknown before the first sale, and only months that are over."""

from datetime import date
from decimal import Decimal

import pytest

from apiary_sales.imports.models import Import, PastSale
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.planning.queries import monthly_sales
from apiary_sales.planning.rules.estimates import Estimate
from tests import builders

pytestmark = pytest.mark.django_db

ON = date(2026, 11, 20)


def sold(product, quantity: int, on: date, *, channel="stand", status="filled", customer=None):
    order = Order.objects.create(
        number=builders.new_key(),
        channel=channel,
        status=status,
        customer=customer,
        placed_on=on,
        created_by=builders.person(),
        idempotency_key=builders.new_key(),
    )
    return OrderLine.objects.create(
        order=order,
        kind=OrderLine.Kind.PACKED if product else OrderLine.Kind.HONEY,
        product=product,
        description="sold",
        quantity=quantity,
        unit_price=Decimal("9.50"),
        amount_cents=0,
    )


def brought_in(product, quantity: int, day: date, channel="stand") -> None:
    begun = Import.objects.create(
        kind="past-sales",
        state=Import.State.COMPLETE,
        file_name="old.csv",
        sha256="0" * 64,
        uploaded_by=builders.person(),
        completed_at="2026-01-01T00:00Z",
        idempotency_key=builders.new_key(),
    )
    PastSale.objects.create(
        of_import=begun,
        row_number=2,
        day=day,
        product=product,
        quantity=quantity,
        channel=channel,
        amount_cents=0,
    )


def test_the_same_month_of_two_years_gives_a_mean_and_a_spread():
    jar = builders.product("One pound")
    brought_in(jar, 90, date(2024, 10, 3))
    sold(jar, 110, date(2025, 10, 12))
    sold(jar, 999, date(2025, 10, 13), status="cancelled")
    sold(jar, 999, date(2025, 10, 13), status="quoted")

    history = monthly_sales.monthly(ON)

    # October 2026 is over and had no sale: 90, 110 and 0. Mean 66.67; deviations 23.33, 43.33 and
    # −66.67; squares 544.4 + 1,877.8 + 4,444.4 = 6,866.7; / 2; root 58.595.
    found = history.expected(jar.pk, "stand", 10)
    assert found.years == 3
    assert round(found.mean, 2) == Decimal("66.67")
    assert round(found.spread, 2) == Decimal("58.59")


def test_months_before_the_first_sale_are_unknown_and_this_month_is_not_over():
    early, late = builders.product("One pound"), builders.product("Two pounds", "2")
    sold(early, 30, date(2025, 3, 2))
    sold(late, 8, date(2026, 6, 15))
    sold(late, 5, date(2026, 11, 3))

    history = monthly_sales.monthly(ON)

    assert history.first_month == date(2025, 3, 1)
    assert history.in_month(early.pk, "stand", date(2025, 2, 1)) is None
    assert history.in_month(early.pk, "stand", date(2025, 4, 1)) == 0
    # Its first sale was in the middle of June, so June is not known in full.
    assert history.expected(late.pk, "stand", 6) == Estimate(None, None, 0)
    assert history.expected(late.pk, "stand", 7) == Estimate(Decimal(0), None, 1)
    # November 2026 is not over, and the product was not sold in November 2025.
    assert history.expected(late.pk, "stand", 11).mean is None


def test_bulk_honey_is_in_grams_and_what_came_back_is_taken_off(django_assert_num_queries):
    jar = builders.product("One pound")
    packer = builders.customer("Packer", tier="distributor")
    brought_in(None, 300_000, date(2025, 9, 1), "bulk")
    line = sold(jar, 24, date(2025, 9, 1), channel="shop", customer=packer)
    fulfilment = line.order.fulfilments.create(
        filled_by=builders.person(), idempotency_key=builders.new_key()
    )
    fulfilment.lines.create(order_line=line, quantity=24, amount_cents=0, returned=6, sent_again=2)

    with django_assert_num_queries(2):
        history = monthly_sales.monthly(ON)

    assert history.pieces[None, "bulk"] == {date(2025, 9, 1): 300_000}
    assert history.pieces[jar.pk, "distributor"] == {date(2025, 9, 1): 20}


def test_a_spread_is_never_less_than_chance():
    # Counts that come by chance (Poisson) vary by the root of their mean: common practice.
    assert Estimate.of([100]).spread is None
    assert Estimate.of([100]).least_spread == 10
    assert Estimate.of([100, 100]).least_spread == 10
    # Deviations of 50: sample variance 5,000, root 70.7.
    assert round(Estimate.of([50, 150]).least_spread, 1) == Decimal("70.7")
