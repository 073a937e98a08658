"""Layouts of label sheets: where label n is, and what does not fit on the paper."""

from decimal import Decimal

import pytest

from inventory.bottling.models import LabelSheet
from inventory.bottling.rules import label_sheets as rules
from inventory.bottling.services import label_sheets
from inventory.shared.errors import HouseError, Problems

pytestmark = pytest.mark.django_db

# 2 × 4 in, ten on Letter, with a margin of 4 mm and a gap of 5 mm between the columns.
TEN = {
    "name": "Ten",
    "paper": "letter",
    "label_width_mm": Decimal("101.6"),
    "label_height_mm": Decimal("50.8"),
    "columns": 2,
    "rows": 5,
    "margin_left_mm": Decimal("4"),
    "margin_top_mm": Decimal("12.7"),
    "gap_x_mm": Decimal("5"),
}


def refused(**changes) -> dict[str | None, str]:
    with pytest.raises(HouseError) as error:
        label_sheets.save(**(TEN | changes))
    return {problem.parameter: problem.message for problem in error.value.problems}


@pytest.mark.parametrize(
    ("number", "place"),
    [
        (1, (0, "4", "12.7")),
        (2, (0, "110.6", "12.7")),
        (3, (0, "4", "63.5")),
        (10, (0, "110.6", "215.9")),
        (11, (1, "4", "12.7")),
    ],
)
def test_label_n_is_counted_across_then_down_then_on_the_next_sheet(number, place):
    spot = rules.spot(label_sheets.save(**TEN), number)

    assert (spot.page, spot.left_mm, spot.top_mm) == (place[0], *map(Decimal, place[1:]))


def test_the_offsets_move_every_label():
    sheet = label_sheets.save(**TEN, offset_x_mm=Decimal("1.5"), offset_y_mm=Decimal("-0.7"))

    spot = rules.spot(sheet, 4)

    assert (spot.left_mm, spot.top_mm) == (Decimal("112.1"), Decimal("62.8"))


@pytest.mark.parametrize(
    ("count", "first", "told"),
    [
        (10, 1, [(10, 1)]),
        (11, 1, [(10, 1), (1, 1)]),
        (35, 1, [(10, 3), (5, 1)]),
        (1, 10, [(1, 1)]),
        (23, 9, [(2, 1), (10, 2), (1, 1)]),
    ],
)
def test_a_begun_sheet_then_full_ones_then_the_rest(count, first, told):
    sheet = label_sheets.save(**TEN)

    pages = rules.pages(sheet, count=count, first=first)

    assert [(len(run.spots), run.copies) for run in pages] == told
    assert rules.pages_needed(sheet, count=count, first=first) == sum(run.copies for run in pages)


def test_labels_that_do_not_fit_on_the_paper_are_refused_by_field():
    assert refused(columns=3) == {
        "columns": "With the margin and the gaps the labels need 318.8 mm; the paper is 215.9 mm "
        "wide. Check the figures against the pack."
    }
    assert refused(rows=6) == {
        "rows": "With the margin and the gaps the labels need 317.5 mm; the paper is 279.4 mm "
        "high. Check the figures against the pack."
    }
    assert list(refused(columns=1, label_width_mm=Decimal(220))) == ["label_width_mm"]
    assert list(refused(paper="A4", columns=3, rows=6)) == ["columns", "rows"]


def test_measures_that_can_not_be_are_refused_together():
    assert refused(columns=0, gap_y_mm=Decimal(-1), name="") == {
        "name": "Enter a name, for example “2 × 4 in, 10 on Letter”.",
        "columns": "Enter a figure from 1 to 30.",
        "gap_y_mm": "Enter a figure from 0 to 100.",
    }
    assert list(refused(corner_radius_mm=Decimal("25.5"))) == ["corner_radius_mm"]
    assert refused(paper="roll", columns=1) == {
        "rows": "A roll has one row of labels on a page. Enter 1."
    }
    assert refused(paper="legal") == {"paper": "Choose Letter, A4 or roll."}


def test_a_correction_that_moves_labels_off_the_paper_is_refused():
    assert refused(offset_x_mm=Decimal("-4.1")) == {
        "offset_x_mm": "This moves labels off the paper. Enter a smaller correction."
    }
    assert list(refused(offset_y_mm=Decimal("12.8"))) == ["offset_y_mm"]
    assert label_sheets.save(**TEN, offset_x_mm=Decimal("-4"), offset_y_mm=Decimal("12.6")).pk


def test_a_roll_has_pages_of_one_row():
    sheet = label_sheets.save(**(TEN | {"paper": "roll", "rows": 1}))

    # Twice the margin of 4, two labels and the gap between them; twice 12.7 and one label.
    assert rules.page_size(sheet) == (Decimal("216.2"), Decimal("76.2"))


def test_a_changed_layout_keeps_its_row_and_short_name():
    sheet = label_sheets.save(**TEN)

    label_sheets.save(**(TEN | {"name": "Ten more", "offset_x_mm": Decimal(1)}), sheet=sheet)

    kept = LabelSheet.objects.get(pk=sheet.pk)
    assert (kept.name, kept.code, kept.offset_x_mm) == ("Ten more", "ten", 1)
    assert refused(name="ten MORE") == {
        "name": "There is a layout called ten MORE already. Choose another name."
    }


def test_the_layouts_to_begin_with_fit_their_paper():
    problems = Problems()

    for sheet in LabelSheet.objects.all():
        rules.check(problems, sheet)

    assert LabelSheet.objects.count() == 10
    problems.raise_any()
