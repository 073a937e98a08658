"""What was recorded wrong is put right through its pages: runs, honey, parts and goods."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.bottling.models import GoodsReceipt, PartReceipt, ReceiptCorrection, RunCorrection
from inventory.bottling.part_costs import part_book
from inventory.bottling.services import delivery_corrections, goods, run_corrections
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, NotEnoughStock
from inventory.stock.models import Balance, LotCorrection, Measurement, Posting, Shortage
from inventory.stock.queries import books
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return bottling_room.set_up()


@pytest.fixture
def bottler(client):
    client.force_login(builders.person("bottling"))
    return client


def at(name: str, *args) -> str:
    return reverse(f"inventory:{name}", args=args)


def shown(response) -> dict:
    """What the form on a page would send back when nothing is changed."""
    form = response.context["form"]
    sent = {}
    for name in form.fields:
        value = form[name].value()
        if isinstance(value, list | tuple):
            sent[name], sent[f"{name}_unit"] = str(value[0]), value[1]
        elif value not in (None, False):
            sent[name] = value.isoformat() if hasattr(value, "isoformat") else str(value)
    return sent


def send(client, address: str, **changes):
    """Open a page, change some of its fields, and send it."""
    sent = shown(client.get(address)) | {"reason": "Misread"} | changes
    return client.post(address, sent, follow=True)


def pieces_of(item) -> int:
    rows = Balance.objects.in_stores().filter(item=item)
    return sum(rows.values_list("quantity", flat=True))


def give_away(room, run, pieces: int) -> None:
    stores.write_off(
        item=room.product.item,
        lot=run.packed_lot,
        place=room.shelf,
        pieces=pieces,
        reason="gift",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


# ------------------------------------------------------------------ a run


def test_a_run_is_corrected_after_its_jars_have_left_by_the_difference_alone(bottler, room):
    run = bottling_room.recorded(room)
    give_away(room, run, 90)

    page = send(bottler, at("run_correct", run.number), pieces_filled="94", pieces_broken="4")

    assert page.status_code == 200
    run.refresh_from_db()
    assert (run.pieces_filled, run.pieces_broken, run.drawn_grams) == (94, 4, 45_000)
    assert pieces_of(room.product.item) == 4
    # 94 + 4 jars as 96 + 2 before; 94 / 12 begun cases are 8, as 96 / 12 were.
    assert pieces_of(room.jar.item) == 500 - 98
    assert pieces_of(room.case.item) == 50 - 8
    assert Balance.objects.in_vessel(room.tank).quantity == 155_000
    [posting] = Posting.objects.filter(kind=Posting.Kind.CORRECTION)
    assert posting.corrects == run.posting
    assert list(books.faults()) == []


def test_both_states_of_a_corrected_run_can_be_read_with_who_and_why(bottler, room):
    run = bottling_room.recorded(room)

    page = send(
        bottler,
        at("run_correct", run.number),
        pieces_filled="95",
        labour_minutes="80",
        reason="Counted again",
    )

    text = " ".join(page.content.decode().split())
    assert "Pieces filled: before 96, now <b>95</b>." in text
    assert "Minutes of work: before 90, now <b>80</b>." in text
    assert "Jar: before 98 pieces, now <b>97 pieces</b>." in text
    assert "Case: before" not in text
    assert "Why: Counted again" in text
    kept = RunCorrection.objects.get()
    assert (kept.before["pieces_filled"], kept.after["pieces_filled"]) == (96, 95)
    assert kept.corrected_by == builders.person("bottling")


def test_only_what_is_changed_is_corrected(bottler, room):
    run = bottling_room.recorded(room, drawn_grams=45_001)

    send(bottler, at("run_correct", run.number), labour_minutes="60")

    run.refresh_from_db()
    assert (run.drawn_grams, run.loss_grams, run.labour_minutes) == (45_001, 500, 60)
    assert not Posting.objects.filter(kind=Posting.Kind.CORRECTION).exists()
    kept = RunCorrection.objects.get()
    assert set(kept.after) <= {"labour_minutes", "labour_cents"}


def test_a_weight_entered_for_an_estimated_run_is_no_estimate_any_more(bottler, room):
    run = bottling_room.recorded(room, drawn_grams=None)
    assert run.is_estimated

    send(bottler, at("run_correct", run.number), drawn="45", drawn_unit="kg")

    run.refresh_from_db()
    assert (run.drawn_grams, run.is_estimated) == (45_000, False)


def test_minutes_that_nobody_knows_are_taken_off_again(bottler, room):
    run = bottling_room.recorded(room)

    send(bottler, at("run_correct", run.number), labour_minutes="")

    run.refresh_from_db()
    assert (run.labour_minutes, run.labour_cents) == (None, None)


def test_parts_follow_the_pieces_but_for_those_that_are_said(room):
    run = bottling_room.recorded(room)

    run_corrections.correct(
        run=run,
        pieces_filled=90,
        parts={room.lid: 99},
        reason="Miscounted, and lids were bent",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    assert pieces_of(room.jar.item) == 500 - 92
    assert pieces_of(room.lid.item) == 500 - 99


@pytest.mark.parametrize(("pieces", "is_refused"), [(91, False), (90, False), (89, True)])
def test_fewer_pieces_than_have_left_are_refused_at_their_field(bottler, room, pieces, is_refused):
    run = bottling_room.recorded(room)
    give_away(room, run, 90)

    page = send(
        bottler,
        at("run_correct", run.number),
        pieces_filled=str(pieces),
        pieces_broken=str(98 - pieces),
    )

    assert page.status_code == (422 if is_refused else 200)
    if is_refused:
        [said] = page.context["form"].errors["pieces_filled"]
        assert said == "1 piece of One pound that left already would be missing. Check the figure."
        run.refresh_from_db()
        assert run.pieces_filled == 96
    assert list(books.faults()) == []


def test_a_correction_without_a_difference_or_a_reason_is_refused(bottler, room):
    run = bottling_room.recorded(room)

    same = send(bottler, at("run_correct", run.number))
    silent = send(bottler, at("run_correct", run.number), pieces_filled="95", reason="")

    assert list(same.context["form"].non_field_errors()) == [
        "Nothing is different from what was recorded. Change what is wrong."
    ]
    assert list(silent.context["form"].errors["reason"]) == ["Say what was wrong."]
    assert not RunCorrection.objects.exists()


def test_what_a_correction_changes_is_shown_before(bottler, room):
    run = bottling_room.recorded(room)
    address = at("run_correct", run.number)
    sent = shown(bottler.get(address)) | {"pieces_filled": "95", "preview": "yes"}

    answer = bottler.post(address, sent, headers={"HX-Request": "true"}).content.decode()

    text = " ".join(answer.split())
    assert "<span>Pieces filled</span> <span>96 → <b>95</b></span>" in text
    assert "Minutes" not in text
    assert not RunCorrection.objects.exists()


def test_the_lot_code_of_a_run_is_kept_by_its_correction(bottler, room):
    run = bottling_room.recorded(room)
    code, best_by = run.packed_lot.code, run.packed_lot.best_by
    day = timezone.localdate() - timedelta(days=3)

    send(bottler, at("run_correct", run.number), bottled_on=day.isoformat(), lot_code="OTHER")

    run.refresh_from_db()
    run.packed_lot.refresh_from_db()
    assert (run.lot_code, run.packed_lot.code) == (code, code)
    assert (run.packed_lot.made_on, run.packed_lot.best_by) == (day, best_by)
    assert list(books.faults()) == []


def test_a_run_that_is_not_recorded_has_no_form_to_correct_it(bottler, room):
    run = bottling_room.plan(room)

    page = bottler.get(at("run_correct", run.number)).content.decode()

    assert "Only a recorded run can be corrected." in page
    assert "Save the correction" not in page


# ------------------------------------------------------------------ honey that came in


def test_honey_that_came_in_is_corrected_and_its_jars_follow(client, room):
    client.force_login(builders.person("owner"))
    run = bottling_room.recorded(room)
    address = at("honey_receipt_correct", room.lot.code)

    page = send(
        client,
        address,
        **{f"net_{room.tank.pk}": "190", f"net_{room.tank.pk}_unit": "kg"},
        moisture_percent="18.1",
        cost="1100",
    )

    assert page.status_code == 200
    room.lot.refresh_from_db()
    assert (room.lot.quantity_made, room.lot.cost_cents) == (190_000, 110_000)
    assert Balance.objects.in_vessel(room.tank).quantity == 145_000
    run.packed_lot.refresh_from_db()
    assert run.packed_lot.moisture_percent == Decimal("18.10")
    text = " ".join(page.content.decode().split())
    assert "Moisture, percent: before 17.40 %, now <b>18.10 %</b>." in text
    assert "Why: Misread" in text
    assert list(books.faults()) == []


def test_the_cost_of_honey_is_offered_only_to_those_who_see_costs(client, room):
    address = at("honey_receipt_correct", room.lot.code)
    client.force_login(builders.person("owner"))
    assert "cost" in client.get(address).context["form"].fields

    client.force_login(builders.person("bottling"))
    role = client.get(address)

    assert role.status_code == 200
    assert ("cost" in role.context["form"].fields) == (
        builders.person("bottling").has_perm("inventory.run_bottling")
    )


def test_a_lot_that_was_made_here_has_no_receipt_to_correct(bottler, room):
    builders.lot_in(room.tank, 50_000, floral_source="Aster")
    blend = Balance.objects.in_vessel(room.tank).lot

    page = bottler.get(at("honey_receipt_correct", blend.code)).content.decode()

    assert f"Lot {blend.code} did not come in from outside" in page.replace("&#x27;", "'")
    assert "Save the correction" not in page


def test_a_moisture_is_corrected_by_its_measurement(client, room):
    client.force_login(builders.person("owner"))

    send(client, at("honey_receipt_correct", room.lot.code), moisture_percent="18.1")

    standing = Measurement.objects.filter(
        lot=room.lot, what=Measurement.What.MOISTURE, removed_at=None
    )
    assert [row.value for row in standing] == [Decimal("18.1")]
    assert LotCorrection.objects.filter(lot=room.lot).exists()


# ------------------------------------------------------------------ parts that came in


def test_parts_that_came_in_are_corrected_and_their_average_cost_follows(bottler, room):
    receipt = PartReceipt.objects.get(part=room.jar)

    page = send(
        bottler,
        at("part_receipt_correct", receipt.pk),
        pieces="480",
        cost="312.00",
        supplier="Hill Glass",
    )

    receipt.refresh_from_db()
    assert (receipt.pieces, receipt.cost_cents, receipt.supplier.name) == (
        480,
        31_200,
        "Hill Glass",
    )
    assert pieces_of(room.jar.item) == 480
    # 312.00 / 480 = 0.65 a jar; it was 0.60.
    assert part_book().unit_cents[room.jar.pk] == 65
    text = " ".join(page.content.decode().split())
    assert "How much: before 500 pieces, now <b>480 pieces</b>." in text
    assert "Supplier: before Valley Glass, now <b>Hill Glass</b>." in text
    assert list(books.faults()) == []


def test_a_run_keeps_the_cost_of_parts_that_it_was_recorded_with(bottler, room):
    run = bottling_room.recorded(room)
    before = run.parts_cents
    receipt = PartReceipt.objects.get(part=room.jar)

    send(bottler, at("part_receipt_correct", receipt.pk), cost="999.00")

    run.refresh_from_db()
    assert run.parts_cents == before


@pytest.mark.parametrize(("pieces", "short"), [(99, 0), (98, 0), (97, 1)])
def test_fewer_parts_than_were_used_are_to_be_settled(bottler, room, pieces, short):
    # The 98 jars are filled, so they were there: other jars must have come that nobody entered.
    bottling_room.recorded(room)
    receipt = PartReceipt.objects.get(part=room.jar)

    send(bottler, at("part_receipt_correct", receipt.pk), pieces=str(pieces))

    open_rows = Shortage.objects.open().filter(item=room.jar.item)
    assert sum(row.quantity for row in open_rows) == short
    assert pieces_of(room.jar.item) == max(0, pieces - 98)
    assert list(books.faults()) == []


def test_parts_that_came_on_another_day_are_booked_on_that_day(bottler, room):
    receipt = PartReceipt.objects.get(part=room.jar)
    day = timezone.localdate() - timedelta(days=9)

    send(bottler, at("part_receipt_correct", receipt.pk), received_on=day.isoformat())

    receipt.refresh_from_db()
    assert receipt.received_on == day
    assert timezone.localdate(receipt.posting.occurred_at) == day
    assert pieces_of(room.jar.item) == 500
    assert list(books.faults()) == []


def test_an_undone_receipt_and_no_difference_are_refused(room):
    receipt = PartReceipt.objects.get(part=room.jar)
    told = {"receipt": receipt, "recorded_by": builders.person(), "reason": "Misread"}

    with pytest.raises(NotAllowedNow) as same:
        delivery_corrections.correct_parts(**told, pieces=500, key="same")
    with pytest.raises(BadValue) as silent:
        delivery_corrections.correct_parts(**told | {"reason": " "}, pieces=400, key="silent")
    delivery_corrections.correct_parts(**told, pieces=400, key="once")
    with pytest.raises(AlreadyRecorded):
        delivery_corrections.correct_parts(**told, pieces=300, key="once")

    assert str(same.value).startswith("Nothing is different")
    assert silent.value.parameter == "reason"
    assert ReceiptCorrection.objects.count() == 1
    assert pieces_of(room.jar.item) == 400


# ------------------------------------------------------------------ goods that came in


@pytest.fixture
def candles(room) -> GoodsReceipt:
    return goods.receive(
        product=builders.goods("Candle"),
        place=room.shelf,
        quantity=40,
        cost_cents=8_000,
        supplier="Wick and Sons",
        received_on=timezone.localdate(),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


def test_goods_that_came_in_are_corrected_with_the_cost_of_their_lot(client, candles):
    client.force_login(builders.person("owner"))

    page = send(client, at("goods_receipt_correct", candles.pk), quantity="36", cost="90.00")

    candles.refresh_from_db()
    candles.lot.refresh_from_db()
    assert (candles.quantity, candles.cost_cents) == (36, 9_000)
    assert (candles.lot.quantity_made, candles.lot.cost_cents) == (36, 9_000)
    assert pieces_of(candles.product.item) == 36
    text = " ".join(page.content.decode().split())
    assert "How much: before 40 pieces, now <b>36 pieces</b>." in text
    kept = LotCorrection.objects.get(lot=candles.lot)
    assert (kept.before["cost_cents"], kept.after["cost_cents"]) == ("8000", "9000")
    assert list(books.faults()) == []


@pytest.mark.parametrize(("quantity", "is_refused"), [(31, False), (30, False), (29, True)])
def test_less_goods_than_have_left_are_refused(candles, room, quantity, is_refused):
    stores.write_off(
        item=candles.product.item,
        lot=candles.lot,
        place=room.shelf,
        pieces=30,
        reason="gift",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    told = {
        "receipt": candles,
        "quantity": quantity,
        "reason": "Miscounted",
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    }

    if is_refused:
        with pytest.raises(NotEnoughStock) as refused:
            delivery_corrections.correct_goods(**told)
        assert refused.value.parameter == "quantity"
    else:
        assert delivery_corrections.correct_goods(**told).quantity == quantity
    assert list(books.faults()) == []


# ------------------------------------------------------------------ who may


@pytest.mark.parametrize("name", ["run_correct", "honey_receipt_correct", "part_receipt_correct"])
def test_who_sells_at_the_stand_corrects_nothing(client, room, name):
    run = bottling_room.recorded(room)
    receipt = PartReceipt.objects.get(part=room.jar)
    client.force_login(builders.person("stand"))
    names = {
        "run_correct": run.number,
        "honey_receipt_correct": room.lot.code,
        "part_receipt_correct": receipt.pk,
    }

    assert client.get(at(name, names[name])).status_code == 403


def test_the_pages_lead_to_the_corrections(client, room, candles):
    client.force_login(builders.person("owner"))
    run = bottling_room.recorded(room)
    receipt = PartReceipt.objects.get(part=room.jar)
    ways = [
        (at("run_detail", run.number), at("run_correct", run.number)),
        (at("posting_detail", run.posting_id), at("run_correct", run.number)),
        (at("lot_detail", room.lot.code), at("honey_receipt_correct", room.lot.code)),
        (at("part_detail", room.jar.code), at("part_receipt_correct", receipt.pk)),
        (at("posting_detail", receipt.posting_id), at("part_receipt_correct", receipt.pk)),
        (at("goods_detail", candles.product.code), at("goods_receipt_correct", candles.pk)),
        (at("posting_detail", candles.posting_id), at("goods_receipt_correct", candles.pk)),
    ]

    for page, way in ways:
        assert f'href="{way}"' in client.get(page).content.decode(), page
