"""What a tried price is likely to bring: worked by hand, and against what must hold.

The demand of constant elasticity, Q2 = Q1 × (P2 ÷ P1)^e, is common practice in textbooks of
microeconomics (from memory).
"""

import re
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from html import unescape

import pytest
from django.urls import reverse

from apiary_sales.imports.services import bringing_in
from apiary_sales.planning.rules import price_try
from apiary_sales.planning.rules.price_try import PieceCosts, Reaction, TriedLine, TriedPrices
from apiary_sales.pricing.models import ChannelCost, FillingTime
from apiary_sales.pricing.services import prices
from inventory.bottling.models import Product
from inventory.bottling.services import parts
from inventory.stock.models import Lot, ProductionSettings
from tests import builders
from tests.imports.lists import uploaded

PAGE = "/reports/plan/prices/"
HALF, ONE, TWO = Decimal("-0.5"), Decimal(-1), Decimal(-2)


def line(
    pieces: int = 1000,
    now: str = "10",
    tried: str = "12.50",
    *,
    cost: str | None = "4",
    grams: int = 500,
    ready: int = 0,
    kept: str = "1",
) -> TriedLine:
    """1000 jars at 10.00 that cost 4.00 beside their honey, tried at 12.50."""
    return TriedLine(
        product=Product(name="One pound"),
        channel="stand",
        channel_label="stand",
        pieces=pieces,
        prices=TriedPrices(Fraction(now), Fraction(tried)),
        costs=PieceCosts(
            kept_share=Fraction(kept),
            selling=Fraction(0),
            parts=None if cost is None else Fraction(cost),
            labour=Fraction(0),
        ),
        missing=() if cost else ("Jar",),
        grams_each=Fraction(grams),
        ready=ready,
    )


def tried(*lines: TriedLine, grams: int = 10**9, drums: Fraction | None = Fraction(0)):
    return price_try.try_prices(
        lines, Reaction(HALF, ONE, TWO), supply_grams=grams, drum_net_per_gram=drums
    )


def even(*lines: TriedLine, drums: Fraction | None = None, grams: int = 10**9):
    return price_try.break_even(lines, drums, supply_grams=grams)


@pytest.mark.parametrize(
    ("elasticity", "pieces"),
    # 1.25 to the power: 1, 1 ÷ 1.118034, 1 ÷ 1.25, 1 ÷ 1.5625.
    [("0", 1000), ("-0.5", 894), ("-1", 800), ("-2", 640)],
)
def test_sales_follow_a_constant_elasticity(elasticity, pieces):
    assert price_try.demand(1000, Decimal("1.25"), Decimal(elasticity)) == pieces


@pytest.mark.parametrize("elasticity", ["-0.4", "-1", "-1.7", "-3"])
@pytest.mark.parametrize("percent", [-1, 1])
def test_for_a_small_change_it_is_about_e_percent_for_each_percent(elasticity, percent):
    fewer = price_try.demand(10**6, 1 + Decimal(percent) / 100, Decimal(elasticity))

    # The next term of the series is e × (e − 1) ÷ 2 × 0.0001, at most 600 in a million.
    assert abs(fewer - (10**6 + 10**4 * Decimal(elasticity) * percent)) <= 620


def test_what_is_left_is_takings_less_costs_and_what_the_honey_brings_in_drums():
    # 500 g in drums bring 1.00.
    trial = tried(line(), drums=Fraction(1, 500))

    # 1000 × 6.00; 894 × 8.50 and 106.00; 800 × 8.50 and 200.00; 640 × 8.50 and 360.00.
    assert [each.takings_cents for each in trial.all] == [1_000_000, 1_117_500, 1_000_000, 800_000]
    assert [each.margin_cents for each in trial.all] == [600_000, 759_900, 680_000, 544_000]
    assert [each.drum_cents for each in trial.all] == [0, 10_600, 20_000, 36_000]
    assert [trial.more_cents(each) for each in trial.tried] == [170_500, 100_000, -20_000]


def test_the_break_even_earns_the_same():
    # A jar leaves 6.00 − 1.00 and then 8.50 − 1.00 more than its honey in drums: two thirds of
    # the pieces earn the same. 1.25^e = 2 ÷ 3 is e = −0.405465 ÷ 0.223144.
    found = even(line(), drums=Fraction(1, 500))

    assert found.share == Fraction(1, 3)
    assert found.percent == Decimal("33.3")
    assert round(found.elasticity, 4) == Decimal("-1.8171")
    # Without drums 6.00 ÷ 8.50 of the pieces do.
    assert even(line()).share == Fraction(5, 17)


def test_a_lower_price_needs_more_sales_and_below_cost_none_are_enough():
    # 10.00 → 8.00: a jar leaves 6.00, then 4.00, so half as many again.
    assert even(line(tried="8")).percent == Decimal("-50.0")
    hopeless = even(line(tried="4"))
    assert (hopeless.share, hopeless.is_hopeless) == (None, True)


def test_where_honey_is_short_the_break_even_is_beside_what_could_be_filled():
    # 600 of 1,000 are filled now, for 6.00 each: 3,600.00 are 423.5 at 8.50. At −2 640 are sold.
    short = tried(line(), grams=300_000)

    assert short.break_even.share == 1 - Fraction(3600, 8500)
    assert short.more_cents(short.most) > 0
    # A lower price needs more jars than there is honey for: 1,500 × 500 g.
    assert even(line(tried="8"), grams=749_999).is_beyond_honey
    assert not even(line(tried="8"), grams=750_000).is_beyond_honey


def test_what_has_no_cost_is_in_takings_and_in_no_margin():
    trial = tried(line(), line(pieces=10, cost=None))

    assert trial.now.takings_cents == 1_010_000
    assert (trial.now.unknown_cents, trial.now.unknown_pieces) == (10_000, 10)
    assert trial.now.margin_cents == 600_000
    assert trial.break_even.share == Fraction(5, 17)


def test_no_more_is_sold_than_can_be_filled_ready_jars_first():
    # 100 are ready; 250,000 g fill 500 more of the 1,000 that were sold, and of 894, 800 and 640.
    short = tried(line(ready=100), grams=250_000)

    assert [each.pieces for each in short.all] == [600, 600, 600, 600]
    assert [each.short_pieces for each in short.all] == [400, 294, 200, 40]
    # Where buyers would take more than there is, a higher price loses no sale.
    assert all(short.more_cents(each) == 150_000 for each in short.tried)


def test_what_is_short_is_short_of_each_product_in_the_same_proportion():
    # 300 kg for 1,000 × 500 g and 200 × 500 g: half of each.
    lines = [line(), line(pieces=200)]

    assert price_try.supplied(lines, [1000, 200], 300_000) == [500, 100]
    assert price_try.supplied(lines, [1000, 200], 600_000) == [1000, 200]
    assert price_try.supplied(lines, [1000, 200], 599_999) == [999, 199]
    # 200 are ready of the first: 400 kg of honey for 800 more of it or of the other, 2 ÷ 3 of all.
    ready = [line(ready=200), line(pieces=200)]
    assert price_try.supplied(ready, [1000, 200], 300_000) == [666, 133]


# ---- the page


@pytest.fixture
def office(client, db):
    client.force_login(builders.person("owner"))
    return client


def sold_before(*rows: tuple[str, int, int]) -> None:
    """Bring in sales of the stand: the product, its pieces, and how many days ago."""
    head = ["Date", "Product", "Pieces", "Weight", "Amount", "Channel", "Customer"]
    table = [
        [
            (builders.today() - timedelta(days=ago)).isoformat(),
            name,
            str(pieces),
            "",
            "1",
            "stand",
            "",
        ]
        for name, pieces, ago in rows
    ]
    bringing_in.bring_in(
        begun=uploaded("past-sales", [head, *table]), brought_in_by=builders.person()
    )


@pytest.fixture
def pound(db):
    """A pound at 10.00, whose jar costs 1.00, with 3 minutes of work at 20.00 an hour."""
    made = builders.product("One pound", code="pound")
    jar = builders.part()
    builders.made_of(made, jar)
    parts.receive(
        part=jar,
        place=builders.place("store", "shelf"),
        pieces=1000,
        cost_cents=100_000,
        supplier="Glass House",
        received_on=date(2026, 1, 1),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    FillingTime.objects.create(product=made, minutes_each=Decimal(3))
    ProductionSettings.objects.update_or_create(pk=1, defaults={"labour_cents_per_hour": 2000})
    ChannelCost.objects.update_or_create(
        channel="stand", defaults={"card_percent": Decimal(2), "piece_cents": 10}
    )
    prices.set_piece(product=made, tier="stand", piece_cents=1000, valid_from=date(2020, 1, 1))
    return made


def asked(**changes: str) -> dict[str, str]:
    return {"percent": "25", "least": "-0.5", "likely": "-1", "most": "-2"} | changes


def words_of(page) -> str:
    return unescape(" ".join(re.sub(r"<[^>]*>", " ", page.text).split()))


def test_the_page_answers_in_words_and_whole_cents(office, pound):
    builders.lot_in(builders.place("t1"), 1_000_000)
    sold_before(("One pound", 1000, 100), ("One pound", 500, 500))

    page = office.get(PAGE, asked(drum_price="2"))

    # A piece leaves 10.00 × 98 % − 0.10 − 1.00 − 1.00 = 7.70, then 12.25 − 2.10 = 10.15. Its
    # pound brings 2.00 in drums. 1000 × 7.70; 894 × 10.15 + 212.00; 640 × 10.15 + 720.00.
    trial = page.context["found"].trial
    assert [each.margin_cents for each in trial.all] == [770_000, 907_410, 812_000, 649_600]
    assert [each.drum_cents for each in trial.all] == [0, 21_200, 40_000, 72_000]
    text = words_of(page)
    assert (
        "Most likely you would earn $820.00 more than at today's prices; between $484.00 less and "
        "$1,586.10 more, depending on how much buyers react." in text
    )
    assert (
        "You would sell 800 pieces instead of 1,000: 894 if buyers react least, 640 if they react "
        "most." in text
    )
    # 5.70 ÷ 8.15 of the pieces earn the same.
    assert "If more than 30.1 % fewer are sold, you earn less than at today's prices." in text
    assert "most likely 200 lb, which bring $400.00" in text
    assert "the jars ready, is enough." in text


def test_a_missing_cost_and_drum_price_are_said_and_not_taken_for_zero(office, pound):
    half = builders.product("Half pound", "0.5", code="half")
    prices.set_piece(product=half, tier="stand", piece_cents=500, valid_from=date(2020, 1, 1))
    builders.product("Two pounds", "2", code="two")
    builders.lot_in(builders.place("t1"), 1_000_000)
    sold_before(("One pound", 1000, 100), ("Half pound", 100, 100), ("Two pounds", 7, 90))

    text = words_of(office.get(PAGE, asked()))

    # 500.00 of 10,500.00.
    assert (
        "The margin leaves out 100 pieces with $500.00 of today's takings (5 %), because a cost is "
        "not entered: Half pound, stand: Jar, lid and label, Labour." in text
    )
    assert "Without a price in today's lists, and left out: 7 pieces." in text
    assert (
        "There is no drum price, so it is not known what the 200 lb bring that go into drums "
        "instead of jars; they are in no sum here." in text
    )
    assert "This counts the honey that is not sold in jars with nothing." in text
    assert "so the time before it is not in the pieces." in text


def test_honey_that_is_short_held_or_too_moist_is_said(office, pound):
    builders.lot_in(builders.place("t1"), 100_000)
    held = builders.lot_in(builders.place("t2"), 50_000)
    Lot.objects.filter(pk=held.pk).update(is_on_hold=True)
    builders.lot_in(builders.place("t3"), 60_000, moisture_percent="21")
    sold_before(("One pound", 1000, 100))

    text = words_of(office.get(PAGE, asked()))
    with_harvest = words_of(office.get(PAGE, asked(coming_grams="360 kg")))

    # 100 kg fill 220 pounds of 453.6 g.
    assert "(220 lb, after what others take) is not enough even for what was sold" in text
    assert "780 pieces are short at today's prices." in text
    assert "Honey on hold is not counted on: 110 lb." in text
    assert "Honey above your limit of moisture, or not measured, is not counted on: 132 lb." in text
    assert "1,014 lb and the jars ready, is enough." in with_harvest


def test_a_break_even_where_honey_is_short_is_told_of_what_buyers_took(office, pound):
    builders.lot_in(builders.place("t1"), 100_000)
    sold_before(("One pound", 1000, 100))

    text = words_of(office.get(PAGE, asked(drum_price="0", coming_grams="0 kg")))

    # 220 pieces leave 7.70 each, so 166.9 at 10.15 earn as much: 16.7 % of 1,000.
    assert (
        "If buyers take more than 83.3 % fewer than the 1,000 of that time, you earn less than at "
        "today's prices." in text
    )


def test_honey_that_still_comes_is_that_of_earlier_years_where_none_is_typed(office, pound):
    today = builders.today()
    tank = builders.place("t1")
    builders.lot_in(tank, 100_000, season=today.year - 2, extracted_on=today - timedelta(days=800))
    builders.lot_in(tank, 500_000, season=today.year - 1, extracted_on=today - timedelta(days=200))
    sold_before(("One pound", 1000, 100))

    as_before = office.get(PAGE, asked())
    without = office.get(PAGE, asked(coming_grams="0 kg"))

    # 500 kg in the year up to today and none in the year before are 250 kg a year.
    assert as_before.context["found"].supply_grams == 850_000
    assert "That counts 551 lb that are likely to come in until " in words_of(as_before)
    assert without.context["found"].supply_grams == 600_000
    assert "likely to come in" not in words_of(without)


@pytest.mark.parametrize(
    ("changes", "field", "message"),
    [
        ({"percent": ""}, "percent", "Enter a percent, or a new price."),
        ({"new_cents": "12"}, "new_cents", "Enter either a percent or a new price, not both."),
        (
            {"percent": "", "new_cents": "12"},
            "new_cents",
            "Tick one product, and choose its channel.",
        ),
        (
            {"likely": "0.8"},
            "likely",
            "Enter 0 or a figure below it, such as -0.8: when the price rises, fewer are sold.",
        ),
        ({"likely": "-3"}, "most", "Enter a figure no nearer to 0 than the one before it."),
        ({"least": ""}, "least", "Fill this in."),
    ],
)
def test_what_cannot_be_tried_is_told_at_its_field(office, pound, changes, field, message):
    sold_before(("One pound", 10, 100))

    page = office.get(PAGE, asked(**changes))

    assert message in page.context["form"].errors[field]
    assert page.context["found"] is None


def test_work_without_a_wage_is_said_to_count_as_zero(office, pound):
    builders.lot_in(builders.place("t1"), 1_000_000)
    sold_before(("One pound", 1000, 100))
    said = "Not known, and counted as zero: the cost of an hour of work."

    with_wage = words_of(office.get(PAGE, asked()))
    ProductionSettings(labour_cents_per_hour=0).save()

    assert said not in with_wage
    assert said in words_of(office.get(PAGE, asked()))
    assert said in words_of(office.get(reverse("planning:earnings")))


def test_a_price_far_away_is_called_a_guess_and_prices_set_for_later_are_named(office, pound):
    builders.lot_in(builders.place("t1"), 1_000_000)
    sold_before(("One pound", 1000, 100))
    later = builders.today() + timedelta(days=20)
    prices.set_piece(product=pound, tier="stand", piece_cents=1100, valid_from=later)

    far = words_of(office.get(PAGE, asked(percent="31")))
    near = words_of(office.get(PAGE, asked(percent="30")))

    assert "so what buyers would do is a guess." in far
    assert "guess" not in near
    assert "1 of these prices is set for later already, on " in near


def test_a_new_price_is_tried_on_one_product_and_handed_over_to_be_set(office, pound):
    builders.lot_in(builders.place("t1"), 1_000_000)
    sold_before(("One pound", 1000, 100))

    page = office.get(PAGE, asked(percent="", new_cents="12.50", products="pound", channel="stand"))

    assert page.context["found"].trial.likely.pieces == 800
    assert page.context["keep_url"] == (
        reverse("pricing:price_set", args=["pound"]) + "?stand=12.50"
    )


def test_a_percent_on_some_products_leads_to_where_each_price_is_set(office, pound):
    builders.lot_in(builders.place("t1"), 1_000_000)
    sold_before(("One pound", 1000, 100))
    why = "A change by percent can be set at once only for all products of a price list."

    some = office.get(PAGE, asked(products="pound"))
    every = office.get(PAGE, asked())

    assert why in words_of(some)
    assert f'<a href="{reverse("pricing:price_set", args=["pound"])}">One pound</a>' in some.text
    assert why not in words_of(every)
    assert reverse("pricing:price_change") in every.context["keep_url"]


def test_the_coming_months_of_a_year_ago_can_be_tried_alone(office, pound):
    builders.lot_in(builders.place("t1"), 1_000_000)
    sold_before(("One pound", 400, 360), ("One pound", 600, 200))

    assert office.get(PAGE, asked(period="3")).context["found"].trial.now.pieces == 400
    assert office.get(PAGE, asked()).context["found"].trial.now.pieces == 1000


def test_a_rounding_that_takes_the_change_away_is_said(office, pound):
    sold_before(("One pound", 10, 100))

    text = words_of(office.get(PAGE, asked(percent="2", ending="00")))

    assert "With this rounding no price changes." in text


def test_only_who_sets_prices_may_try_them(client, db):
    client.force_login(builders.person("bottling"))

    assert client.get(PAGE).status_code == 403
