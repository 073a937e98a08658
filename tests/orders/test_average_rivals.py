"""A sale that keeps an average, while a lot gets another cost and an earlier sale is undone."""

from decimal import Decimal

import pytest
from django.db import transaction

from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.stock.models import AverageClosing, Lot, Place, Posting, ProductionSettings
from inventory.stock.queries import average_closings
from inventory.stock.services import ledger
from tests import builders
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]

TIMES = 8


@pytest.fixture
def stand(monkeypatch):
    """A stand of a house that values by the average and keeps it at every second change."""
    monkeypatch.setattr(AverageClosing, "CHANGES_MAX", 2)
    ProductionSettings(cost_method=ProductionSettings.CostMethod.WEIGHTED_AVERAGE).save()
    place = builders.place("stand", Place.Kind.STAND)
    product = builders.product()
    builders.packed_lot(product, place, 500, cost_cents=50_000)
    builders.packed_lot(product, place, 500, cost_cents=90_000)
    person = builders.person("stand")

    def sell():
        line = LineWanted(
            kind=OrderLine.Kind.PACKED, quantity=3, unit_price=Decimal("9.50"), product=product
        )
        return stand_sales.sell(
            lines=[line],
            place=place,
            payments=builders.paid("cash", 5_000),
            sold_by=person,
            key=builders.new_key(),
        )

    return sell


@transaction.atomic
def cost_more(cents):
    lot = Lot.objects.select_for_update(no_key=True).earliest("pk")
    lot.cost_cents = cents
    lot.save(update_fields=["cost_cents"])


def undo_last_sale():
    last = Posting.objects.filter(kind="sale", reverses=None, reversed_by=None).latest("pk")
    ledger.reverse(posting=last, recorded_by=builders.person(), key=builders.new_key())


def test_what_is_kept_is_what_the_whole_history_gives(stand):
    builders.person()
    kept = 0
    for number in range(TIMES):
        stand()
        stand()
        together(stand, stand, lambda cents=number: cost_more(60_000 + cents), undo_last_sale)
        kept += AverageClosing.objects.count()
        assert list(average_closings.faults()) == []

    assert kept > 0
