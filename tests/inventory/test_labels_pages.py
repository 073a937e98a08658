"""Pages of labels: the run's labels, the layouts of sheets, and the labels of drums."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.bottling.models import JarPage, LabelSheet
from inventory.bottling.services import holds, runs
from inventory.shared.models import House
from inventory.stock.models import Place
from inventory.stock.services import drums
from tests import builders
from tests.inventory import bottling_room, pages, printed

pytestmark = pytest.mark.django_db

FORM = {
    "name": "Pail labels",
    "paper": "A4",
    "label_width": "99.1",
    "label_width_unit": "mm",
    "label_height": "2",
    "label_height_unit": "in",
    "columns": "2",
    "rows": "5",
    "margin_left": "4.65",
    "margin_left_unit": "mm",
    "margin_top": "",
    "gap_x": "0.1",
    "gap_x_unit": "in",
    "offset_x": "-1.5",
    "offset_y": "",
    "is_active": "on",
    "key": "a-key",
}


@pytest.fixture
def bottler(db):
    return pages.signed_in("bottling")


@pytest.fixture
def room(db):
    House(name="Alder Creek Honey", street="118 Mill Road", city="Fernley", region="WI").save()
    return bottling_room.set_up()


def at(name: str, *args) -> str:
    return reverse(f"inventory:{name}", args=args)


def asked(**changes) -> dict[str, str]:
    return {
        "sheet": "letter-10",
        "pieces": "96",
        "spare": "4",
        "first": "3",
        "code": "none",
        "panel": "label",
    } | changes


def test_the_page_of_labels_tells_what_would_be_printed(bottler, room):
    run = bottling_room.recorded(room)

    page = pages.text(bottler.get(at("run_labels", run.number), asked()))

    assert "Ready to print" in page
    assert "100 pieces on 11 pages" in page
    assert "3.2 mm, measured on the small letter “o”" in page
    assert "This helps to set up a label; local label law applies." in page


def test_labels_come_as_pdf_with_the_lines_of_the_page(bottler, room):
    run = bottling_room.recorded(room)

    answer = bottler.get(at("run_labels_pdf", run.number), asked())

    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'inline; filename="labels-{run.number}.pdf"'
    assert printed.pages(answer.content) == 11


def test_what_does_not_fit_is_told_on_the_page_instead_of_the_pdf(bottler, room):
    run = bottling_room.recorded(room)

    answer = bottler.get(at("run_labels_pdf", run.number), asked(sheet="letter-30", first="1"))
    no_number = bottler.get(at("run_labels", run.number), asked(code="barcode"))
    unmeasured = bottler.get(at("run_labels", run.number), asked(panel="round"))

    assert list(pages.errors(answer)) == ["sheet"]
    assert pages.errors(no_number)["code"] == [
        "A bar code needs a GTIN. Enter it at the product first, or choose another code."
    ]
    assert list(pages.errors(unmeasured)) == ["panel_height", "panel_around"]


def test_more_labels_than_can_be_are_told_at_their_field(bottler, room):
    run = bottling_room.recorded(room)

    answer = bottler.get(at("run_labels", run.number), asked(pieces="1997", first="11"))

    assert pages.errors(answer) == {"pieces": ["Enter a number of labels from 1 to 2,000."]}


def test_a_planned_run_has_its_labels_and_a_cancelled_one_has_none(bottler, room):
    planned, cancelled = bottling_room.plan(room), bottling_room.plan(room)
    runs.cancel(run=cancelled, cancelled_by=builders.person())

    labels = bottler.get(at("run_labels", planned.number), asked())
    none = bottler.get(at("run_labels_pdf", cancelled.number), asked())

    assert f"Lot {planned.lot_code}" in pages.text(labels)
    assert "This run was cancelled, so it has no labels." in pages.text(none)


def test_a_house_of_the_european_union_prints_metric_weight_alone(bottler, room):
    house = House.current()
    house.market = House.Market.EU
    house.save()
    run = bottling_room.recorded(room)

    page = pages.text(bottler.get(at("run_labels", run.number), asked()))

    assert "454 g" in page
    assert "NET WT" not in page
    assert "4.0 mm, measured on figures" in page


def test_a_layout_is_added_in_millimetres_or_inches_and_edited(bottler):
    made = bottler.post(at("label_sheet_create"), FORM, follow=True)

    sheet = LabelSheet.objects.get(name="Pail labels")
    assert (sheet.label_height_mm, sheet.gap_x_mm, sheet.offset_x_mm) == (
        Decimal("50.80"),
        Decimal("2.54"),
        Decimal("-1.50"),
    )
    assert pages.said(made) == ["Added the layout Pail labels. Print its test page first."]
    shown = bottler.get(at("label_sheet_edit", sheet.code)).context["form"]
    assert shown.initial["label_width"] == [Decimal("99.1"), "mm"]
    bottler.post(at("label_sheet_edit", sheet.code), FORM | {"name": "Small pails"})
    sheet.refresh_from_db()
    assert sheet.name == "Small pails"


def test_a_layout_too_wide_for_its_paper_is_refused_at_its_field(bottler):
    refused = bottler.post(at("label_sheet_create"), FORM | {"columns": "3"})

    assert list(pages.errors(refused)) == ["columns"]


def test_the_labels_of_drums_carry_their_number_for_scanners_and_their_page_for_phones(bottler):
    tank = builders.place("tank-1", capacity_litres=Decimal(1500))
    builders.lot_in(tank, 900_000)
    for code in ("D-017", "D-018"):
        drum = builders.place(
            code, Place.Kind.DRUM, capacity_litres=Decimal(210), tare_grams=17_500
        )
        drums.fill(
            drum=drum,
            tank=tank,
            gross_grams=307_500,
            tare_grams=17_500,
            recorded_by=builders.person("bottling"),
            key=builders.new_key(),
        )

    one = bottler.get(at("drum_labels_pdf"), {"drum": "D-018"}, headers={"host": "localhost"})
    both = bottler.get(at("drum_labels_pdf"), headers={"host": "localhost"})

    picture = printed.picture(one.content, dpi=150)
    assert printed.codes(picture) == [
        ("Code128", "D-018"),
        ("QRCode", "http://localhost/honey/places/D-018/"),
    ]
    found = {text for _kind, text in printed.codes(printed.picture(both.content, dpi=150))}
    assert {"D-017", "D-018"} <= found


def test_without_a_drum_there_are_no_labels_of_drums(bottler):
    answer = bottler.get(at("drum_labels_pdf"), {"drum": "no-such-drum"})

    assert answer.status_code == 302
    assert answer["Location"] == at("drum_labels")


def test_the_page_of_the_jar_is_offered_as_qr_code_and_linked_where_jars_have_one(bottler, room):
    run, planned = bottling_room.recorded(room), bottling_room.plan(room)
    form = at("run_labels", run.number)
    assert "jar&#x27;s page" not in bottler.get(form).text
    JarPage.objects.update_or_create(defaults={"is_on": True})

    address = f"http://testserver/j/{run.lot_code}/{run.product.code}/"
    page = pages.text(bottler.get(form, asked(code="jar-page", sheet="letter-6")))

    assert "Ready to print" in page
    for linked in (
        form,
        at("run_detail", run.number),
        at("lot_detail", run.lot_code, run.product.code),
    ):
        assert f'href="{address}"' in bottler.get(linked).text
    assert f"/j/{planned.lot_code}/" in bottler.get(at("run_labels", planned.number)).text


def test_labels_of_what_is_on_hold_say_so(bottler, room):
    run = bottling_room.recorded(room)
    drum = builders.place("D-001", Place.Kind.DRUM, tare_grams=18_000)
    lot = builders.lot_in(drum, 200_000)
    for held in (lot, run.packed_lot):
        holds.hold(lots=[held], reason="Odd smell.", held_by=builders.person())

    page = pages.text(bottler.get(at("run_labels", run.number)))
    paper = printed.text(bottler.get(at("drum_labels_pdf")).content)

    assert f"ON HOLD Lot {run.lot_code} can't be sold. Odd smell." in page
    assert "ON HOLD" in paper
    assert f"{lot.code} ON HOLD" in pages.text(bottler.get(at("drum_labels")))
