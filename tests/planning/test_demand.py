"""What past sales let the plan expect, in whole pieces."""

from apiary_sales.planning.rules.demand import History, Outlook, PastSales


def test_what_is_expected_is_the_average_less_or_more_its_spread():
    past = PastSales(1, "stand", (90, 110, 103))

    # Mean 101; deviations −11, 9, 2; variance 206 / 2 = 103; spread 10.1.
    assert past.average == 101
    assert past.spread == 10
    assert past.expected(Outlook.CAREFUL) == 91
    assert past.expected(Outlook.USUAL) == 101
    assert past.expected(Outlook.HOPEFUL) == 111
    assert (past.low, past.high) == (90, 110)


def test_half_a_piece_is_counted_up():
    assert PastSales(1, "stand", (1, 2)).average == 2


def test_one_year_has_no_spread_so_every_outlook_is_the_same():
    past = PastSales(1, "stand", (40,))

    assert past.spread is None
    assert {past.expected(outlook) for outlook in Outlook} == {40}


def test_a_careful_guess_is_never_less_than_zero():
    assert PastSales(1, "stand", (0, 100)).expected(Outlook.CAREFUL) == 0


def test_without_sales_nothing_is_expected():
    assert PastSales(1, "stand", ()).expected(Outlook.HOPEFUL) == 0
    assert History((), False, ()).of(1, "stand").pieces == ()
