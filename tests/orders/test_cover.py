"""How long stock lasts by the season: worked by hand from sales of a year ago."""

from collections import Counter
from datetime import date, timedelta
from fractions import Fraction

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.imports.services import bringing_in
from apiary_sales.orders.queries import stock
from apiary_sales.orders.rules import cover
from apiary_sales.orders.services import orders
from tests import builders
from tests.imports.lists import uploaded

ON = date(2026, 11, 27)
YEAR = timedelta(days=364)
LONG_AGO = ON - timedelta(days=800)


def on_days(*each: tuple[int, int]) -> Counter:
    """Return so much on each day, by how many days after `ON` it is."""
    return Counter({ON + timedelta(days=days): much for days, much in each})


def season(sold, first_sale=LONG_AGO, least=20):
    return cover.season_of(sold, first_sale, on=ON, least=least)


def test_the_weeks_of_a_year_ago_are_walked_at_the_level_of_this_year():
    # A year ago 40 went in the last 13 weeks, this year 60: a level of one and a half.
    # The next two weeks of that year brought 14 and 70: now 21 and 105.
    sold = on_days((-364 - 50, 40), (-50, 60), (-363, 14), (-352, 70))

    found = season(sold)

    assert found.level == Fraction(3, 2)
    assert found.weeks[:3] == (14, 70, 0)
    # 21 in the first week; 15 more are one day of 105 in seven. What is left after two weeks lasts
    # until those of 50 days ago come round, in the 45th week.
    assert [found.days_of(free) for free in (0, 20, 21, 36, 126)] == [0, 6, 7, 8, 44 * 7]


@pytest.mark.parametrize(
    ("lately", "before", "level"), [(20, 20, Fraction(1)), (19, 20, None), (20, 19, None)]
)
def test_no_level_is_told_from_a_handful_of_sales(lately, before, level):
    found = season(on_days((-1, lately), (-364 - 1, before), (-300, 100)))

    assert found.level == level
    # Without a level the 100 count as they were, in the tenth week: 63 days, and 3 and a half.
    assert level is not None or found.days_of(50) == 63 + 3


def test_there_is_no_level_where_sales_began_within_those_weeks():
    sold = on_days((-1, 40), (-365, 40), (-300, 40))

    begins = ON - YEAR - timedelta(days=90)
    assert season(sold, first_sale=begins).level == 1
    assert season(sold, first_sale=begins + timedelta(days=1)).level is None


def test_the_season_is_unknown_without_a_year_or_with_few_sales():
    sold = on_days((-10, 20))

    assert season(sold, first_sale=ON - YEAR) is not None
    assert season(sold, first_sale=ON - YEAR + timedelta(days=1)) is None
    assert season(sold, first_sale=None) is None
    assert season(sold, least=21) is None


@pytest.mark.django_db
def test_the_pages_say_both_covers_and_count_what_was_brought_in(
    client, shop, owner, jar_line, jars, shelf
):
    builders.packed_lot(jars, shelf, 44)
    today = timezone.localdate()
    head = ["Date", "Product", "Pieces", "Weight", "Amount", "Channel", "Customer"]
    begun = uploaded(
        "past-sales",
        [
            head,
            *(
                [(today - timedelta(days=ago)).isoformat(), jars.name, "70", "", "600", "stand", ""]
                for ago in (700, 363)
            ),
        ],
    )
    bringing_in.bring_in(begun=begun, brought_in_by=owner)
    order = orders.take(
        customer=shop,
        channel="shop",
        lines=[jar_line(14)],
        created_by=owner,
        key=builders.new_key(),
    )
    orders.fulfil(order=order, filled_by=owner, key=builders.new_key())
    client.force_login(owner)

    page = client.get(reverse("orders:stock_detail", args=[jars.code])).text
    listed = client.get(reverse("orders:stock")).text
    first_page = client.get(reverse("web:today")).text

    # 30 are left, and 14 went in four weeks; but the coming week brought 70 a year ago, ten a day.
    product = stock.of(jars)
    assert (product.days_of_cover, product.season_days) == (60, 3)
    assert "60 days" in page
    assert "3 days if the coming weeks sell as they did a year ago" in page
    assert "by the season: 3 days" in listed
    assert "soon none" in listed
    told = " ".join(first_page.split())
    assert "Soon none, if the coming weeks sell as they did a year ago: One pound (3 days)." in told
