"""The pages of a lot's measurements, and its certificate."""

import re
from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.template.loader import render_to_string
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation

from inventory.shared.models import House
from inventory.shared.services import files
from inventory.stock import papers
from inventory.stock.models import Lot, Measurement
from inventory.stock.services import measurements
from tests import builders
from tests.inventory.pages import errors, signed_in
from tests.uploads import upload

EXTRACTED = date(2026, 7, 20)


@pytest.fixture
def lot(owner):
    return builders.lot_in(builders.place("tank-1"), moisture_percent="18.8", colour_mm="34")


@pytest.fixture
def laboratory_figure(lot, owner):
    report = files.attach(
        thing=lot,
        file=upload("Prairie 4471.pdf"),
        kind="laboratory",
        added_by=owner,
        key=builders.new_key(),
    )
    return measurements.record(
        lot=lot,
        what="hmf",
        value=Decimal("8.4"),
        measured_on=EXTRACTED,
        is_laboratory=True,
        laboratory="Prairie Analytics",
        report=report,
        recorded_by=owner,
        key=builders.new_key(),
    )


def paper(lot: Lot) -> str:
    """Return the words of a certificate."""
    html = render_to_string(papers.CERTIFICATE, papers.certificate_context(lot))
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def add(lot: Lot) -> str:
    return reverse("inventory:measurement_add", args=[lot.code])


def test_a_measurement_is_added_on_the_page_of_its_lot(lot):
    client = signed_in("bottling")
    page = reverse("inventory:lot_detail", args=[lot.code])
    assert add(lot) in client.get(page).text
    form = client.get(add(lot)).context["form"]
    sent = {
        "key": form["key"].value(),
        "what": "colour",
        "value": "36.5",
        "measured_on": "2026-07-21",
        "measured_by": form["measured_by"].value(),
        "method": "photometer",
        "instrument": "Photometer 1",
    }

    answer = client.post(add(lot), sent, follow=True)
    again = client.post(add(lot), sent, follow=True)

    assert answer.redirect_chain == [(page, 302)]
    assert "Recorded for lot 26-E01: Colour 36.5 mm Pfund." in answer.text
    assert "This was recorded already." in again.text
    made = Measurement.objects.latest("pk")
    assert (made.measured_by, made.instrument) == ("Bottling", "Photometer 1")
    assert "colour photometer, Photometer 1" in " ".join(answer.text.split())
    assert "The moisture and colour that were measured last count" in answer.text


def test_a_report_is_chosen_from_the_files_of_the_lot(lot, laboratory_figure, owner):
    other = builders.lot_in(builders.place("tank-2"))
    client = signed_in()
    sent = {
        "key": "k",
        "what": "diastase",
        "value": "17",
        "measured_on": "2026-07-21",
        "method": "not_recorded",
        "is_laboratory": "on",
        "laboratory": "Prairie Analytics",
        "report": laboratory_figure.report_id,
    }

    assert errors(client.post(add(other), sent))["report"]
    assert client.post(add(lot), sent).status_code == 302
    assert Measurement.objects.get(what="diastase").report == laboratory_figure.report


def test_a_figure_below_the_limit_of_detection_is_typed_as_the_laboratory_writes_it(lot):
    client = signed_in()
    sent = {"what": "hmf", "measured_on": "2026-07-21", "method": "other"}

    client.post(add(lot), {**sent, "key": "a", "value": "< 5"})
    page = client.post(add(lot), {**sent, "key": "b", "value": "3", "is_below": "on"}, follow=True)

    made = Measurement.objects.filter(what="hmf").order_by("pk")
    assert [(each.value, each.is_below) for each in made] == [(5, True), (3, True)]
    assert "&lt; 5 mg/kg" in page.text


def test_refusals_stand_at_their_fields(lot):
    answer = signed_in().post(
        add(lot),
        {"key": "k", "what": "ph", "value": "71", "measured_on": "2026-07-01", "method": "meter"},
    )

    assert errors(answer) == {
        "value": ["pH can be from 3 to 7. Check the figure and its unit."],
        "measured_on": ["Lot 26-E01 was made on Jul 20, 2026. Choose that day or a later one."],
    }


def test_the_form_of_receiving_says_how_the_figures_were_measured(owner):
    builders.place("tank-1")
    client = signed_in()
    address = reverse("inventory:receive")
    sent = {
        "key": "k",
        "place": "tank-1",
        "floral_source": "Clover",
        "season": "2026",
        "extracted_on": "2026-07-20",
        "moisture": "17.4",
        "moisture_method": "refractometer",
        "colour_mm": "30",
        "measured_by": "scale",
        "weight": "100",
    }

    assert client.post(address, sent).status_code == 302

    assert list(Measurement.objects.order_by("what").values_list("what", "method")) == [
        ("colour", "not_recorded"),
        ("moisture", "refractometer"),
    ]


def test_those_who_may_not_move_honey_only_read(lot):
    client = signed_in("stand")
    measurement = lot.measurements.get(what="moisture")
    remove = reverse("inventory:measurement_remove", args=[measurement.pk])

    page = client.get(reverse("inventory:lot_detail", args=[lot.code])).text

    assert "Measurements" in page
    assert add(lot) not in page
    assert remove not in page
    assert client.post(add(lot), {}).status_code == 403
    assert client.post(remove, {"key": "k"}).status_code == 403


def test_a_measurement_is_removed_and_named_as_removed(lot):
    client = signed_in()
    measurement = lot.measurements.get(what="colour")
    remove = reverse("inventory:measurement_remove", args=[measurement.pk])
    assert client.get(remove).status_code == 200

    page = client.post(remove, {"key": "k"}, follow=True)

    assert "1 measurement was removed" in page.text
    assert "Colour 34 mm Pfund, removed" in page.text


def test_the_certificate_shows_figures_with_day_and_method_and_grade_words(lot):
    # 18.8 % is above grade A's 18.6 and within C's 20.0; 34 mm is the upper end of white:
    # United States Standards for Grades of Extracted Honey, effective 23 May 1985 (read).
    words = paper(lot)

    assert "26-E01" in words
    assert "Clover Extraction Season 2026" in words
    assert "Extracted on Jul 20, 2026" in words
    grade = "by moisture, at best U.S. Grade C"
    assert f"Moisture 18.8 % {grade} method not recorded Jul 20, 2026" in words
    assert "Colour 34 mm Pfund white method not recorded Jul 20, 2026" in words
    assert "These are not a laboratory's figures." in words
    assert "Laboratory values" not in words
    assert "Signature" in words
    assert "infants under one year" in words


def test_laboratory_values_are_apart_and_left_out_without_their_report(
    lot, laboratory_figure, owner
):
    with_report = paper(lot)
    files.remove(attachment=laboratory_figure.report, removed_by=owner)
    without = paper(lot)

    assert with_report.index("House measurements") < with_report.index("Laboratory values")
    assert "HMF 8.4 mg/kg – Prairie Analytics Jul 20, 2026 Prairie 4471.pdf" in with_report
    assert "HMF" not in without
    assert "Laboratory values" not in without


def test_the_certificate_of_a_blend_names_its_extractions_and_says_worked_out(lot, owner):
    builders.lot_in(
        lot.balances.get(is_physical=True).place,
        moisture_percent="17.8",
        extracted_on=date(2026, 7, 20),
    )
    blend = Lot.objects.get(kind=Lot.Kind.BLEND)

    words = paper(blend)

    # Two lots of 500 kg: (18.8 + 17.8) ÷ 2 = 18.3 %; both of July 20.
    assert "Moisture 18.3 % by moisture, at best U.S. Grade A worked out: weighted mean –" in words
    assert "Extracted on Jul 20, 2026: 26-E01, 26-E02 Yard or area: not recorded" in words


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("size", [House.Paper.LETTER, House.Paper.A4])
def test_the_certificate_is_a_pdf_on_either_paper_in_either_language(
    lot, laboratory_figure, language, size
):
    house = House.current()
    house.paper = size
    house.save()

    with translation.override(language):
        assert papers.certificate(lot).startswith(b"%PDF-")


def test_the_certificate_opens_from_the_page_of_a_lot_of_honey(lot):
    jars = builders.packed_lot(builders.size(), builders.place("shelf", "shelf"), parent=lot)
    client = signed_in("stand")
    address = reverse("inventory:certificate", args=[lot.code])

    assert address in client.get(reverse("inventory:lot_detail", args=[lot.code])).text
    answer = client.get(address)
    packed_page = client.get(reverse("inventory:lot_detail", args=[jars.code])).text
    packed = client.get(reverse("inventory:certificate", args=[jars.code]))

    assert answer["Content-Disposition"] == 'inline; filename="lot-26-E01.pdf"'
    assert answer.content.startswith(b"%PDF-")
    assert "certificate.pdf" not in packed_page
    assert "Measurements" not in packed_page
    assert packed.status_code == 404


def test_the_page_of_a_lot_asks_the_same_questions_however_much_is_there(
    lot, laboratory_figure, owner
):
    client = signed_in()
    page = reverse("inventory:lot_detail", args=[lot.code])
    client.get(page)
    with CaptureQueriesContext(connection) as few:
        client.get(page)
    for number in range(4):
        measurements.record(
            lot=lot,
            what="ph",
            value=Decimal("3.9"),
            measured_on=EXTRACTED,
            recorded_by=owner,
            key=builders.new_key(),
        )
        files.attach(
            thing=lot,
            file=upload(f"{number}.txt", str(number).encode()),
            kind="other",
            added_by=owner,
            key=builders.new_key(),
        )

    with CaptureQueriesContext(connection) as many:
        answer = client.get(page)

    assert answer.text.count("3.9") >= 4
    assert len(many) == len(few)
