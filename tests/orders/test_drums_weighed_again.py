"""An order follows the weight of its drum when the drum is weighed again."""

import pytest
from django.core.management import call_command

from apiary_sales.orders.models import Reservation
from apiary_sales.orders.services import orders
from inventory.stock.models import Balance
from inventory.stock.services import drums


@pytest.fixture
def order(full_drum, drum_line, packer, owner):
    return orders.take(
        customer=packer,
        channel="bulk",
        lines=[drum_line(full_drum(1))],
        created_by=owner,
        key="order",
    )


# $2.15 a pound: 294 kg are 648.159 lb, $1,393.54; 296 kg are 652.568 lb, $1,403.02.
@pytest.mark.parametrize(("grams", "cents"), [(294_000, 139_354), (296_000, 140_302)])
def test_the_order_is_of_what_the_drum_weighs_now(order, owner, grams, cents):
    line = order.lines.get()

    drums.weigh_again(drum=line.drum, gross_grams=18_000 + grams, recorded_by=owner, key="scale")

    line.refresh_from_db()
    assert (line.quantity, line.ordered, line.gave_way) == (grams, 295_000, 0)
    assert line.amount_cents == pytest.approx(cents, abs=2)
    there = Balance.objects.in_vessel(line.drum)
    assert (there.quantity, there.reserved) == (grams, grams)
    assert Reservation.objects.get(line=line).quantity == grams
    call_command("verify_ledger", verbosity=0)
    orders.fulfil(order=order, filled_by=owner, key="out")
    assert Balance.objects.in_vessel(line.drum) is None
