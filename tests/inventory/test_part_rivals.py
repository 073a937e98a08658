"""Runs that keep what their parts cost, while a receipt is corrected and an earlier use undone."""

import pytest

from inventory.bottling.models import PartReceipt
from inventory.bottling.queries import part_closings
from inventory.bottling.services import delivery_corrections
from inventory.stock.models import AverageClosing, Posting
from inventory.stock.services import ledger
from tests import builders
from tests.inventory import bottling_room
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]

TIMES = 6


def cost_more(cents):
    delivery_corrections.correct_parts(
        receipt=PartReceipt.objects.earliest("pk"),
        cost_cents=cents,
        recorded_by=builders.person(),
        key=builders.new_key(),
        reason="Misread",
    )


def undo_a_breakage():
    broken = Posting.objects.filter(kind="breakage", reversed_by=None).earliest("pk")
    ledger.reverse(posting=broken, recorded_by=builders.person(), key=builders.new_key())


def test_what_is_kept_is_what_the_whole_history_gives(monkeypatch):
    monkeypatch.setattr(AverageClosing, "PART_CHANGES_MAX", 2)
    room = bottling_room.set_up(grams=2_000_000, pieces=5_000, cases=500)
    spoiled = bottling_room.Place.objects.outside("spoiled")
    for _turn in range(TIMES):
        ledger.post(
            kind="breakage",
            lines=ledger.move(
                item=room.jar.item, lot=None, source=room.shelf, target=spoiled, quantity=1
            ),
            recorded_by=builders.person(),
            key=builders.new_key(),
        )
    kept = 0
    for number in range(TIMES):
        planned = [bottling_room.plan(room) for _run in range(2)]
        together(
            *(lambda run=run: bottling_room.record(run) for run in planned),
            lambda cents=number: cost_more(60_000 + cents),
            undo_a_breakage,
        )
        kept += AverageClosing.objects.filter(item=room.jar.item_id).count()
        assert list(part_closings.faults()) == []

    assert kept > 0
