"""The clock of the computer is set back by two days, as after an empty battery, and put right."""

import json
from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.test import Client

from apiary_sales.billing.models import Invoice
from apiary_sales.keeping import books
from apiary_sales.pricing.services import prices
from inventory.stock.models import Place
from tests import builders

pytestmark = [pytest.mark.django_db, pytest.mark.data_layer]
CHICAGO = ZoneInfo("America/Chicago")


def send(path: str, body: dict | None = None):
    return Client(raise_request_exception=False).post(
        f"/api/v1/{path}",
        json.dumps(body or {}),
        content_type="application/json",
        headers={
            "Authorization": builders.authorization("owner"),
            "Idempotency-Key": builders.new_key(),
        },
    )


def sell():
    return send(
        "stand-sales/",
        {
            "place": "stand",
            "lines": [{"product": "one-pound", "pieces": 2}],
            "payments": [{"method": "cash", "tendered_cents": 5_000}],
        },
    )


def bill(customer):
    line = {"kind": "packed", "product": "one-pound", "quantity": 3, "unit_price": "7.00"}
    taken = send(
        "orders-taken/", {"customer": customer.pk, "channel": "shop", "lines": [line]}
    ).json()
    send(f"orders/{taken['number']}/hand-over/")
    return send(f"orders/{taken['number']}/invoice/")


def test_a_clock_that_was_set_back_loses_nothing_and_stops_nobody():
    with time_machine.travel(datetime(2026, 9, 18, 15, tzinfo=CHICAGO)) as clock:
        stand = builders.place("stand", Place.Kind.STAND)
        jar = builders.product("One pound", code="one-pound")
        prices.set_piece(product=jar, tier="stand", piece_cents=900, valid_from=date(2026, 1, 1))
        builders.packed_lot(jar, stand, 500)
        shop = builders.customer("Corner Grocery", kind="shop", tier="shop")
        right = [sell(), bill(shop)]

        clock.move_to(datetime(2026, 9, 16, 9, tzinfo=CHICAGO))
        set_back = [sell(), bill(shop)]
        client = Client()
        client.force_login(builders.person("owner"))
        today = client.get("/").text

        clock.move_to(datetime(2026, 9, 18, 15, 30, tzinfo=CHICAGO))
        again = [sell(), bill(shop)]
        client.force_login(builders.person("owner"))
        in_time = client.get("/").text

    assert [each.status_code for each in right + set_back + again] == [201] * 6
    assert list(books.faults()) == []
    receipts, bills = (
        list(Invoice.objects.filter(series=series).order_by("number")) for series in ("R26", "F26")
    )
    assert [each.number for each in receipts + bills] == [1, 2, 3] * 2
    assert [each.issued_on.day for each in receipts + bills] == [18, 16, 18] * 2
    told = "The clock of the computer is wrong, or it was"
    assert told in today
    assert "recorded on Sep 18, 2026, 3:00 p.m., and it says Sep 16, 2026, 9:00 a.m. now." in today
    assert told not in in_time
