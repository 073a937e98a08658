"""No page and no reading of the API asks the database more than a few times, whoever reads it."""

import re

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import Invoice, MarketDay
from apiary_sales.orders.models import Order
from inventory.bottling.models import BottlingRun
from inventory.stock.models import Lot
from tests.benchmarks import readings, visitor

QUERIES_MAX = 25
# Readings that bring so much together that they need more: how many at most, and why. The demo is
# of today, and what waits in it differs from day to day: one or two more than were seen may come.
# An order with its lines, stock, papers, money, history and what may be done next.
ORDER = {"orders:order_detail": 27}
# A plan is worked out of prices, costs, past sales, stock, parts, tanks and days to come.
PLAN = {"api:when-to-stop": 44}
# Money by month has this year and the last, with suppliers' bills and what is open beside them.
REPORT = {"reports:report": 26}
MORE = REPORT | ORDER | PLAN


def queries_of(client, address):
    """Return how many questions an address asks the database; None where it shows nothing."""
    with CaptureQueriesContext(connection) as captured:
        response = client.get(address)
        for _chunk in response if response.streaming else ():
            pass
    return len(captured) if response.status_code == 200 else None


def of_one_thing():
    """Yield the pages of one thing that bring the most together."""
    lot = Lot.objects.filter(kind=Lot.Kind.BLEND, parent_links__isnull=False).first()
    for name, key in (
        ("inventory:lot_detail", lot.code),
        ("billing:market_day", MarketDay.objects.last().pk),
        ("inventory:run_labels", BottlingRun.objects.filter(status="recorded").last().number),
        ("orders:order_detail", Order.objects.last().number),
        ("billing:invoice_detail", Invoice.objects.last().pk),
        ("reports:report", "money-by-month"),
        ("api:report", "sale-lines"),
        ("api:lot-story", lot.code),
        ("recall:answer", lot.pk),
    ):
        yield name, reverse(name, args=[key])


def test_no_reading_has_more_than_a_few_queries_in_any_role():
    is_left_out = re.compile(f"{readings.PLANNING.pattern}|^admin:")
    found = {
        name: address
        for name, address in [*visitor._without_arguments(), *of_one_thing()]
        if not is_left_out.search(name)
    }
    counts = {}
    for role in readings.ROLES:
        client = Client()
        client.force_login(User.objects.filter(role=role).first())
        for name, address in found.items():
            # Another role asks for its permissions too, and sees no more than the owner.
            if role == "owner" or counts[name, "owner"] > QUERIES_MAX - 3:
                counts[name, role] = queries_of(client, address) or 0

    assert sum(count > 0 for count in counts.values()) > 200
    over = {
        reading: count
        for reading, count in counts.items()
        if count > MORE.get(reading[0], QUERIES_MAX)
    }
    assert over == {}
