"""Goods sold without a cost, through the API."""

import pytest

from apiary_sales.orders.models import FulfilmentLine
from tests import builders
from tests.orders.conftest import jar_line, jars, shelf, shop  # noqa: F401
from tests.orders.test_late_costs import cost_is, sell  # noqa: F401

pytestmark = pytest.mark.django_db


def test_goods_are_costed_late_and_that_is_undone(client, sell, jars, shelf):  # noqa: F811
    client.force_login(builders.person("office"))
    lot = builders.packed_lot(jars, shelf, 10)
    sell(6)
    cost_is(lot, 1_000)

    sold = client.get("/api/v1/sold-without-cost/?season=2026").json()
    assert sold == {
        "lines": 1,
        "amount_cents": 3_900,
        "lines_known_now": 1,
        "amount_cents_known_now": 3_900,
        "cost_cents_known_now": 600,
    }

    def post(path, key, **body):
        headers = {"Idempotency-Key": key}
        return client.post(path, body, content_type="application/json", headers=headers)

    shown = {"expected_total_cents": 600, "expected_lines": 2}
    changed = post("/api/v1/late-costings/", "changed", season=2026, **shown)
    assert (changed.status_code, changed.json()["code"]) == (409, "figures_changed")
    shown["expected_lines"] = 1
    made = post("/api/v1/late-costings/", "once", season=2026, **shown)
    assert (made.status_code, made.json()["cost_cents"]) == (201, 600)
    assert post("/api/v1/late-costings/", "once", season=2026).status_code == 409

    address = f"/api/v1/late-costings/{made.json()['id']}/lines/"
    [line] = client.get(address).json()["results"]
    assert (line["lot"], line["cost_cents"]) == (lot.code, 600)
    assert client.get(f"{address}?ordering=-cost_cents").json()["results"] == [line]

    undone = post(f"/api/v1/late-costings/{made.json()['id']}/undo/", "back")
    assert (undone.status_code, undone.json()["is_undone"]) == (200, True)
    assert FulfilmentLine.objects.get().cost_cents is None
    [listed] = client.get("/api/v1/late-costings/").json()["results"]
    assert listed == undone.json()
