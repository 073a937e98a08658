"""Pictures: bars and lines stand where their figures say."""

from datetime import date
from decimal import Decimal

import pytest

from apiary_sales.reports import charts
from apiary_sales.reports.charts import Run, RunGroup, Series
from inventory.shared.days import months_between


def series(*values, name="Sales"):
    return Series(name, values, tuple(str(value) for value in values))


def test_the_longest_bar_leaves_room_for_its_words():
    drawn = charts.bars("Sales", ["a", "b", "c"], [series(200, 100, 0)])

    # 68 % of the width for the largest, half of that for half of it.
    assert [row.bars[0].width for row in drawn.rows] == ["68.00%", "34.00%", "0.00%"]
    assert [row.bars[0].x for row in drawn.rows] == ["0.00%"] * 3
    assert drawn.rows[0].bars[0].words_x == "68.00%"


def test_a_bar_below_nothing_goes_left_of_the_line():
    drawn = charts.bars("Overfill", ["a", "b"], [series(300, -100)])

    # From −100 to 300 is 68 %: 17 % left of nothing, 51 % right of it.
    assert drawn.zero == "17.00%"
    assert [(row.bars[0].x, row.bars[0].width) for row in drawn.rows] == [
        ("17.00%", "51.00%"),
        ("0.00%", "17.00%"),
    ]


def test_an_unknown_figure_has_no_bar_but_its_words():
    drawn = charts.bars("Margin", ["a", "b"], [Series("Margin", (5, None), ("5", "not known"))])

    assert drawn.rows[1].bars[0].width == "0.00%"
    assert drawn.rows[1].bars[0].words == "not known"


def test_the_picture_says_how_many_rows_it_leaves_out():
    labels = [str(number) for number in range(18)]

    drawn = charts.bars("Sales", labels, [series(*range(18))])

    assert len(drawn.rows) == 12
    assert drawn.left_out == "The chart shows the first 12 rows; 6 more are in the table."


def test_many_bars_take_a_third_of_their_height_on_paper():
    """Twelve rows of 20 + 2 × 20 + 8 stand four below each other there, drawn at 65 %."""
    drawn = charts.bars("Margin", ["?"] * 12, [series(*range(12)), series(*range(12))])

    assert [row.height for row in drawn.rows] == [68] * 12
    assert drawn.height == 816
    assert drawn.height_on_paper == pytest.approx(4 * 68 * 0.65 + charts.PAPER_FRAME)


def test_the_words_of_a_picture_have_every_figure_it_shows():
    drawn = charts.bars("Sales", ["Jars", "Drums"], [series(2, 1), series(1, 0, name="Margin")])

    assert drawn.description == "Sales: Jars 2, Drums 1; Margin: Jars 1, Drums 0"
    assert drawn.series == ((1, "Sales"), (2, "Margin"))


def test_the_key_of_lines_has_the_years_in_the_order_of_the_table():
    newest_first = [series(3, 4, name="2026"), series(1, 2, name="2025")]

    drawn = charts.lines("Sales", ["a", "b"], newest_first, is_first_strong=True)

    # The table has the newest in its last column; its line stays the first, and strong.
    assert drawn.series == ((2, "2025"), (1, "2026"))
    assert [line.is_strong for line in drawn.lines] == [True, False]


def test_a_line_breaks_where_nothing_is_known():
    drawn = charts.lines("Sales", ["a", "b", "c", "d"], [series(1, None, 2, 3)])

    [line] = drawn.lines
    assert [mark.x for mark in line.marks] == ["4.00%", "65.33%", "96.00%"]
    assert [(stroke.x1, stroke.x2) for stroke in line.strokes] == [("65.33%", "96.00%")]


def test_the_scale_goes_up_in_round_steps_from_nothing():
    drawn = charts.lines("Sales", ["a", "b"], [series(10, 870)])

    assert [tick.words for tick in drawn.up] == ["0.0", "250.0", "500.0", "750.0", "1000.0"]
    # The scale is 214 pixels high; 870 of 1,000 stands 186.2 above the bottom at 228.
    assert drawn.lines[0].marks[1].y == 41.8


def test_a_scale_need_not_begin_at_nothing():
    drawn = charts.lines(
        "Yield", ["a", "b"], [series(Decimal("92.5"), Decimal("97.0"))], is_from_zero=False
    )

    assert drawn.up[0].words == "92"
    assert drawn.up[-1].words == "98"


def test_one_figure_alone_stands_in_the_middle():
    drawn = charts.lines("Sales", ["a"], [series(5)], is_from_zero=False)

    assert drawn.lines[0].marks[0].x == "50.00%"
    assert drawn.across[0].anchor == "middle"


def test_without_figures_there_is_no_picture():
    assert charts.bars("Sales", [], [series()]) is None
    assert charts.bars("Sales", ["a"], [series(None)]) is None
    assert charts.lines("Sales", [], []) is None


def test_words_of_seven_digits_fit_beside_the_longest_bar():
    drawn = charts.bars("Sales", ["a"], [Series("Sales", (1,), ("$1,234,567.89",))])

    # Of 250 pixels 13 letters of 7.6 and 8 more are for the words: 57.28 % are left.
    assert drawn.rows[0].bars[0].width == "57.28%"


def test_a_long_name_of_a_row_takes_two_lines_and_no_more():
    drawn = charts.bars("Sales", ["Buckwheat honey in a quart jar " * 4], [series(1)])

    [row] = drawn.rows
    assert len(row.label) == 2
    assert all(len(line.words) <= 34 for line in row.label)
    assert row.label[1].words.endswith(" …")


def months(first: date, count: int) -> list[date]:
    return months_between(first, date(first.year + count // 12 + 1, 12, 1))[:count]


def test_words_under_months_say_the_year_where_it_changes():
    shown = months(date(2025, 10, 1), 5)

    drawn = charts.columns("Sales", ["?"] * 5, series(1, 2, 3, 4, 5), months=shown)

    wide = [tick.words for tick in drawn.across if not tick.is_narrow]
    assert wide == ["Oct 2025", "Nov", "Dec", "Jan 2026", "Feb"]


def test_words_under_months_leave_each_other_room_at_regular_steps():
    shown = months(date(2024, 9, 1), 27)

    drawn = charts.columns("Sales", ["?"] * 27, series(*range(27)), months=shown)

    # 640 pixels have room for each third month, 250 for each sixth: of the 32.5 letters beside "30"
    # a month has 1.2, so that "Jan 2025" ends 1.7 before "Jul" begins.
    wide = [tick.words for tick in drawn.across if not tick.is_narrow]
    narrow = [tick.words for tick in drawn.across if not tick.is_wide]
    assert wide == [
        "Oct 2024", "Jan 2025", "Apr", "Jul", "Oct", "Jan 2026", "Apr", "Jul", "Oct",
    ]  # fmt: skip
    assert narrow == ["Jan 2025", "Jul", "Jan 2026", "Jul"]


def test_the_column_of_a_month_that_is_not_over_is_hollow():
    sold = Series("Sales", (10, 4), ("$10", "$4"), hollow=frozenset({1}))

    drawn = charts.columns("Sales", ["Oct 2026", "Nov 2026 (so far)"], sold)

    assert [column.is_hollow for column in drawn.columns] == [False, True]
    assert drawn.has_hollow
    assert drawn.columns[1].words == "Nov 2026 (so far): $4"


def test_small_drawings_have_one_scale_one_time_and_a_mean_each():
    def run(day: int, value: int) -> Run:
        return Run(date(2026, 1, day), Decimal(value), f"{value} %")

    drawn = charts.multiples(
        "Yield",
        [
            RunGroup("Half pound", "2 runs", (run(1, 90), run(11, 94)), Decimal(92)),
            RunGroup("Quart", "1 run", (run(6, 98),), Decimal(98)),
        ],
        limit=100,
    )

    # From 90 to 100 in 74 pixels: 92 is 14.8 above the bottom at 84; day 6 is in the middle.
    half, quart = drawn.panels
    assert [mark.x for mark in half.marks] == ["4.00%", "96.00%"]
    assert [mark.x for mark in quart.marks] == ["50.00%"]
    assert (half.mean_y, quart.mean_y, drawn.limit_y) == (69.2, 24.8, 10)
