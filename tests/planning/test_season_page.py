"""The season plan on its page: answers in words, what was left out, and what the owner expects."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from apiary_sales.accounts.models import User
from apiary_sales.planning import season_sentences as sentences
from apiary_sales.planning import services
from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.planning.queries import season_books, season_history
from apiary_sales.planning.rules.season import first_month, question_of
from apiary_sales.planning.season_answer import SeasonAnswer
from apiary_sales.pricing.services import prices
from inventory.bottling.services import parts
from inventory.shared.days import months_later
from inventory.shared.errors import SeveralProblems
from inventory.stock.models import Lot
from tests import builders
from tests.planning.test_monthly_sales import brought_in

POUND = 453.59237
URL = "/reports/plan/season/"


def today() -> date:
    return timezone.localdate()


def expected(**fields) -> SeasonOutlook:
    given = {
        "outlook": "usual",
        "kept_per_pound": None,
        "storage_per_pound": None,
        "interest_percent": None,
        "drum_month_grams": None,
        "drum_year_grams": None,
        "harvest_month": None,
        "harvest_grams": None,
        "harvest_spread_grams": None,
        "room_grams": None,
        "hours": None,
        "hours_by_month": {},
        "changed_by": builders.person(),
        **fields,
    }
    return services.save_season_outlook(**given)


@pytest.fixture
def house(db):
    """Two thousand pounds at two dollars in drums, and ten jars a month for two years at $9.50."""
    tank = builders.place("tank-1", name="Holding tank")
    builders.lot_in(tank, round(2_000 * POUND))
    pound = builders.product("One pound")
    prices.set_bulk(price_per_pound=Decimal("2.0000"), valid_from=date(2020, 1, 1))
    prices.set_piece(product=pound, tier="stand", piece_cents=950, valid_from=date(2020, 1, 1))
    this_month = today().replace(day=1)
    for back in range(1, 25):
        brought_in(pound, 10, months_later(this_month, -back))
    return pound


def words_of(page) -> str:
    return " ".join(strip_tags(page.content.decode()).split())


def test_the_books_give_demand_by_month_and_the_page_answers_in_words(client, owner, house):
    client.force_login(owner)

    page = client.get(URL)

    assert page.status_code == 200
    said = words_of(page)
    assert "Sell 2 drums in" in said
    assert "at no less than $2.00 a lb (list price: $2.00 a lb)." in said
    assert "One pound: none on hand." in said
    assert "Demand is from 2 whole years" in said
    assert "Not known, and counted as zero: the cost of storage, interest" in said
    # Hours are not limited, so one more is worth nothing and is not told.
    assert "One hour more" not in said
    question = question_of(season_books.read(today()))
    assert question.problem.mean_of(str(house.pk))[1] == 10
    assert reverse("planning:season") == URL


def test_the_reports_name_the_season_plan_once(client, owner):
    client.force_login(owner)

    page = client.get(reverse("reports:reports"))

    assert page.text.count(f'href="{URL}"') == 1


def test_honey_that_may_not_be_used_is_left_out_with_its_reason(house):
    held = builders.place("tank-2", name="Held tank")
    wet = builders.place("tank-3", name="Wet tank")
    unknown = builders.lot_in(builders.place("tank-4", name="Unknown tank"), 1_000_000)
    Lot.objects.filter(pk=unknown.pk).update(kind=Lot.Kind.UNKNOWN, moisture_percent=None)
    on_hold = builders.lot_in(held, 1_000_000)
    Lot.objects.filter(pk=on_hold.pk).update(is_on_hold=True)
    builders.lot_in(wet, 1_000_000, moisture_percent="19.9")

    books = season_books.read(today())

    assert [honey.name for honey in books.honeys] == ["Holding tank"]
    assert {left.name: left.because for left in books.left_honey} == {
        "Held tank": "on hold",
        "Wet tank": "above your limit of moisture",
        "Unknown tank": "its moisture is not known",
    }


def test_what_is_typed_is_kept_with_who_typed_it_and_bounds_the_plan(client, owner, house):
    client.force_login(owner)
    typed = {
        "key": "k",
        "outlook": "usual",
        "drum_month": "400",
        "drum_month_unit": "lb",
        "kept_per_pound": "1.50",
        "hours": "10",
        "hours_12": "2.5",
    }

    page = client.post(URL, typed)

    assert page.status_code == 302
    assert "One hour more" in words_of(client.get(URL))
    kept = SeasonOutlook.current()
    assert (kept.drum_month_grams, kept.kept_per_pound) == (181_437, Decimal("1.5000"))
    assert (kept.hours, kept.hours_by_month) == (Decimal("10.00"), {"12": "2.5"})
    assert kept.changed_by == owner
    answer = SeasonAnswer.of(question_of(season_books.read(today())))
    assert max(answer.plan.drums_by_month) <= 181_437.1


def test_what_somebody_else_typed_in_the_meantime_is_not_written_over(client, owner, house):
    client.force_login(owner)
    seen = client.get(URL).context["form"]["version"].value()
    expected(hours=Decimal(12), changed_by=builders.person("office"))

    refused = client.post(URL, {"key": "k", "version": seen, "outlook": "usual", "hours": "3"})
    again = client.get(URL).context["form"]["version"].value()
    taken = client.post(URL, {"key": "l", "version": again, "outlook": "usual", "hours": "3"})

    assert refused.status_code == 422
    assert "has changed what you expect of the season in the meantime" in words_of(refused)
    assert taken.status_code == 302
    assert SeasonOutlook.current().hours == Decimal(3)


def test_figures_that_cannot_be_are_refused_by_name(db):
    with pytest.raises(SeveralProblems) as refused:
        expected(interest_percent=Decimal(101), harvest_month=7, hours_by_month={3: Decimal(-1)})

    assert [problem.parameter for problem in refused.value.problems] == [
        "interest_percent",
        "harvest_grams",
        "hours_3",
    ]


@pytest.mark.parametrize(("days", "ahead"), [(None, 0), (0, 0), (10, 1), (18, 1), (19, 2)], ids=str)
def test_parts_can_be_used_from_the_month_in_which_they_arrive_by_the_middle(house, days, ahead):
    jar = parts.save(name="Jar", kind="jar", lead_time_days=days)
    books = season_books.read(date(2026, 11, 27))

    # 10 days after November 27 are December 7; 18 are December 15, 19 December 16.
    assert first_month(books, jar) == ahead


def test_the_harvest_that_is_typed_comes_in_its_month_and_its_room_is_told(house):
    later = months_later(today().replace(day=1), 4)
    expected(
        harvest_month=later.month,
        harvest_grams=1_000_000,
        harvest_spread_grams=200_000,
        room_grams=1_000_000,
        kept_per_pound=Decimal(3),
    )

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    room = answer.tightest_room
    assert room is not None
    assert room.month == later
    # All is kept for the better price, up to the room: half of the harvests are larger.
    assert room.grams == pytest.approx(1_000_000, rel=0.01)
    assert room.chance == pytest.approx(0.5, abs=0.02)
    assert answer.question.problem.months == 7


def test_what_is_still_to_come_of_the_harvest_of_this_month_counts_from_the_next_on(house):
    expected(harvest_month=today().month, harvest_grams=1_000_000)
    builders.lot_in(builders.place("tank-2"), 300_000, extracted_on=today())

    question = question_of(season_books.read(today()))

    assert question.harvest.grams[:3] == (0, 700_000, 0)
    # The next harvest is the one in a year.
    assert question.harvest.first == 12
    this, following = (f"{months_later(today().replace(day=1), n):%B %Y}" for n in (0, 1))
    assert (
        f"Of a harvest, 1,543 lb are likely to come in the rest of {this}; they count from "
        f"{following} on." in sentences.left_out(question)
    )


def test_a_harvest_typed_as_none_is_said_to_be_none(house):
    expected(harvest_grams=0)

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    assert sentences.room(answer) == ["Room at harvest: by what you typed, there is no harvest."]
    assert not [each for each in sentences.left_out(answer.question) if "New honey" in each]


def test_the_past_of_the_house_is_a_world_for_a_back_test(house):
    past = season_history.read(today())

    assert past is not None
    assert past.world.months == 24
    assert past.world.demand[f"{house.pk}-stand"] == [10] * 24


def test_only_who_sets_prices_sees_it(client, house):
    client.force_login(builders.person(User.Role.STAND))

    assert client.get(URL).status_code == 403


def test_parts_are_ordered_their_lead_time_before_the_month_that_needs_them(house):
    jar = parts.save(name="Jar", kind="jar", lead_time_days=40)
    builders.made_of(house, jar)

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    # None is in stock, so they are needed in the first month by whose middle they can be here.
    arrives = today() + timedelta(days=40)
    months = 0 if arrives.day <= 15 else 1
    advice = answer.orders[0]
    assert advice.part == jar
    assert advice.needed == months_later(arrives.replace(day=1), months)
    assert advice.by == max(today(), advice.needed - timedelta(days=40))


def test_parts_without_a_lead_time_are_ordered_for_the_month_that_needs_each(house, owner):
    pot, lid = parts.save(name="Pot", kind="jar"), parts.save(name="Lid", kind="lid")
    for part in (pot, lid):
        builders.made_of(house, part)
    shelf = builders.place("shelf", "shelf")
    parts.receive(
        part=lid,
        place=shelf,
        pieces=45,
        cost_cents=450,
        supplier="Glass Works",
        received_on=today(),
        recorded_by=owner,
        key=builders.new_key(),
    )

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    # There are no pots, and lids for some months of ten jars each.
    needed = {each.part: each.needed for each in answer.orders}
    assert needed[lid] > months_later(needed[pot].replace(day=1), 1)
    told = sentences.orders(answer)
    (of_pots,) = [each for each in told if "of Pot" in each]
    (of_lids,) = [each for each in told if "of Lid" in each]
    assert of_pots.startswith(f"Order in time for {needed[pot]:%B %Y}: ")
    assert of_lids.startswith(f"Order in time for {needed[lid]:%B %Y}: ")
    assert told[-1].startswith("How long parts take to arrive is not known for all")


@pytest.mark.parametrize("pounds", [0, 500])
def test_no_full_drum_is_sold_where_buyers_take_less_than_one_and_that_is_said(house, pounds):
    expected(drum_year_grams=round(pounds * POUND))

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    assert sentences.drums(answer) == [
        f"Sell no full drum in {today():%B %Y}: by the limit below, drum buyers take less than a "
        "drum of 650 lb."
    ]


def test_a_limit_of_drum_buyers_for_the_year_is_said_where_it_keeps_honey_back(house):
    # Kept honey costs more than it brings, so all that no jar needs should leave now.
    expected(drum_year_grams=round(800 * POUND), storage_per_pound=Decimal("0.5"))

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    assert answer.drums.drums == 1
    assert "Drum buyers take no more by the limit below" in sentences.drums(answer)[-1]
    scarce = sentences.scarce(answer)
    assert scarce[0].startswith(f"Drum buyers are scarce in {today():%B %Y}: one more pound sold")
    assert "Honey is not scarce: drum buyers do not take all that the jars do not need." in scarce


def test_honey_that_is_kept_for_its_price_is_not_said_to_be_kept_for_jars(house):
    expected(kept_per_pound=Decimal("4"))

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    assert (
        "Honey is scarce: kept for jars or for later, it brings more than the drum price of "
        "$2.00 a lb." in sentences.scarce(answer)
    )


def test_a_drum_to_sell_is_named_with_the_vessels_that_hold_such_honey(house):
    builders.lot_in(builders.place("drum-1", "drum", name="Drum 1"), round(650 * POUND))

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    assert sentences.drums(answer)[0].endswith(" Such honey is in Drum 1, Holding tank.")


def test_jars_run_out_on_the_day_by_which_half_the_seasons_want_them(house):
    this_month = today().replace(day=1)
    for back in range(1, 25):
        brought_in(house, 990, months_later(this_month, -back))
    left = round(1_000 * season_books.read(today()).month_share)
    builders.packed_lot(house, builders.place("shelf", "shelf"), left + 900)

    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    # A thousand are wanted a month, and of this month what is left of it: nine tenths of the next
    # are over when as many are wanted as there are, give or take what comes by chance.
    (row,) = answer.stock_outs
    following = months_later(this_month, 1)
    days = (months_later(following, 1) - following).days
    assert row.likely_on is not None
    assert abs((row.likely_on - following).days - 0.9 * days) <= 2


def test_parts_that_are_not_listed_are_not_said_to_be_enough(house):
    answer = SeasonAnswer.of(question_of(season_books.read(today())))

    assert sentences.orders(answer) == [
        "Parts: no product has its parts listed, so nobody knows what to order."
    ]
    assert (
        "No parts are listed for these products, so their parts are left out: One pound."
        in sentences.left_out(answer.question)
    )


def test_less_than_a_case_cannot_wait_where_no_jars_are_on_hand_for_this_month(house):
    half = builders.product("Half pound")
    prices.set_piece(product=half, tier="stand", piece_cents=950, valid_from=date(2020, 1, 1))
    for back in range(1, 25):
        brought_in(half, 6, months_later(today().replace(day=1), -back))

    told = sentences.fills(SeasonAnswer.of(question_of(season_books.read(today()))))

    (of_half,) = [each for each in told if "Half pound" in each]
    assert of_half.startswith("Less than a case, but the jars on hand will not do for this month: ")
    assert not [each for each in told if "can wait" in each]
