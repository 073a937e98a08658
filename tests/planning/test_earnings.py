"""When to stop bottling, what earns most, and what is scarce now, in figures worked out by hand.

Two products whose ranks by the pound and by the hour are opposite, with labour at $12.00 an hour
and drums at $2.00 a pound:

                 price   jar   minutes   work   left   in drums   earns   a pound   an hour
    half pound   5.00    0.60     3      0.60   3.80     1.00      2.80     5.60      56.00
    two pounds  11.00    1.00     2      0.40   9.60     4.00      5.60     2.80     168.00
"""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apiary_sales.imports.services import bringing_in
from apiary_sales.planning import earnings_sentences as sentences
from apiary_sales.planning.queries import earnings, tanks
from apiary_sales.planning.rules.coming_demand import ComingDemand, coming_demand
from apiary_sales.planning.rules.demand import Period
from apiary_sales.planning.rules.earnings import Measure
from apiary_sales.planning.rules.estimates import Estimate
from apiary_sales.planning.rules.scarce import Scarce
from apiary_sales.planning.rules.stopping import Verdict
from apiary_sales.pricing.models import FillingTime
from apiary_sales.pricing.services import prices
from apiary_sales.web.help import figures
from inventory.stock.models import Lot, Place, ProductionSettings
from inventory.stock.services import honey
from tests import builders
from tests.imports.lists import uploaded
from tests.inventory import bottling_room
from tests.planning.test_page import bid, priced, sold, words_of

SEPTEMBER = date(2026, 9, 1)
A_HUNDRED_POUNDS, THIRTY_POUNDS = 45_360, 13_608


def filled(name: str, pounds: str, *, jars: int, jar_cents: int, minutes: str, cents: int):
    """A product with its jars in stock, its minutes, and its price at the stand."""
    product = builders.product(name, pounds, brimful_ml=Decimal(800))
    jar = builders.part(f"Jar for {name}")
    builders.made_of(product, jar)
    shelf, _made = Place.objects.get_or_create(
        code="shelf", defaults={"kind": Place.Kind.SHELF, "name": "Shelf"}
    )
    bottling_room.receive(jar, shelf, jars, jars * jar_cents, date(2026, 3, 1))
    FillingTime.objects.create(product=product, minutes_each=Decimal(minutes))
    priced(product, "stand", cents)
    return product


@pytest.fixture
def labour(db):
    ProductionSettings(labour_cents_per_hour=1_200).save()
    bid("2.0000")


@pytest.fixture
def small(labour):
    """Half a pound; 40 were sold in September of last year."""
    product = filled("Small", "0.5", jars=100, jar_cents=60, minutes="3", cents=500)
    sold(product, 40, date(2025, 9, 3))
    return product


@pytest.fixture
def large(labour):
    """Two pounds; 20 were sold in September of last year."""
    product = filled("Large", "2", jars=100, jar_cents=100, minutes="2", cents=1100)
    sold(product, 20, date(2025, 9, 3))
    return product


@pytest.fixture
def tank(db):
    tank = builders.place("tank-1", name="Tank 1", capacity_litres=Decimal(100))
    builders.lot_in(tank, A_HUNDRED_POUNDS)
    return tank


def answer(hours="40", **figures):
    return earnings.read(SEPTEMBER, months=1).answer(hours=Decimal(hours), **figures)


def brought_in(day: str, name: str, pieces: int) -> None:
    """Bring in one sale of the stand from a list."""
    head = ["Date", "Product", "Pieces", "Weight", "Amount", "Channel", "Customer"]
    row = [day, name, str(pieces), "", "1", "stand", ""]
    bringing_in.bring_in(begun=uploaded("past-sales", [head, row]), brought_in_by=builders.person())


def row_of(found, product):
    [row] = [
        row
        for row in found.rows
        if row.earning.offer.product == product and row.earning.offer.channel == "stand"
    ]
    return row


def fills(found, *products) -> list[int]:
    return [row_of(found, product).fills for product in products]


def test_the_rank_by_the_pound_is_the_opposite_of_that_by_the_hour(tank, small, large):
    found = answer()

    low, high = row_of(found, small), row_of(found, large)
    assert [low.earning.by(each) for each in ("piece", "pound", "hour")] == [
        Decimal("2.8000"),
        Decimal("5.6000"),
        Decimal("56.0000"),
    ]
    assert [high.earning.by(each) for each in ("piece", "pound", "hour")] == [
        Decimal("5.6000"),
        Decimal("2.8000"),
        Decimal("168.0000"),
    ]
    assert (low.ranked.ranks[Measure.POUND], high.ranked.ranks[Measure.POUND]) == (1, 2)
    assert (low.ranked.ranks[Measure.HOUR], high.ranked.ranks[Measure.HOUR]) == (2, 1)


def test_with_one_hour_the_hours_are_scarce_and_fill_what_earns_most_an_hour(tank, small, large):
    found = answer(hours="1")

    # 20 large take 40 minutes; of the 20 left, 6 small take 18.
    assert fills(found, large, small) == [20, 6]
    assert found.scarcest == Scarce.HOURS
    assert found.measure == Measure.HOUR
    # All takes 40 × 3 + 20 × 2 = 160 minutes; 16 more at $56.00 an hour are $14.93.
    assert found.scarcity.tenth[Scarce.HOURS] == 1493
    assert sentences.scarce_now(found) == (
        "Hours of work are scarce now: filling all that is likely to sell until Sep 30, 2026 "
        "takes 2.7 h, and 1.0 h are entered below. One more hour earns about $56.00 after its wage."
    )
    assert found.sorted_by(found.measure)[0].earning.offer.product == large
    assert sentences.said(found, row_of(found, small)).sentence == (
        "Fill 6 of the 40 more that could be sold until Sep 30, 2026, then stop: there is not "
        "enough for more of it (hours of work)."
    )


def test_one_more_hour_earns_no_more_than_all_that_is_still_to_be_filled(tank, large):
    found = answer(hours="0")

    # 20 large take 40 minutes and earn 20 × $5.60; 60 minutes at $168.00 an hour would be more.
    assert found.scarcity.hour == 11_200


def test_with_thirty_pounds_honey_is_scarce_and_fills_what_earns_most_a_pound(small, large):
    builders.lot_in(builders.place("tank-1"), THIRTY_POUNDS)

    found = answer()

    # 40 small take 20 pounds; the 10 left fill 5 large.
    assert fills(found, small, large) == [40, 5]
    assert (found.scarcest, found.measure) == (Scarce.HONEY, Measure.POUND)
    # All takes 60 pounds; 6 more earn $2.80 each above the drum.
    assert found.scarcity.tenth[Scarce.HONEY] == 1680
    assert sentences.scarce_now(found) == (
        "Honey is scarce now: all that is likely to sell until Sep 30, 2026 takes 60.0 lb, and "
        "30.0 lb is free. One more pound earns about $2.80 more than in the drum."
    )


def test_where_honey_is_scarce_what_is_expected_is_said_not_to_count(small, large):
    builders.lot_in(builders.place("tank-1", capacity_litres=Decimal(500)), THIRTY_POUNDS)

    found = answer(expected_grams=A_HUNDRED_POUNDS)

    assert found.scarcest == Scarce.HONEY
    assert sentences.scarce_now(found).endswith(
        "more than in the drum. The 100 lb expected to come in meanwhile are not counted."
    )


def test_with_five_jars_of_each_parts_are_scarce(tank, labour):
    small = filled("Small", "0.5", jars=5, jar_cents=60, minutes="3", cents=500)
    large = filled("Large", "2", jars=5, jar_cents=100, minutes="2", cents=1100)
    sold(small, 40, date(2025, 9, 3))
    sold(large, 20, date(2025, 9, 3))

    found = answer()

    assert fills(found, small, large) == [5, 5]
    # Four more small jars and two large ones: 4 × 2.80 + 2 × 5.60.
    assert found.scarcity.tenth[Scarce.PARTS] == 2240
    assert found.scarcest == Scarce.PARTS
    assert sentences.scarce_now(found) == (
        "Parts are scarce now for what is likely to sell until Sep 30, 2026. "
        "Jar for Large: 20 needed, 5 in stock; Jar for Small: 40 needed, 5 in stock. "
        "Once the missing parts are bought, buyers are scarce."
    )
    assert fills(answer(are_parts_bought=True), small, large) == [40, 20]


def test_where_all_can_be_filled_buyers_are_scarce(tank, small, large):
    found = answer()

    # Four more small and two large buyers: 4 × 2.80 + 2 × 5.60.
    assert found.scarcity.tenth == {
        Scarce.HOURS: 0,
        Scarce.HONEY: 0,
        Scarce.PARTS: 0,
        Scarce.BUYERS: 2240,
    }
    assert sentences.scarce_now(found) == (
        "Buyers are scarce now: honey, hours and parts are enough for all that is likely to sell "
        "until Sep 30, 2026. Of what is still to be filled, one more piece sold earns most as "
        "Large, stand: about $5.60."
    )
    assert sentences.said(found, row_of(found, large)).sentence == (
        "Fill up to 20 more until Sep 30, 2026, then stop: more is not likely to sell before then."
    )


def test_room_in_tanks_comes_first_where_the_honey_expected_does_not_go_in(tank, small):
    # 100 litres hold about 142 kg of honey, and 45.36 kg are in there.
    none_short = answer(expected_grams=96_000)
    short = answer(expected_grams=97_500)

    assert none_short.tanks.short_grams == 0
    assert none_short.scarcest == Scarce.BUYERS
    assert short.scarcest == Scarce.TANKS
    assert short.measure == Measure.TANK_WEEK
    assert answer().tanks.short_grams is None
    assert sentences.scarce_now(short).startswith(
        "Room in tanks is scarce now: 215 lb is expected until Sep 30, 2026, and the tanks and "
        "empty drums have room for 21"
    )


def test_honey_too_moist_or_on_hold_is_not_counted_and_is_named(small):
    builders.lot_in(builders.place("tank-1", name="Wet tank"), moisture_percent="19.2")
    held = builders.lot_in(builders.place("tank-2", name="Held tank"))
    Lot.objects.filter(pk=held.pk).update(is_on_hold=True)

    found = earnings.read(SEPTEMBER, months=1)

    assert row_of(found.answer(hours=Decimal(40)), small).verdict == Verdict.NO_DRUM_PRICE
    assert "Not used, because it is on hold: Held tank." in sentences.notices(found)
    assert any(
        "above your limit of moisture: Wet tank" in told for told in sentences.notices(found)
    )


@pytest.mark.parametrize(
    ("drum_price", "verdict"),
    [("7.59", Verdict.FILL), ("7.60", Verdict.DRUM_PAYS), ("7.61", Verdict.DRUM_PAYS)],
)
def test_from_the_drum_price_that_brings_as_much_a_jar_is_not_filled(
    tank, small, drum_price, verdict
):
    # What is left of a jar, $3.80, is of half a pound.
    row = row_of(answer(drum_price=Decimal(drum_price)), small)

    assert row.earning.drum_price_to_stop == Decimal("7.60")
    assert row.verdict == verdict


def test_a_jar_that_only_beats_the_cheaper_honey_is_filled_from_that_alone(tank, small):
    # $3.80 left of half a pound: more than $2.00 a pound, and less than $8.00.
    cheap = builders.place("tank-2")
    builders.lot_in(cheap, 2_268, colour_mm="60")
    prices.set_bulk(
        price_per_pound=Decimal("8.0000"), valid_from=date(2020, 1, 1), colour_class="White"
    )

    found = answer()

    # 2,268 g of the cheaper honey are ten halves of a pound.
    row = row_of(found, small)
    assert row.earning.by(Measure.POUND) == Decimal("-0.4000")
    assert (row.verdict, row.fills) == (Verdict.FILL_SOME, 10)
    assert "(the other honey brings more in drums)" in sentences.said(found, row).sentence


def test_what_is_ready_is_taken_off_what_is_likely_to_sell(tank, small):
    shelf = Place.objects.get(code="shelf")
    builders.packed_lot(small, shelf, 15)
    some = row_of(answer(), small)
    builders.packed_lot(small, shelf, 25)
    enough = row_of(answer(), small)

    assert (some.ready, some.still, some.fills) == (15, 25, 25)
    assert (enough.still, enough.verdict) == (0, Verdict.ENOUGH_READY)


def test_what_is_not_entered_makes_the_answer_unknown_and_never_zero(tank, small, large):
    FillingTime.objects.filter(product=small).delete()

    found = answer()

    row = row_of(found, small)
    assert row.verdict == Verdict.NOT_COSTED
    assert sentences.said(found, row).sentence == "Not entered: minutes of work."
    assert [row.earning.by(each) for each in Measure] == [None] * 4
    assert set(row.ranked.ranks.values()) == {None}
    assert sentences.left_out(found) == (
        "1 of 2 products and channels is not counted in this, because something about it is not "
        "known"
    )


def test_without_a_wage_minutes_that_are_not_entered_leave_the_answer_unknown(tank, small):
    ProductionSettings(labour_cents_per_hour=0).save()
    FillingTime.objects.all().delete()

    found = answer()

    row = row_of(found, small)
    # $4.40 is left, the drum brings $1.00.
    assert row.earning.by(Measure.PIECE) == Decimal("3.4000")
    assert row.earning.by(Measure.HOUR) is None
    assert sentences.said(found, row).sentence == "Not entered: minutes of work."
    assert not found.scarcity.needs.pieces


def test_a_product_that_was_never_sold_has_no_known_demand(tank, small, labour):
    new = filled("New", "1", jars=10, jar_cents=80, minutes="2", cents=900)

    row = row_of(answer(), new)

    assert row.demand.pieces is None
    assert row.verdict == Verdict.NO_DEMAND_KNOWN


def test_honey_without_a_drum_price_is_not_taken_for_worthless(tank, db):
    product = filled("Small", "0.5", jars=10, jar_cents=60, minutes="3", cents=500)
    sold(product, 40, date(2025, 9, 3))

    assert row_of(answer(), product).verdict == Verdict.NO_DRUM_PRICE
    # Who says that nobody buys drums gets an answer.
    assert row_of(answer(drum_price=Decimal(0)), product).verdict == Verdict.FILL_SOME


def test_months_begun_count_by_their_days():
    period = Period(date(2026, 11, 27), date(2027, 2, 26))
    bring = {11: (30, 0), 12: (100, 3), 1: (10, 4), 2: (28, 0)}

    found = coming_demand(
        period, lambda month: Estimate(*(Decimal(each) for each in bring[month]), years=3), []
    )

    # 30 × 4/30 + 100 + 10 + 28 × 26/28. Counts that come by chance differ by the root of their
    # mean (Poisson), so the years differ by more in January alone: the root of 4 + 100 + 4² + 26.
    assert (found.pieces, found.spread, found.years) == (140, 12, 3)


def test_where_a_month_is_not_known_the_last_months_are_averaged():
    period = Period(date(2026, 11, 1), date(2026, 12, 15))

    def only_december(month: int) -> Estimate:
        return Estimate.of([50] if month == 12 else [])

    # A month and 15/31 of one, at 20 a month: 29.7.
    assert coming_demand(period, only_december, [30, 10]).pieces == 30
    assert coming_demand(period, only_december, [30, 10]).recent_months == 2
    assert coming_demand(period, only_december, []).pieces is None


@pytest.mark.parametrize(
    ("lately", "told"),
    [
        (34, "In all channels it sells 36 % more this year than a year ago; that is not reckoned."),
        (30, "In all channels it sells 20 % more this year than a year ago; that is not reckoned."),
        (29, ""),
        (21, ""),
        (20, "In all channels it sells 20 % less this year than a year ago; that is not reckoned."),
        # Fewer than 20 are chance, so that the level is not known.
        (19, ""),
    ],
)
def test_that_this_year_sells_more_or_less_is_said_since_the_average_leaves_it_out(
    tank, labour, lately, told
):
    """25 sold in the thirteen weeks up to September 2 of last year, and 40 on the third."""
    small = filled("Small", "0.5", jars=100, jar_cents=60, minutes="3", cents=500)
    for day, pieces in (("2025-06-02", 1), ("2025-07-10", 25), ("2025-09-03", 40)):
        brought_in(day, "Small", pieces)
    brought_in("2026-07-10", "Small", lately)

    found = answer()

    row = row_of(found, small)
    assert row.demand.pieces == 40
    assert sentences.said(found, row).level == told
    assert bool(sentences.levels(found)) == bool(told)


def test_what_sells_more_is_named_on_the_page_also_where_its_row_is_folded_away(
    client, owner, tank, labour
):
    small = filled("Small", "0.5", jars=100, jar_cents=60, minutes="3", cents=500)
    today = builders.today()
    for days_ago, pieces in ((460, 1), (400, 25), (30, 34)):
        brought_in((today - timedelta(days=days_ago)).isoformat(), "Small", pieces)
    builders.packed_lot(small, Place.objects.get(code="shelf"), 500)
    client.force_login(owner)

    page = client.get(reverse("planning:earnings"), {"months": "1"})

    assert page.context["rows"] is None
    assert (
        "Not reckoned is that this year sells more or less than a year ago: Small 36 % more."
        in words_of(page)
    )


def test_what_the_last_months_were_averaged_for_has_this_year_in_it():
    told = ComingDemand(40, years=1, level=Fraction(3, 2))

    assert told.level_left_out_percent == 50
    assert replace(told, recent_months=12).level_left_out_percent is None
    assert replace(told, pieces=None).level_left_out_percent is None


def test_honey_leaves_a_tank_in_the_order_in_which_it_came(owner):
    room = bottling_room.set_up(10_000, received_on=date(2026, 7, 20))
    honey.receive(
        place=room.tank,
        grams=20_000,
        season=2026,
        floral_source="Clover",
        extracted_on=date(2026, 8, 3),
        moisture_percent=Decimal("17.4"),
        recorded_by=owner,
        key=builders.new_key(),
    )
    run = bottling_room.plan(room, 32, planned_for=date(2026, 8, 17))
    bottling_room.record(
        run, pieces_filled=32, drawn_grams=15_000, loss_grams=0, bottled_on=date(2026, 8, 17)
    )

    weeks = tanks.weeks_in_tank(run.recorded_at.date() if run.recorded_at else date.today())

    # 10 kg for 28 days and 5 kg for 14: 350 kg-days of 15 kg, in weeks.
    assert round(weeks[room.product.pk], 4) == Decimal("3.3333")


def test_honey_expected_is_that_of_the_years_that_are_known(db):
    tank = builders.place("tank-1")
    builders.lot_in(tank, 4_000, season=2024, extracted_on=date(2024, 9, 10))
    september = Period(date(2026, 9, 1), date(2026, 9, 30))

    # A year that began with the first lot, in the midst of these days, tells nothing.
    assert tanks.expected_grams(Period(date(2025, 9, 1), date(2025, 9, 30))) is None
    assert tanks.expected_grams(september) == 0
    builders.lot_in(tank, 6_000, season=2025, extracted_on=date(2025, 9, 30))
    assert tanks.expected_grams(september) == 6_000


def test_the_page_says_what_is_scarce_and_is_sorted_by_it(client, owner, tank, small, large):
    client.force_login(owner)

    page = client.get(reverse("planning:earnings"), {"hours": "0.5", "by": "tank_week"})

    assert page.status_code == 200
    assert page.context["measure"] == Measure.TANK_WEEK
    assert "not from a tank" in words_of(page)
    wrong = client.get(reverse("planning:earnings"), {"hours": "many"})
    assert wrong.status_code == 200
    assert "stopping" not in wrong.context


def test_what_is_enough_or_better_in_drums_is_folded_behind_one_line(client, owner, tank, labour):
    for name in ("First", "Second"):
        ready = filled(name, "1", jars=100, jar_cents=60, minutes="3", cents=900)
        sold(ready, 4, date(2025, 9, 3))
        builders.packed_lot(ready, Place.objects.get(code="shelf"), 30)
    cheap = filled("Cheap", "1", jars=100, jar_cents=60, minutes="3", cents=200)
    sold(cheap, 4, date(2025, 9, 3))
    client.force_login(owner)

    page = client.get(reverse("planning:earnings"), {"months": "1"})

    assert page.context["rows"] is None
    assert [(said, len(rows)) for said, rows in page.context["stops"]] == [
        ("Stop: of 2 products and channels what is ready is likely to be enough", 2),
        ("Stop: of 1 product and channel the drum brings as much or more", 1),
    ]
    assert "There is nothing to fill now." in words_of(page)
    assert (
        "Nothing is scarce now: the drum brings as much or more, or what is ready is enough until "
    ) in words_of(page)


def test_the_example_of_help_is_worked_out_from_what_it_shows(db):
    """461 g are 1.016331 lb; 7.63 less 2.08 for each of them, in 0.75 minutes and six weeks."""
    example = figures.of("earnings", may_see=False)

    assert example.by_measure == {
        "piece": Decimal("5.5160"),
        "pound": Decimal("5.4274"),
        "hour": Decimal("441.2825"),
        "tank_week": Decimal("904.5661"),
    }


def test_the_answer_takes_the_same_queries_whatever_the_number_of_products(tank, small):
    with CaptureQueriesContext(connection) as one:
        answer()
    filled("Large", "2", jars=10, jar_cents=100, minutes="2", cents=1100)
    filled("New", "1", jars=10, jar_cents=80, minutes="2", cents=900)
    with CaptureQueriesContext(connection) as three:
        answer()

    assert len(three) == len(one)
