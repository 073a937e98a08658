"""Pages of bottling days: the sheet, saved and recorded; the list; settling estimated honey."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.bottling.models import BottlingDay, BottlingRun, EstimateSettlement
from inventory.stock.services import measurements
from tests import builders
from tests.inventory import bottling_room, day_room
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return day_room.set_up()


@pytest.fixture
def bottler():
    return signed_in("bottling")


def at(name, *args):
    return reverse(f"inventory:{name}", args=args)


def filled(page, pieces: dict, **figures) -> dict:
    """Return what the form of a shown sheet sends, with pieces for some of its products."""
    form = page.context["form"]
    data = dict.fromkeys(form.fields, "")
    data |= {"key": builders.new_key(), "row_count": form.count, "target": form_target(form)}
    data |= {"version": form["version"].value() or 0, "celsius": "20", "celsius_unit": "C"}
    if "source" in form.fields:
        data |= {"source": form["source"].value(), "bottled_on": form["bottled_on"].value()}
    for line in form.lines():
        product = form.offered_at(line.number)
        data[f"product_{line.number}"] = product.pk
        data[f"lot_code_{line.number}"] = line.lot_code.value() or ""
        if product in pieces:
            data[f"pieces_filled_{line.number}"] = pieces[product]
    for name, value in figures.items():
        data[name] = value
        data[f"{name}_unit"] = "mm" if name.startswith("depth") else "g"
    return {name: value for name, value in data.items() if value is not None}


def form_target(form) -> int:
    return form.fields["target"].queryset.get().pk


def test_a_new_sheet_offers_the_tank_and_the_products(bottler, room):
    page = bottler.get(at("bottling_day_create"))

    form = page.context["form"]
    assert form["source"].value() == room.tank.code
    assert form["bottled_on"].value() == builders.today()
    assert {line.legend for line in form.lines()} == {"Half pound", "One pound", "Two pounds"}
    assert {line.code for line in form.lines()} == {f"L{builders.today():%y%j}"}


def test_planned_runs_of_the_day_come_first_with_their_codes(bottler, room):
    day_room.plan(room, room.two, lot_code="TWO-1")

    page = bottler.get(at("bottling_day_create"))

    first, *others = page.context["form"].lines()
    assert (first.legend, first.code) == ("Two pounds", "TWO-1")
    assert {line.legend for line in others} == {"Half pound", "One pound"}


def test_a_sheet_is_recorded_at_once(bottler, room):
    page = bottler.get(at("bottling_day_create"))
    sent = filled(page, {room.half: 200, room.pound: 144}, depth_before=450, depth_after=330)

    answer = bottler.post(at("bottling_day_create"), sent)

    day = BottlingDay.objects.get()
    assert answer["Location"] == at("bottling_day", day.pk)
    assert said(answer)[0].startswith("Recorded 2 runs from Tank 1 on")
    page = text(bottler.get(answer["Location"]))
    assert "Dips beside the books" in page
    assert "Labels of One pound" in page
    assert "estimated" not in page


def test_a_half_filled_sheet_is_saved_and_finished_by_another_person(bottler, room):
    page = bottler.get(at("bottling_day_create"))
    sent = filled(page, {room.pound: 100}, depth_before=450) | {"save": "yes"}
    with_books = BottlingRun.objects.count()

    answer = bottler.post(at("bottling_day_create"), sent)

    day = BottlingDay.objects.get()
    assert answer["Location"] == at("bottling_day_edit", day.pk)
    assert said(answer)[0].endswith("is saved. No stock has moved yet.")
    assert BottlingRun.objects.count() == with_books
    owner = signed_in("owner")
    assert "is not recorded yet. Bottling saved it last." in text(owner.get("/"))
    assert "is not recorded yet" in text(owner.get(at("bottling")))
    page = owner.get(answer["Location"])
    form = page.context["form"]
    line = next(line for line in form.lines() if line.legend == "One pound")
    assert line.pieces_filled.value() == 100
    assert line.code == f"L{builders.today():%y%j}"

    answer = owner.post(
        at("bottling_day_edit", day.pk),
        filled(page, {room.pound: 144}, depth_before=450, depth_after=390),
    )

    (run,) = day_room.runs_of(BottlingDay.objects.get())
    assert answer["Location"] == at("bottling_day", day.pk)
    assert (run.pieces_filled, run.drawn_by) == (144, "dip")


def test_an_open_sheet_is_opened_instead_of_a_second_one(bottler, room):
    day = day_room.save(room, 10)

    answer = bottler.get(at("bottling_day_create"), {"from": "tank-1"})

    assert answer["Location"] == at("bottling_day_edit", day.pk)


def test_a_sheet_that_somebody_else_saved_meanwhile_is_not_overwritten(bottler, room):
    page = bottler.get(at("bottling_day_create"))
    day_room.save(room, None, 20, by="owner")

    answer = bottler.post(
        at("bottling_day_create"), filled(page, {room.pound: 30}) | {"save": "yes"}
    )

    assert errors(answer)["__all__"][0].startswith("Owner has saved the sheet of Tank 1")
    assert BottlingDay.objects.get().rows.get().pieces_filled == 20


def test_what_is_wrong_is_shown_at_the_row_and_nothing_moves(bottler, room):
    page = bottler.get(at("bottling_day_create"))
    sent = filled(page, {room.half: 200, room.two: 60})
    numbers = {line.legend: line.number for line in page.context["form"].lines()}
    number = numbers["Two pounds"]

    with books_unchanged():
        answer = bottler.post(
            at("bottling_day_create"), sent | {f"lot_code_{number}": "no such code!"}
        )

    assert errors(answer) == {
        f"lot_code_{number}": [
            "Use only letters, digits, dots and hyphens in a lot code, and no spaces."
        ]
    }
    assert "Two pounds: Lot code" in text(answer)
    assert not BottlingDay.objects.exists()


def test_odd_figures_are_confirmed_at_their_row(bottler, room):
    page = bottler.get(at("bottling_day_create"))
    sent = filled(page, {room.pound: 100}, depth_before=450, depth_after=390)
    number = next(
        line.number for line in page.context["form"].lines() if line.legend == "One pound"
    )

    answer = bottler.post(at("bottling_day_create"), sent)

    assert list(errors(answer)) == [f"figures_are_right_{number}"]
    assert "Yes, that much honey was drawn" in text(answer)

    answer = bottler.post(at("bottling_day_create"), sent | {f"figures_are_right_{number}": "on"})

    assert answer.status_code == 302
    assert BottlingRun.objects.get().pieces_filled == 100


def test_a_spare_row_takes_any_product(bottler, room):
    page = bottler.get(at("bottling_day_create"))
    spare = page.context["form"].spare_lines()[0].number
    sent = filled(page, {}) | {
        f"product_{spare}": room.two.pk,
        f"pieces_filled_{spare}": "24",
        f"lot_code_{spare}": "SPARE-1",
    }

    bottler.post(at("bottling_day_create"), sent)

    assert BottlingRun.objects.get().lot_code == "SPARE-1"


def test_pieces_without_a_product_are_refused(bottler, room):
    page = bottler.get(at("bottling_day_create"))
    spare = page.context["form"].spare_lines()[0].number

    answer = bottler.post(
        at("bottling_day_create"), filled(page, {}) | {f"pieces_filled_{spare}": "24"}
    )

    assert errors(answer)[f"product_{spare}"] == ["Choose what was filled."]


def test_an_empty_sheet_says_what_to_enter(bottler, room):
    page = bottler.get(at("bottling_day_create"))

    answer = bottler.post(at("bottling_day_create"), filled(page, {}))

    assert errors(answer) == {
        "pieces_filled_1": ["Enter the pieces filled of one product or more."]
    }


def test_the_preview_shares_the_measured_honey_out(bottler, room):
    page = bottler.get(at("bottling_day_create"))
    sent = filled(page, {room.pound: 100, room.two: 50}, depth_before=450, depth_after=366)

    answer = bottler.get(at("bottling_day_preview"), sent)

    preview = answer.context["preview"]
    assert [row.pieces for row in preview.rows] == [50, 100] or [
        row.pieces for row in preview.rows
    ] == [100, 50]
    assert sum(row.drawn_grams for row in preview.rows) == preview.drawn_grams
    assert preview.drawn_grams == preview.before.grams - preview.after.grams
    assert "Honey drawn, measured" in text(answer)
    assert not BottlingDay.objects.exists()


def test_the_preview_says_that_honey_would_be_estimated(bottler, room):
    page = bottler.get(at("bottling_day_create"))

    answer = bottler.get(at("bottling_day_preview"), filled(page, {room.pound: 100}))

    assert "estimated" in text(answer)
    assert "Never weighed in a fill check, so counted at the label weight: One pound." in text(
        answer
    )


def test_a_sheet_is_thrown_away(bottler, room):
    day = day_room.save(room, 10)

    answer = bottler.post(at("bottling_day_drop", day.pk))

    assert answer["Location"] == at("bottling_day_list")
    assert not BottlingDay.objects.exists()


def test_a_recorded_sheet_is_looked_at_not_filled_in_again(bottler, room):
    day = day_room.record(room, 100)

    assert bottler.get(at("bottling_day_edit", day.pk))["Location"] == at("bottling_day", day.pk)
    bottler.post(at("bottling_day_drop", day.pk))
    assert BottlingDay.objects.count() == 1


def test_the_list_shows_sheets_and_what_is_estimated(bottler, room):
    yesterday = builders.today() - timedelta(days=1)
    day_room.record(room, 100, bottled_on=yesterday)
    day_room.save(room, None, 20)

    page = text(bottler.get(at("bottling_day_list")))

    assert "the honey of 1 run is estimated, 50 lb" in page.replace("50.0 lb", "50 lb")
    assert "not recorded yet" in page
    assert "One pound (20)" in page


def test_the_list_of_many_days_asks_no_more_questions(bottler, room, django_assert_max_num_queries):
    for back in range(1, 6):
        day_room.record(room, 10, 20, bottled_on=builders.today() - timedelta(days=back))

    with django_assert_max_num_queries(14):
        bottler.get(at("bottling_day_list"))


def test_estimated_runs_are_settled_by_a_dip(bottler, room):
    day = day_room.record(room, 200, 100)
    run = day_room.runs_of(day)[0]
    assert "it is estimated" in text(bottler.get(at("run_detail", run.number)))
    assert "is estimated" in text(bottler.get("/"))
    form = {"depth": "366", "depth_unit": "mm", "celsius": "20", "celsius_unit": "C"}
    form |= {"measured_on": builders.today(), "key": "settle", "weight": ""}

    answer = bottler.post(at("run_settle", run.number), form)

    assert answer["Location"] == at("run_detail", run.number)
    assert said(answer)[0].startswith("Settled 2 runs from Tank 1: together they drew")
    page = text(bottler.get(answer["Location"]))
    assert "Estimated honey, settled" in page
    assert "it is estimated" not in page
    assert "Estimated honey, settled" in text(bottler.get(at("bottling_day", day.pk)))
    assert EstimateSettlement.objects.count() == 1


def test_a_measured_run_has_nothing_to_settle(bottler, room):
    day = day_room.record(room, 200, 100, before_mm=450, after_mm=367)

    page = text(bottler.get(at("run_settle", day_room.runs_of(day)[0].number)))

    assert "The honey of this run is not estimated, so it can't be settled." in page


def test_a_settlement_before_the_runs_is_refused(bottler, room):
    run = day_room.runs_of(day_room.record(room, 200))[0]
    form = {"weight": "450000", "weight_unit": "g", "key": "settle", "depth": ""}
    form |= {"measured_on": builders.today() - timedelta(days=1)}

    answer = bottler.post(at("run_settle", run.number), form)

    assert errors(answer)["measured_on"] == ["The runs were filled after that day. Check the day."]


def test_a_run_is_recorded_without_its_honey(bottler):
    room = bottling_room.set_up()
    run = bottling_room.plan(room)
    form = {
        "key": "run",
        "pieces_filled": "96",
        "drawn": "",
        "target": room.shelf.pk,
        "bottled_on": builders.today(),
        "celsius": "32",
        "celsius_unit": "C",
    }
    preview = text(bottler.get(at("run_record_preview", run.number), form))
    assert "estimated from the pieces, until a dip settles it" in preview

    bottler.post(at("run_record", run.number), form)

    run.refresh_from_db()
    assert run.is_estimated
    page = text(bottler.get(at("run_detail", run.number)))
    assert "Drawn, estimated" in page
    assert "estimated" in text(bottler.get(at("bottling")))


def test_only_those_who_bottle_fill_in_a_sheet(room):
    day = day_room.save(room, 10)
    client = signed_in("stand")

    assert client.get(at("bottling_day_create")).status_code == 403
    assert client.get(at("bottling_day_edit", day.pk)).status_code == 403
    assert client.post(at("bottling_day_drop", day.pk)).status_code == 403
    assert "is not recorded yet" not in text(client.get("/"))


def wet(room) -> None:
    measurements.record(
        lot=room.lot,
        what="moisture",
        value=Decimal("19.2"),
        measured_on=room.lot.made_on,
        recorded_by=builders.person("owner"),
        key="wet",
    )


def test_wet_honey_is_asked_about_once_for_all_sizes_and_takes_the_tick(bottler, room):
    wet(room)
    address = at("bottling_day_create")
    sent = filled(bottler.get(address), {room.half: 20, room.pound: 10})

    with books_unchanged():
        asked = bottler.post(address, sent)
    taken = bottler.post(address, sent | {"moisture_is_right": "on"})

    [(field, [sentence])] = errors(asked).items()
    assert field == "moisture_is_right"
    assert sentence.endswith("or tick that it is used all the same.")
    assert 'type="checkbox" name="moisture_is_right"' in asked.text
    assert taken.status_code == 302
    assert sorted(BottlingRun.objects.values_list("pieces_filled", flat=True)) == [10, 20]


def test_a_sheet_of_wet_honey_is_saved_for_later_without_being_asked(bottler, room):
    wet(room)
    address = at("bottling_day_create")
    sent = filled(bottler.get(address), {room.half: 20}) | {"save": "yes"}

    assert bottler.post(address, sent).status_code == 302
    assert bottler.post(address, sent | {"moisture_is_right": "on"}).status_code == 302
    assert not BottlingRun.objects.exists()


def test_a_day_that_used_more_parts_than_the_books_have_says_so(bottler, room):
    jar = builders.part("Half pound jar")
    builders.made_of(room.half, jar)
    page = bottler.get(at("bottling_day_create"))

    answer = bottler.post(at("bottling_day_create"), filled(page, {room.half: 20}))

    assert said(answer)[0].endswith("The books had too little for it: see what is to be settled.")
