"""Pictures: bars and lines stand where their figures say."""

from decimal import Decimal

from apiary_sales.reports import charts
from apiary_sales.reports.charts import Series


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

    assert len(drawn.rows) == 15
    assert drawn.left_out == "The chart shows the first 15 rows; 3 more are in the table."


def test_the_words_of_a_picture_have_every_figure_it_shows():
    drawn = charts.bars("Sales", ["Jars", "Drums"], [series(2, 1), series(1, 0, name="Margin")])

    assert drawn.description == "Sales: Jars 2, Drums 1; Margin: Jars 1, Drums 0"
    assert drawn.series == ((1, "Sales"), (2, "Margin"))


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


def test_words_under_a_line_leave_each_other_room():
    labels = [f"Month {number}" for number in range(24)]

    drawn = charts.lines("Sales", labels, [series(*range(24))])

    # 36 letters fit on a phone: three of "Month 12" and their gaps.
    assert [tick.words for tick in drawn.across] == ["Month 0", "Month 8", "Month 16"]
