"""A recall: who has what was made of a lot, where the rest is, and that it is all accounted for."""

from decimal import Decimal

import pytest

from apiary_sales.billing.services import credit_notes, invoices
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Recall, RecallAct
from apiary_sales.orders.queries import recall, recall_progress, trace
from apiary_sales.orders.queries import recalls as records
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import orders, quotes, recalls
from inventory.bottling.services import reversals
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    LotOnHold,
    NotAllowedNow,
    NotEnoughStock,
    SeveralProblems,
)
from inventory.stock.models import Balance, Lot, lots
from inventory.stock.queries import holds
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def take(shop, owner, key):
    """Return a taker of an order, not handed over yet."""

    def make(*lines, customer=None, channel="shop"):
        return orders.take(
            customer=customer or shop,
            channel=channel,
            lines=lines,
            created_by=owner,
            key=key(),
        )

    return make


@pytest.fixture
def sell(take, owner, key):
    """Return a seller of lines to a named buyer, who has the goods then."""

    def make(*lines, customer=None, channel="shop"):
        order = take(*lines, customer=customer, channel=channel)
        return orders.fulfil(order=order, filled_by=owner, key=key())

    return make


@pytest.fixture
def at_stand(stand, owner, key):
    """Return a seller at the stand to somebody without a name."""

    def make(*lines):
        return orders.sell_now(customer=None, lines=lines, place=stand, created_by=owner, key=key())

    return make


def only(rows):
    [row] = rows
    return row


def test_every_buyer_is_named_with_order_invoice_day_and_contact(sell, jar_line, jars, shelf):
    buyer = builders.customer("Hilltop Deli", phone="555 0199", email="deli@hilltop.example")
    lot = builders.packed_lot(jars, shelf, 48)
    done = sell(jar_line(12), customer=buyer)
    bill = invoices.issue(order=done.order, issued_by=builders.person(), key="bill")

    row = only(recall.answer([lot.pk], with_sales=True).sales)

    assert (row.name, row.phone, row.email) == ("Hilltop Deli", "555 0199", "deli@hilltop.example")
    assert (row.order, [each.number for each in row.invoices]) == (done.order.number, [str(bill)])
    assert (row.lot, row.handed_over_on) == (lot.code, builders.today())
    assert (row.sold, row.came_back, row.still_out) == (12, 0, 12)


def test_what_came_back_still_names_its_buyer_and_says_where_it_is(
    sell, jar_line, jars, shelf, packer, owner, key
):
    lot = builders.packed_lot(jars, shelf, 48)
    returned = sell(jar_line(10))
    sell(jar_line(5), customer=packer)
    orders.take_back(fulfilment=returned, taken_by=owner, key=key(), reason="wrong jar")

    answer = recall.answer([lot.pk], with_sales=True)

    assert [(row.name, row.sold, row.came_back, row.still_out) for row in answer.sales] == [
        ("Corner Grocery", 10, 10, 0),
        ("Prairie Packers", 5, 0, 5),
    ]
    assert (answer.buyers, answer.buyers_with_some) == (2, 1)
    back = only(answer.back)
    assert (back.lot, back.place, back.quantity) == (lot.code, "Shelf", 10)
    assert (answer.pieces_out, answer.pieces_back, answer.pieces_on_hand) == (5, 10, 43)


def test_a_credited_sale_still_names_its_buyer(sell, jar_line, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    done = sell(jar_line(10))
    bill = invoices.issue(order=done.order, issued_by=builders.person(), key="bill")
    credit_notes.credit(
        invoice=bill,
        issued_by=builders.person(),
        key="credit",
        reason="some came back",
        goods_back=[GoodsBack(bill.lines.get().fulfilment_line, 4, shelf)],
    )

    row = only(recall.answer([lot.pk], with_sales=True).sales)

    assert [each.number for each in row.invoices] == [str(bill)]
    assert (row.sold, row.came_back, row.still_out) == (10, 4, 6)


def test_sales_without_a_name_are_one_row_a_day(at_stand, jar_line, jars, stand, owner, key):
    lot = builders.packed_lot(jars, stand, 48)
    at_stand(jar_line(2))
    at_stand(jar_line(3))
    undone = at_stand(jar_line(4))
    orders.take_back(fulfilment=undone, taken_by=owner, key=key(), reason="typed twice")

    answer = recall.answer([lot.pk], with_sales=True)

    row = only(answer.unnamed)
    assert (row.day, row.sales, row.sold, row.came_back) == (builders.today(), 3, 9, 4)
    assert (row.still_out, answer.pieces_unnamed) == (5, 5)
    assert (answer.sales, answer.buyers) == ([], 0)


def test_honey_is_followed_through_a_blend_into_jars_and_a_drum(
    sell, full_drum, drum_line, packer, owner
):
    drum = full_drum(1)
    extraction = Lot.objects.get(kind="extraction")
    sell(drum_line(drum), customer=packer, channel="bulk")

    answer = recall.answer([extraction.pk], with_sales=True)

    assert (answer.grams_out, answer.pieces_out) == (295_000, 0)
    assert only(answer.sales).name == "Prairie Packers"
    assert (answer.percent_accounted, answer.percent_found) == (Decimal(100), Decimal(100))


def test_a_run_balances_to_the_gram_and_the_piece():
    room = bottling_room.set_up()
    packed = bottling_room.recorded(room).packed_lot
    stores.write_off(
        item=room.product.item,
        lot=packed,
        place=room.shelf,
        pieces=3,
        reason="breakage",
        recorded_by=builders.person(),
        key="broke",
    )

    honey, jars = recall.answer([room.lot.pk]).lots

    # 45,000 g drawn of 200,000 g: 500 g lost, two broken jars with a pound each (453.59237 g).
    assert (honey.came_in, honey.on_hand, honey.difference) == (200_000, 155_000, 0)
    assert honey.into_lots == 45_000 - 500 - 907
    assert honey.ways_out == {"filling_loss": 500, "broken": 907}
    assert (jars.came_in, jars.on_hand, jars.ways_out, jars.difference) == (
        96,
        93,
        {"broken": 3},
        0,
    )


def test_an_undone_run_leaves_no_trace_in_the_balance():
    room = bottling_room.set_up()
    run = bottling_room.recorded(room)
    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key="undo")

    honey, jars = recall.answer([room.lot.pk]).lots

    assert (honey.came_in, honey.on_hand, honey.into_lots) == (200_000, 200_000, 0)
    assert (jars.came_in, jars.on_hand, jars.difference) == (0, 0, 0)


def test_books_that_disagree_are_told_with_the_difference(sell, jar_line, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    sell(jar_line(12))
    # As if a balance was lost: the lines of the ledger and the orders still have it.
    Balance.objects.filter(lot=lot, is_physical=True).update(quantity=30)

    answer = recall.answer([lot.pk])

    assert [(each.code, each.difference) for each in answer.not_balanced] == [(lot.code, 6)]
    # 42 of 48 pieces: 87.5 percent.
    assert answer.percent_accounted == Decimal("87.50")


@pytest.mark.parametrize(
    ("named", "unnamed", "percent"),
    [(0, 0, "100.00"), (12, 0, "100.00"), (0, 12, "75.00"), (1, 1, "97.91"), (0, 48, "0.00")],
)
def test_sales_without_a_name_are_accounted_for_but_not_found(
    sell, at_stand, jar_line, jars, stand, named, unnamed, percent
):
    """Of 48 pieces; the percentage is cut, not rounded: 47 of 48 are 97.916…"""
    lot = builders.packed_lot(jars, stand, 48)
    if named:
        sell(jar_line(named))
    if unnamed:
        at_stand(jar_line(unnamed))

    answer = recall.answer([lot.pk])

    assert (answer.percent_accounted, answer.percent_found) == (Decimal(100), Decimal(percent))


def test_orders_and_quotes_that_name_it_are_told(
    take, jar_line, jars, shelf, full_drum, drum_line, packer, owner, key
):
    lot = builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(10))
    drum = full_drum(1)
    bulk = Balance.objects.in_vessel(drum).honey_lot
    quote = quotes.quote(
        customer=packer,
        lines=[drum_line(drum)],
        valid_until=builders.today(),
        created_by=owner,
        key=key(),
    )

    waiting = recall.answer([lot.pk, bulk.pk]).waiting

    assert [
        (row.order, row.name, row.place, row.quantity, row.is_reserved, row.is_quote)
        for row in waiting
    ] == [
        (order.number, "Corner Grocery", "Shelf", 10, True, False),
        (quote.number, "Prairie Packers", "Drum 1", 295_000, False, True),
    ]


def test_several_lots_are_asked_about_at_once_and_shared_ones_count_once(jars, shelf, stand):
    first = builders.lot_in(builders.place("t1"))
    second = builders.lot_in(builders.place("t2"))
    packed = builders.packed_lot(jars, shelf, 48, parent=first)
    packed.parent_links.create(parent=second, grams=1_000)

    answer = recall.answer([first.pk, second.pk])

    assert [lot.code for lot in answer.lots] == [first.code, second.code, packed.code]
    assert [lot.code for lot in answer.asked] == [first.code, second.code]
    assert list(recall.answer([packed.pk]).sources) == [
        recall.SourceRow(
            lot.pk, lot.code, "extraction", "Clover, extraction", lot.made_on, "in-bulk"
        )
        for lot in (second, first)
    ]


def test_a_lot_nobody_has_bought_has_an_empty_answer(jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)

    answer = recall.answer([lot.pk], with_sales=True)

    assert (answer.sales, answer.unnamed, answer.waiting, answer.back) == ([], [], [], [])
    assert (answer.buyers, answer.pieces_out, answer.place_count) == (0, 0, 1)


@pytest.mark.parametrize("lots", [1, 8])
def test_an_answer_takes_the_same_number_of_queries(
    django_assert_num_queries, sell, at_stand, jar_line, jars, shelf, stand, lots
):
    extraction = builders.lot_in(builders.place("t1"))
    for number in range(lots):
        builders.packed_lot(jars, shelf, 10, parent=extraction)
        builders.packed_lot(jars, stand, 10, parent=extraction)
        sell(jar_line(10), customer=builders.customer(f"Shop {number}"))
        at_stand(jar_line(1))

    # One of them is for jars on the shelves of shops.
    with django_assert_num_queries(18):
        recall.answer([extraction.pk], with_sales=True)


# ---------------------------------------------------------------- records


def start(lot, **changes):
    answer = recall.answer([lot.pk], with_sales=True)
    asked = {
        "kind": "mock",
        "code": lot.code,
        "lots": [lot],
        "reason": "Yearly exercise",
        "answer": answer.as_json(),
        "percent_accounted": answer.percent_accounted,
        "percent_found": answer.percent_found,
        "started_by": builders.person(),
        "key": builders.new_key(),
    }
    return recalls.start(**(asked | changes))


def finish(record, **changes):
    roots = [lot.pk for lot in record.lots.all()]
    asked = {
        "recall": record,
        "notes": "Counted.",
        "answer": recall.answer(roots, with_sales=True).as_json(),
        "finished_by": builders.person(),
    }
    return recalls.finish(**(asked | changes))


def test_a_finished_recall_keeps_what_came_back_and_was_held(
    sell, jar_line, jars, shelf, owner, key
):
    lot = builders.packed_lot(jars, shelf, 48)
    done = sell(jar_line(10))
    record = start(lot)
    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="recall")
    recalls.hold(lots=[lot], reason="Odd smell.", held_by=owner, key=key())

    finish(record)
    between = recall_progress.of(Recall.objects.get(pk=record.pk))

    assert (between.start.pieces_out, between.finish.pieces_out) == (10, 0)
    assert [(row.place, row.quantity) for row in between.back] == [("Shelf", 10)]
    assert [each.code for each in between.held] == [lot.code]


def test_a_real_recall_with_goods_that_can_still_be_sold_is_not_finished_by_oversight(
    jars, shelf, owner, key
):
    lot = builders.packed_lot(jars, shelf, 48)
    real, mock = start(lot, kind="real"), start(lot)

    finish(mock)
    with pytest.raises(BadValue) as refused:
        finish(real)
    recalls.hold(lots=[lot], reason="Odd smell.", held_by=owner, key=key())
    finish(real)

    assert refused.value.parameter == "lots_are_settled"
    assert refused.value.message == (
        f"In the house and not on hold, so they can still be sold: {lot.code}. Put them on hold "
        "or write them off. If they may be sold, tick the box and send again."
    )
    assert Recall.objects.filter(finished_at=None).count() == 0


def test_a_real_recall_is_finished_once_somebody_says_that_its_lots_may_be_sold(jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)

    assert finish(start(lot, kind="real"), lots_are_settled=True).is_finished


# ---------------------------------------------------------------- what is not found


@pytest.fixture
def count(jars):
    def make(lot, place, counted):
        stores.count(
            item=jars.item,
            lot=lot,
            place=place,
            counted=counted,
            reason="Counted",
            recorded_by=builders.person(),
            key=builders.new_key(),
        )

    return make


def test_a_surplus_in_one_place_does_not_make_up_for_a_loss_in_another(jars, shelf, stand, count):
    lot = builders.packed_lot(jars, shelf, 40)
    count(lot, shelf, 30)
    count(lot, stand, 10)

    answer = recall.answer([lot.pk])
    account = only(answer.lots)

    assert account.ways_in_words == [("lost in counts", 10), ("found in counts", -10)]
    assert (account.came_in, account.on_hand, account.other_ways) == (40, 40, 0)
    assert account.difference == 0
    # Of 40 that are here and 10 that are lost, 40 are accounted for: 80 percent.
    assert (answer.percent_accounted, answer.percent_found) == (Decimal(80), Decimal(80))


@pytest.mark.parametrize(
    ("reason", "found", "given"), [("gift", 75, 12), ("own_use", 75, 12), ("breakage", 100, 0)]
)
def test_gifts_and_own_use_are_out_without_a_name(jars, shelf, reason, found, given):
    """Of 48 jars 12 are given away: 36 of 48 are 75 percent."""
    lot = builders.packed_lot(jars, shelf, 48)
    stores.write_off(
        item=jars.item,
        lot=lot,
        place=shelf,
        pieces=12,
        reason=reason,
        recorded_by=builders.person(),
        key="off",
    )

    answer = recall.answer([lot.pk])

    assert (answer.percent_accounted, answer.percent_found) == (Decimal(100), Decimal(found))
    assert (answer.pieces_out, answer.pieces_given) == (given, given)


def test_a_record_answers_the_same_later(sell, jar_line, jars, shelf, stand, shop, packer):
    lot = builders.packed_lot(jars, shelf, 48)
    builders.packed_lot(jars, stand, 10)
    sell(jar_line(10))
    before = recall.answer([lot.pk], with_sales=True)
    record = start(lot)

    sell(jar_line(5), customer=packer)
    Customer.objects.filter(pk=shop.pk).update(name="Another name")

    kept = recall.from_json(Recall.objects.get(pk=record.pk).answer)
    assert kept == before
    assert kept.percent_found == record.percent_found == Decimal(100)


def test_the_clock_runs_from_the_start_to_the_finish(jars, shelf, time_machine):
    lot = builders.packed_lot(jars, shelf, 48)
    time_machine.move_to("2026-11-20 09:00:00Z", tick=False)
    record = start(lot)
    assert (record.is_finished, record.seconds_taken) == (False, None)
    assert records.running([lot.pk]) == record

    time_machine.shift(755)
    done = finish(record, notes=" Counted the shelf. ", finished_by=builders.person("office"))

    assert (done.is_finished, done.seconds_taken) == (True, 755)
    assert (done.notes, done.finished_by) == ("Counted the shelf.", builders.person("office"))
    assert records.running([lot.pk]) is None


def test_a_recall_is_finished_once_and_with_notes(jars, shelf):
    record = start(builders.packed_lot(jars, shelf, 48))

    with pytest.raises(BadValue) as without_notes:
        finish(record, notes="  ")
    finish(record)
    with pytest.raises(NotAllowedNow) as again:
        finish(record, notes="Counted again.")

    assert without_notes.value.message == "Enter what was checked, and what came out."
    assert again.value.message == "This recall is finished already."
    assert Recall.objects.get().notes == "Counted."


def test_a_start_needs_lots_a_kind_and_a_reason(jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)

    with pytest.raises(SeveralProblems) as refused:
        start(lot, kind="drill", lots=[], reason=" ")

    assert [problem.parameter for problem in refused.value.problems] == ["kind", "lots", "reason"]
    assert not Recall.objects.exists()


def test_the_same_form_starts_one_recall_and_holds_once(jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    start(lot, key="same")
    held = {"lots": [lot], "reason": "Odd smell.", "held_by": builders.person(), "key": "held"}
    recalls.hold(**held)

    with pytest.raises(AlreadyRecorded):
        start(lot, key="same")
    with pytest.raises(AlreadyRecorded):
        recalls.hold(**held)

    assert (Recall.objects.count(), RecallAct.objects.count()) == (1, 1)


# ---------------------------------------------------------------- holds


def test_what_is_on_hold_is_neither_reserved_nor_handed_over_nor_sold(
    take, at_stand, jar_line, jars, shelf, stand, owner, key
):
    lot = builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(10))
    held = recalls.hold(lots=[lot], reason="Odd smell.", held_by=owner, key=key())
    assert held.changed == [lot]

    with pytest.raises(LotOnHold) as handed_over:
        orders.fulfil(order=order, filled_by=owner, key=key())
    with pytest.raises(NotEnoughStock):
        take(jar_line(1))
    with pytest.raises(NotEnoughStock):
        at_stand(jar_line(1))

    assert handed_over.value.message == (f"Lot {lot.code} is on hold and can't be sold: Odd smell.")
    assert Balance.objects.get(lot=lot, is_physical=True).reserved == 10


def test_a_drum_on_hold_is_neither_quoted_nor_ordered(
    take, full_drum, drum_line, packer, owner, key
):
    drum = full_drum(1)
    extraction = Balance.objects.in_vessel(drum).honey_lot
    recalls.hold(lots=[extraction], reason="Odd smell.", held_by=owner, key=key())

    with pytest.raises(LotOnHold):
        take(drum_line(drum), customer=packer, channel="bulk")
    with pytest.raises(LotOnHold):
        quotes.quote(
            customer=packer,
            lines=[drum_line(drum)],
            valid_until=builders.today(),
            created_by=owner,
            key=key(),
        )

    recalls.release(lots=[extraction], reason="Nothing found.", released_by=owner, key=key())
    take(drum_line(drum), customer=packer, channel="bulk")


def test_who_held_and_released_and_why_is_kept(jars, shelf, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)
    recalls.hold(lots=[lot], reason="Odd smell.", held_by=owner, key=key())
    recalls.release(lots=[lot], reason="Nothing found.", released_by=owner, key=key())

    kept = holds.events(holds.of_lots([lot.pk]))

    assert [(event.is_release, event.reason, event.by) for event in kept] == [
        (True, "Nothing found.", owner.display_name),
        (False, "Odd smell.", owner.display_name),
    ]


def test_a_lot_page_and_its_recall_name_the_same_buyers(sell, jar_line, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    sell(jar_line(10))

    assert (
        trace.sale_rows(trace.named(Lot.objects.family_keys([lot.pk])))
        == recall.answer([lot.pk], with_sales=True).sales
    )


def test_a_family_of_more_lots_than_a_question_takes_gets_the_same_answer(
    monkeypatch, sell, jar_line, jars, shelf
):
    extraction = builders.lot_in(builders.place("t1"))
    builders.packed_lot(jars, shelf, 48, parent=extraction)
    sell(jar_line(10))
    few = recall.answer([extraction.pk], with_sales=True)

    monkeypatch.setattr(lots, "KEYS_MAX", 1)

    assert recall.answer([extraction.pk], with_sales=True) == few
    assert recalls.hold(
        lots=[extraction], reason="Odd smell.", held_by=builders.person(), key="held"
    ).changed == list(Lot.objects.order_by("pk"))
