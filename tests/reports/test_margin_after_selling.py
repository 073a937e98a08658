"""What remains after selling: typed rates line by line, recorded costs, and unknown apart."""

from datetime import date, time
from decimal import Decimal
from html import unescape

import pytest

from apiary_sales.billing.models import Adjustment, Invoice
from apiary_sales.billing.services import adjustments, market_days
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.services import channels
from apiary_sales.reports.frames import selling_cost
from apiary_sales.reports.frames.sales import SalesFilters
from inventory.stock.models import Place
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def rated(billed):
    """The house of the other reports, with costs of selling; see the first test."""
    for channel, card, piece, pound in (
        ("stand", "1.5", 20, "0"),
        ("shop", "0", 0, "0.10"),
        ("distributor", "0", 50, "0"),
        ("bulk", "0", 0, "0.05"),
    ):
        channels.set_cost(
            channel=channel,
            # Real discounts are off the sales already, so this one is in no figure.
            discount_percent=Decimal(10),
            card_percent=Decimal(card),
            piece_cents=piece,
            per_pound=Decimal(pound),
        )
    return billed


@pytest.fixture
def sell_with_freight(db):
    """A jar with a cost, brought to a shop for freight."""
    pounds = builders.product("Pound jar", "1", code="one-pound")
    builders.packed_lot(pounds, builders.place("shelf", "shelf"), 1, cost_cents=200)
    order = orders.take(
        customer=builders.customer("Corner Grocery"),
        channel="shop",
        lines=[
            LineWanted(OrderLine.Kind.PACKED, 1, Decimal("6.50"), product=pounds),
            LineWanted(OrderLine.Kind.FREIGHT, 1, Decimal(8)),
        ],
        created_by=builders.person(),
        key=builders.new_key(),
    )
    return orders.fulfil(order=order, filled_by=builders.person(), key=builders.new_key())


def rows_of(frame, key):
    return {row[key]: row for row in frame.to_dict("records")}


def figures(row, *names):
    return [row[f"{name}_cents"] for name in names]


NAMES = ("amount", "no_cost", "cost", "card", "handling", "written_off", "remains")


def test_what_remains_is_sales_less_goods_typed_rates_and_recorded_costs(rated):
    """Worked by hand.

    Stand: 10 jars for 80.00 that had cost 30.00; 1.5 % of 80.00 for cards, and 10 × 0.20.
    Shop: 24 jars for 150.00 that had cost 72.00; 24 lb × 0.10; 204.00 of jars without a cost, which
    bear nothing; of its bill 20.00 was written off.
    Packer: 295,000 g for 1,398.28 that had cost 590.00; 650.3636 lb × 0.05 = 32.52.
    """
    adjustments.adjust(
        invoice=Invoice.objects.get(),
        kind=Adjustment.Kind.BAD_DEBT,
        cents=2_000,
        reason="Closed",
        made_by=builders.person(),
        key="w-1",
    )

    rows = rows_of(selling_cost.by_customer(SalesFilters()), "customer")

    assert list(rows) == ["Prairie Packers", "Corner Grocery", "Buyers at the stand"]
    assert figures(rows["Buyers at the stand"], *NAMES) == [8_000, 0, 3_000, 120, 200, 0, 4_680]
    assert figures(rows["Corner Grocery"], *NAMES) == [
        35_400,
        20_400,
        7_200,
        0,
        240,
        2_000,
        5_560,
    ]
    assert figures(rows["Corner Grocery"], "discount") == [600]
    assert figures(rows["Prairie Packers"], *NAMES) == [
        139_828,
        0,
        59_000,
        0,
        3_252,
        0,
        77_576,
    ]


def test_by_channel_a_distributor_has_its_own_rates_and_the_total_is_that_of_customers(rated):
    """24 jars × 0.50 = 12.00 in place of 2.40: 150.00 − 72.00 − 12.00 remains."""
    Customer.objects.filter(pk=rated.shop.pk).update(tier=Customer.Tier.DISTRIBUTOR)

    by_channel = selling_cost.by_channel(SalesFilters())
    rows = rows_of(by_channel, "way")

    assert list(rows) == ["bulk", "distributor", "stand"]
    assert figures(rows["distributor"], "handling", "remains") == [1_200, 6_600]
    by_customer = selling_cost.by_customer(SalesFilters())
    for name in NAMES:
        column = f"{name}_cents"
        assert by_channel[column].sum() == by_customer[column].sum(), name


def test_costs_of_a_market_day_are_of_the_buyers_at_the_stand(rated):
    """A fee of 22.00 with 2.00 of tax that comes back: 20.00, on the day of the market."""
    van = builders.place("van", Place.Kind.VAN, name="Van")
    market_day = market_days.plan(
        place=van,
        day=date(2026, 11, 14),
        market="Mill Square",
        opens_at=time(8),
        closes_at=time(13),
        source=rated.stand,
        planned_by=builders.person(),
        key="m-1",
    )
    market_days.enter_cost(
        market_day=market_day,
        payee="Town of Mill",
        amount_cents=2_200,
        tax_cents=200,
        paid_by="cash",
        entered_by=builders.person(),
        key="c-1",
    )

    november = rows_of(selling_cost.by_customer(SalesFilters(since=date(2026, 11, 1))), "customer")
    of_shop = selling_cost.by_customer(SalesFilters(channel="shop"))

    assert figures(november["Buyers at the stand"], "amount", "market", "remains") == [
        0,
        2_000,
        -2_000,
    ]
    assert of_shop["market_cents"].sum() == 0


def test_what_has_no_cost_remains_unknown_and_what_was_written_off_of_it_is_said(client, rated):
    """Of the quarts alone nobody knows the cost, so nothing remains that could be told."""
    rows = selling_cost.by_customer(SalesFilters(customer=str(rated.shop.pk)))
    assert figures(rows.to_dict("records")[0], "no_cost", "remains") == [20_400, 7_560]
    FulfilmentLine.objects.update(cost_cents=None)
    adjustments.adjust(
        invoice=Invoice.objects.get(),
        kind=Adjustment.Kind.WRITE_OFF,
        cents=500,
        reason="Short",
        made_by=builders.person(),
        key="w-1",
    )
    client.force_login(builders.person("office"))

    page = client.get("/reports/margin-after-selling-by-customer/")

    assert {row["remains_cents"] for row in page.context["made"].rows} == {None}
    assert "Written off on these days: Corner Grocery $5.00 (remainder written off)." in page.text
    assert (
        "$5.00 of recorded costs belongs to rows without any known cost of goods, and is in no "
        "figure of what remains." in " ".join(unescape(page.text).split())
    )


def test_what_never_gets_a_cost_is_said_apart_from_what_has_none_yet(client, sell_with_freight):
    """6.50 of a jar that cost 2.00, and 8.00 of freight, which is 55.2 % of 14.50."""
    client.force_login(builders.person("office"))

    page = client.get("/reports/margin-after-selling-by-customer/").text

    assert "has no cost yet" not in page
    assert "$8.00 of $14.50 sold (55.2 %) never gets a cost here" in page
