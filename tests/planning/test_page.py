"""The bottling plan on its page: figures from the books, the plan, its reasons, its draft runs."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.models import Permission
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.planning import programme, services
from apiary_sales.planning.programme import proof, search
from apiary_sales.planning.programme.search import WholeCounts
from apiary_sales.planning.queries import books as book_queries
from apiary_sales.planning.queries import past_sales
from apiary_sales.planning.rules import demand
from apiary_sales.planning.rules.books import Books
from apiary_sales.planning.rules.demand import Period
from apiary_sales.planning.services import DraftRun
from apiary_sales.pricing.models import ChannelCost, FillingTime
from apiary_sales.pricing.services import prices
from inventory.bottling.models import BottlingRun
from inventory.bottling.services import parts, products, runs
from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotEnoughHoney
from inventory.stock.models import Balance, Lot, Place, ProductionSettings
from tests import builders

URL = "/reports/plan/"
# Ten pounds, and three hundredths of a gram.
TEN_POUNDS_GRAMS = 4536


def words_of(page) -> str:
    """Return what a person reads on the page."""
    return " ".join(strip_tags(page.content.decode()).split())


def today() -> date:
    return timezone.localdate()


def the_books() -> Books:
    return book_queries.read(today(), months=3)


def bid(price: str = "2.0000") -> None:
    prices.set_bulk(price_per_pound=Decimal(price), valid_from=date(2020, 1, 1))


def priced(product, tier: str, cents: int) -> None:
    prices.set_piece(product=product, tier=tier, piece_cents=cents, valid_from=date(2020, 1, 1))


def sold(
    product, pieces: int, on: date, *, channel="stand", customer=None, status="filled"
) -> Order:
    order = Order.objects.create(
        number=builders.new_key(),
        channel=channel,
        status=status,
        customer=customer,
        placed_on=on,
        created_by=builders.person(),
        idempotency_key=builders.new_key(),
    )
    OrderLine.objects.create(
        order=order,
        kind=OrderLine.Kind.PACKED,
        product=product,
        description=product.name,
        quantity=pieces,
        unit_price=Decimal("9.50"),
        amount_cents=950 * pieces,
    )
    return order


def a_year_ago(days_on: int = 10) -> date:
    return demand.years_before(today(), 1) + timedelta(days=days_on)


@pytest.fixture
def tank(db):
    tank = builders.place("tank-1", name="Holding tank")
    builders.lot_in(tank, TEN_POUNDS_GRAMS)
    return tank


@pytest.fixture
def pound(db):
    product = builders.product("One pound")
    priced(product, "stand", 950)
    return product


@pytest.fixture
def house(tank, pound):
    """Ten pounds of honey, four jars sold at the stand a year ago, two dollars a pound in drums."""
    bid()
    sold(pound, 4, a_year_ago())
    return pound


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def test_the_page_plans_what_is_wanted_in_jars_and_the_rest_in_drums(signed_in, house):
    page = signed_in.get(URL)

    # Four jars take 4 × 454 g; the 2,720 g left are five whole pounds.
    found = page.context["found"]
    assert page.status_code == 200
    assert [(run.product, run.pieces) for run in found.best.runs] == [(house, 4)]
    assert [(bulk.grams, bulk.drums) for bulk in found.best.bulk] == [(2268, 1)]
    assert [(line.label, line.how, line.cents) for line in found.best.statement.lines] == [
        ("One pound, stand", "4 pieces at $9.50", 3800),
        ("Drums from Holding tank", "5 lb at $2.00 a pound", 1000),
    ]
    assert found.best.statement.total_cents == 4800
    assert found.all_drums.statement.total_cents == 2000
    assert found.as_before.statement.total_cents == 4800
    assert found.best.answer.is_proven
    text = words_of(page)
    assert "$48.00" in text
    assert "the plan earns $28.00 more" in text
    assert "This is the best plan found in the time allowed" not in text


def test_the_page_says_what_holds_the_plan_back_and_what_one_more_is_worth(signed_in, house):
    reasons = {reason.label: reason for reason in signed_in.get(URL).context["found"].reasons}

    # A fifth jar takes 454 g and leaves 2,266 g, four pounds: 9.50 more, 2.00 less.
    buyers = reasons["Buyers of One pound, stand"]
    assert (buyers.there, buyers.used, buyers.binds) == ("4 pieces", "4 pieces", True)
    assert buyers.sentence == "One more piece ordered earns $7.50 more."
    assert reasons["Honey in Holding tank"].sentence == "One more pound earns $2.00 more."
    assert reasons["Hours of work"].sentence == (
        "One more hour earns no more: there is already enough."
    )
    assert not reasons["Hours of work"].binds


def test_buyers_whose_jars_are_ready_do_not_crowd_the_reasons(signed_in, house):
    builders.packed_lot(house, builders.place("shelf", Place.Kind.SHELF), 10)

    page = signed_in.get(URL)

    found = page.context["found"]
    assert [reason.label for reason in found.served] == ["Buyers of One pound, stand"]
    assert "Buyers of One pound, stand" not in [reason.label for reason in found.binding]
    assert "Buyers for whom enough jars are ready" in words_of(page)


def test_spare_jars_that_are_ready_are_sold_before_one_more_is_filled(signed_in, house):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.packed_lot(house, shelf, 10)

    spare = signed_in.get(URL).context["found"]
    last = signed_in.get(URL, {f"pieces-{house.pk}-stand": "9"}).context["found"]
    none = signed_in.get(URL, {f"pieces-{house.pk}-stand": "10"}).context["found"]

    # To fill one more takes 454 g of 4,536 g, and leaves eight whole pounds of ten: 9.50 less 4.00.
    assert [reason.sentence for reason in spare.served] == [
        "6 pieces are ready or planned but have no buyer yet. If one more piece is "
        "ordered, it brings $9.50 after the cost of selling. Once they are sold, one more "
        "piece ordered earns $5.50 more."
    ]
    assert [reason.sentence for reason in last.served] == [
        "1 piece is ready or planned but has no buyer yet. If one more piece is ordered, "
        "it brings $9.50 after the cost of selling. Once they are sold, one more piece "
        "ordered earns $5.50 more."
    ]
    assert [reason.sentence for reason in none.served] == [
        "One more piece ordered earns $5.50 more."
    ]


def test_a_spare_jar_brings_its_price_less_what_selling_takes(signed_in, house):
    builders.packed_lot(house, builders.place("shelf", Place.Kind.SHELF), 5)
    ChannelCost.objects.create(channel="stand", card_percent=Decimal("2"))

    [reason] = signed_in.get(URL).context["found"].served

    assert "piece is ordered, it brings $9.31 after the cost of selling." in reason.sentence


def test_one_more_piece_wanted_earns_nothing_where_no_hour_is_left_to_fill_it(signed_in, house):
    FillingTime.objects.create(product=house, minutes_each=Decimal("0.5"))

    [reason] = (
        signed_in.get(URL, {f"pieces-{house.pk}-stand": "0", "hours": "0"}).context["found"].served
    )

    assert reason.sentence == (
        "One more piece ordered earns no more: it can't be filled, or its honey earns as "
        "much another way."
    )


def test_figures_are_folded_until_one_of_them_is_wrong(signed_in, house):
    folded = '<details class="card"><summary>What could be sold</summary>'
    shown = '<details class="card" open><summary>What could be sold</summary>'

    assert folded in signed_in.get(URL).text
    assert shown in signed_in.get(URL, {"hours": "many"}).text


def test_figures_are_taken_from_the_address(signed_in, house):
    page = signed_in.get(URL, {f"pieces-{house.pk}-stand": "2", f"price-{house.pk}-stand": "10.00"})

    # Two jars leave 3,628 g, two grams short of eight pounds.
    statement = page.context["found"].best.statement
    assert [line.how for line in statement.lines] == [
        "2 pieces at $10.00",
        "7 lb at $2.00 a pound",
    ]
    assert statement.total_cents == 2000 + 1400


def test_wrong_figures_are_told_in_words_and_nothing_is_planned(signed_in, house, tank):
    page = signed_in.get(
        URL, {f"use-{tank.pk}": "11", "hours": "-1", "drum": "0", "drum_unit": "lb"}
    )

    assert page.context["found"] is None
    form = page.context["form"]
    assert form.errors[f"use-{tank.pk}"] == [
        "Holding tank has 10.0 lb free. Enter no more than that."
    ]
    assert form.errors["drum"] == ["Enter the net weight of a full drum."]
    assert form.errors["hours"] == ["Enter 0 or more."]
    assert "Holding tank has 10.0 lb free." in page.content.decode()


def test_a_run_names_the_honey_it_takes_and_a_product_of_no_variety_is_to_be_checked(
    signed_in, house
):
    page = signed_in.get(URL)

    assert "lot 26-E01 Clover" in words_of(page)
    assert "See that the honey named here suits its label." in words_of(page)


def test_a_plan_that_earns_less_than_the_last_year_says_less(signed_in, house):
    page = signed_in.get(URL, {"least": "5"})

    # Four pounds at $9.50 and the rest in drums would earn $48.00; all in drums brings $20.00.
    assert "the plan earns $28.00 less" in words_of(page)


def test_what_is_kept_for_later_is_said_not_to_count_and_leads_to_the_season_plan(signed_in, house):
    page = signed_in.get(URL)

    assert "Honey kept for jars after that counts for nothing here" in words_of(page)
    start = page.content.decode().index("counts for nothing here")
    assert f'href="{reverse("planning:season")}"' in page.content.decode()[start : start + 300]


def test_full_drums_only(signed_in, house):
    # 2,720 g after four jars make one drum of five pounds, and none of six.
    five = signed_in.get(URL, {"bulk": "drums", "drum": "5", "drum_unit": "lb"})
    six = signed_in.get(URL, {"bulk": "drums", "drum": "6", "drum_unit": "lb"})

    assert five.context["found"].best.statement.total_cents == 3800 + 1000
    # Three jars and a drum of six pounds (2,722 g) bring 28.50 + 12.00, more than four alone.
    assert six.context["found"].best.statement.total_cents == 2850 + 1200


def test_what_is_not_proven_is_said_with_how_much_better_it_could_be(signed_in, house, monkeypatch):
    out_of_time = WholeCounts(None, is_finished=False)
    monkeypatch.setattr(search, "whole_counts", lambda _table, **_limits: out_of_time)

    page = signed_in.get(URL)

    assert page.context["found"].best.statement.total_cents == 2000
    text = words_of(page)
    told = "This is the best plan found in the time allowed, but there may be a better one."
    assert told in text
    # At most: four jars at 9.50 and 2,720 g at 2.00 a pound, 49.99.
    assert "A better plan could earn at most $29.99 more." in text


def test_an_empty_house_is_told_what_is_missing(signed_in, db):
    page = signed_in.get(URL)

    assert page.status_code == 200
    assert page.context["obstacle"] == (
        "There is no free honey. Every vessel is empty, or its honey is reserved, on hold "
        "or planned for a run. Receive honey, or undo a planned run."
    )


def test_honey_that_nobody_buys_is_told_so(signed_in, tank, pound):
    page = signed_in.get(URL)

    assert page.context["obstacle"] == (
        "The plan has no buyers: no pieces can be sold and no drum price fits the honey. "
        "Enter how many pieces you could sell, or a bid per pound."
    )
    assert page.context["found"] is None


def test_honey_kept_back_is_told_so(signed_in, house, tank):
    page = signed_in.get(URL, {f"use-{tank.pk}": "0"})

    assert page.context["obstacle"] == (
        "The plan has no honey to use. Enter how much honey it may take from a vessel."
    )


def test_sales_of_last_year_that_cannot_be_filled_are_told_so(signed_in, house):
    sold(house, 8, a_year_ago(11))

    page = signed_in.get(URL)

    # Twelve jars do not come out of ten pounds.
    assert page.context["found"].as_before is None
    assert "not enough honey, parts or hours for it" in page.content.decode()


def test_jars_that_are_ready_are_part_of_what_was_sold_before(signed_in, house):
    builders.packed_lot(house, builders.place("shelf", Place.Kind.SHELF), 3)

    found = signed_in.get(URL, {f"pieces-{house.pk}-stand": "10"}).context["found"]

    # Four were sold: three are ready, one is filled, and eight whole pounds are left.
    assert [run.pieces for run in found.as_before.runs] == [1]
    assert found.as_before.statement.total_cents == 950 + 1600


def test_as_many_ready_jars_as_were_sold_before_leave_nothing_to_fill(signed_in, house):
    priced(house, "shop", 680)
    sold(house, 2, a_year_ago(), channel="shop", customer=builders.customer())
    builders.packed_lot(house, builders.place("shelf", Place.Kind.SHELF), 6)

    wanted = {f"pieces-{house.pk}-stand": "7", f"pieces-{house.pk}-shop": "2"}
    found = signed_in.get(URL, wanted).context["found"]

    # Four at the stand and two in the shop, as before, though the stand now wants all six.
    assert found.as_before.runs == ()
    assert found.as_before.statement.total_cents == 2000
    assert [run.pieces for run in found.best.runs] == [3]


def test_what_is_not_known_is_named(signed_in, house):
    lid = builders.part("Lid")
    builders.made_of(house, lid)

    page = signed_in.get(URL, {f"order-{lid.pk}": "4"})

    # What to do comes first, and then what it was worked out without.
    text = words_of(page)
    assert text.index("What to do") < text.index("What was left out, and why")
    assert page.context["notices"] == [
        "Minutes of work are not entered, so they count as 0: One pound.",
        "The cost is not entered, so it counts as 0: Lid.",
    ]


def test_parts_labour_and_selling_costs_are_lines_of_their_own_and_add_up(signed_in, house, owner):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    jar = builders.part("Jar")
    builders.made_of(house, jar)
    parts.receive(
        part=jar,
        place=shelf,
        pieces=3,
        cost_cents=150,
        supplier="Glass Works",
        received_on=today(),
        recorded_by=owner,
        key=builders.new_key(),
    )
    ProductionSettings(labour_cents_per_hour=1200).save()
    FillingTime.objects.create(product=house, minutes_each=Decimal("0.5"))
    ChannelCost.objects.create(channel="stand", card_percent=Decimal("2"))

    page = signed_in.get(URL, {"per_run": "10", f"order-{jar.pk}": "5"})

    statement = page.context["found"].best.statement
    assert [(line.kind, line.label, line.how, line.cents) for line in statement.lines] == [
        ("jars", "One pound, stand", "4 pieces at $9.50", 3800),
        ("drums", "Drums from Holding tank", "5 lb at $2.00 a pound", 1000),
        ("selling", "Cost of selling, stand", "discount, card fee, delivery", -76),
        ("stock", "Jar, from stock", "3 pieces at $0.50", -150),
        ("buy", "Jar, to buy", "1 piece at $0.50", -50),
        ("labour", "Labour", "0.20 hours at $12.00", -240),
    ]
    assert statement.total_cents == 4284
    assert [(p.row.part, p.bought) for p in page.context["found"].best.to_buy] == [(jar, 1)]
    free = signed_in.get(URL, {"per_run": "10", f"order-{jar.pk}": "5", "stock_counts": "free"})
    assert free.context["found"].best.statement.total_cents == 4284 + 150


def test_who_may_not_see_prices_may_not_plan(client, db):
    builders.person("owner")
    for role, status in (("stand", 403), ("bottling", 403), ("office", 200), ("owner", 200)):
        client.force_login(builders.person(role))
        assert client.get(URL).status_code == status
    assert reverse("planning:plan") == URL


def shown_runs(page) -> dict:
    """Return what the browser would send of the form that makes the runs."""
    best = page.context["found"].best
    return {
        "key": page.context["runs_form"]["key"].value(),
        "newest_seen": page.context["books"].newest_run,
        "run": [f"{run.vessel.place.pk}-{run.product.pk}-{run.pieces}" for run in best.runs],
    }


def test_one_click_makes_the_draft_runs_and_a_second_makes_none(signed_in, house, tank, owner):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    sent = shown_runs(signed_in.get(URL))
    html = " ".join(signed_in.get(URL).content.decode().split())
    assert f'name="run" value="{sent["run"][0]}"' in html
    sent |= {"target": shelf.pk, "planned_for": today().isoformat()}

    first = signed_in.post(URL, sent)
    second = signed_in.post(URL, sent)

    assert first.status_code == second.status_code == 302
    assert first.url == reverse("inventory:bottling")
    run = BottlingRun.objects.get()
    assert (run.status, run.product, run.source, run.target) == ("planned", house, tank, shelf)
    assert (run.pieces_planned, run.planned_for, run.recorded_by) == (4, today(), owner)


def test_runs_are_not_planned_twice(signed_in, house):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    sent = shown_runs(signed_in.get(URL))
    signed_in.post(URL, sent | {"target": shelf.pk, "planned_for": today().isoformat()})

    page = signed_in.get(URL)

    # The four jars are planned; what is left of the honey goes in drums.
    assert page.context["found"].best.runs == ()
    assert page.context["found"].best.statement.total_cents == 1000
    assert page.context["notices"] == [
        "Minutes of work are not entered, so they count as 0: One pound.",
        "No parts are listed for these products, so the plan leaves their parts out: One pound.",
        "1 run is planned already. Its honey, parts and jars are set aside.",
    ]


def test_runs_whose_honey_has_gone_are_refused_in_words_and_none_is_made(
    signed_in, house, tank, owner
):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    sent = shown_runs(signed_in.get(URL)) | {
        "target": shelf.pk,
        "planned_for": today().isoformat(),
    }
    sent["run"] = [f"{tank.pk}-{house.pk}-1", f"{tank.pk}-{house.pk}-100"]

    page = signed_in.post(URL, sent)

    assert page.status_code == 422
    assert page.context["runs_form"].non_field_errors() == [
        "Not enough honey: the run needs 100 lb, but Holding tank has only 10.0 lb. Plan "
        "fewer pieces, or choose another vessel."
    ]
    assert not BottlingRun.objects.exists()


def test_runs_that_cannot_be_read_are_refused(signed_in, house, tank):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    sent = {"key": "k", "target": shelf.pk, "planned_for": today().isoformat()}

    for run in (
        "x",
        "1-2",
        f"{tank.pk}-{house.pk + 1}-1",
        f"{tank.pk}-{house.pk}-one",
        "99999999999999999999-1-1",
        f"{tank.pk}-99999999999999999999-1",
        f"{tank.pk}-{house.pk}-99999999999999999999",
    ):
        page = signed_in.post(URL, sent | {"run": [run]})
        assert page.status_code == 422
        assert page.context["runs_form"].non_field_errors() == [
            "The runs of the plan can't be read. Work out the plan again."
        ]


def test_a_refusal_is_shown_also_where_the_new_plan_has_no_runs(signed_in, house, tank):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    sent = {"key": "k", "target": shelf.pk, "planned_for": today().isoformat()}
    sent["run"] = [f"{tank.pk}-{house.pk}-100"]

    page = signed_in.post(f"{URL}?pieces-{house.pk}-stand=0", sent)

    assert page.status_code == 422
    assert page.context["found"].best.runs == ()
    told = (
        "Not enough honey: the run needs 100 lb, but Holding tank has only 10.0 lb. Plan "
        "fewer pieces, or choose another vessel."
    )
    assert words_of(page).count(told) == 1


def test_a_refusal_is_shown_once_where_the_new_plan_has_runs(signed_in, house, tank):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    sent = {"key": "k", "target": shelf.pk, "planned_for": today().isoformat(), "run": ["x"]}

    page = signed_in.post(URL, sent)

    told = "The runs of the plan can&#x27;t be read. Work out the plan again."
    assert words_of(page).count(told) == 1


def test_what_somebody_planned_meanwhile_is_not_planned_again_unawares(signed_in, house, tank):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    place = {"target": shelf.pk, "planned_for": today().isoformat()}
    mine, theirs = (shown_runs(signed_in.get(URL)) | place for _ in range(2))
    signed_in.post(URL, theirs)

    page = signed_in.post(URL, mine)

    assert page.status_code == 422
    assert page.context["runs_form"].non_field_errors() == [
        "Somebody has planned the same runs since this plan was worked out: 4 pieces of "
        "One pound from Holding tank. The plan below already allows for them. If you still "
        "want more, make the runs below."
    ]
    assert BottlingRun.objects.count() == 1


def test_more_of_a_planned_run_is_planned_by_who_has_seen_it(signed_in, house):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    place = {"target": shelf.pk, "planned_for": today().isoformat()}
    signed_in.post(URL, shown_runs(signed_in.get(URL)) | place)
    more = f"{URL}?pieces-{house.pk}-stand=6"
    page = signed_in.get(more)
    seen = BottlingRun.objects.get().pk
    assert f'name="newest_seen" value="{seen}"' in page.text

    made = signed_in.post(more, shown_runs(page) | place)

    assert made.status_code == 302
    assert sorted(BottlingRun.objects.values_list("pieces_planned", flat=True)) == [2, 4]


def test_draft_runs_need_the_right_to_bottle(client, house, owner):
    office = builders.person("office")
    office.groups.clear()
    office.user_permissions.add(Permission.objects.get(codename="manage_prices"))
    client.force_login(office)

    assert client.get(URL).status_code == 200
    assert "Plan these runs" not in client.get(URL).content.decode()
    assert client.post(URL, {}).status_code == 403


def test_a_plan_without_jars_makes_no_runs(owner, db):
    shelf = builders.place("shelf", Place.Kind.SHELF)

    with pytest.raises(BadValue, match=r"^The plan fills no jars, so there are no runs to make.$"):
        services.make_draft_runs(
            drafts=[], target=shelf, planned_for=today(), planned_by=owner, key="k", newest_seen=0
        )


def test_draft_runs_are_made_all_or_none_and_once(owner, tank, pound):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    small, large = DraftRun(tank, pound, 2), DraftRun(tank, pound, 11)

    with pytest.raises(NotEnoughHoney):
        services.make_draft_runs(
            drafts=[small, large],
            target=shelf,
            planned_for=today(),
            planned_by=owner,
            key="k",
            newest_seen=0,
        )
    assert not BottlingRun.objects.exists()
    made = services.make_draft_runs(
        drafts=[small, small],
        target=shelf,
        planned_for=today(),
        planned_by=owner,
        key="k",
        newest_seen=0,
    )
    with pytest.raises(AlreadyRecorded):
        services.make_draft_runs(
            drafts=[small, small],
            target=shelf,
            planned_for=today(),
            planned_by=owner,
            key="k",
            newest_seen=0,
        )

    assert [run.pieces_planned for run in made] == [2, 2]
    assert BottlingRun.objects.count() == 2


def test_what_is_wrong_with_one_run_names_its_place_among_the_drafts(owner, tank, pound):
    shelf = builders.place("shelf", Place.Kind.SHELF)

    def refused(drafts, target=shelf) -> str | None:
        with pytest.raises(HouseError) as refusal:
            services.make_draft_runs(
                drafts=drafts,
                target=target,
                planned_for=today(),
                planned_by=owner,
                key="k",
                newest_seen=0,
            )
        return refusal.value.parameter

    assert refused([]) == "drafts"
    assert refused([DraftRun(tank, pound, 1)] * 201) == "drafts"
    assert refused([DraftRun(tank, pound, 1), DraftRun(tank, pound, 11)]) == "drafts.1.pieces"
    assert refused([DraftRun(shelf, pound, 1)]) == "drafts.0.source"
    assert refused([DraftRun(tank, pound, 1)], target=tank) == "target"


# --- What the books give to the plan ---------------------------------------------------------


def test_promised_held_and_planned_honey_is_not_free(tank, pound, owner):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    drum = builders.place("d-1", Place.Kind.DRUM)
    held = builders.place("tank-2")
    promised = Balance.objects.get(place=tank)
    builders.lot_in(drum, 1000)
    Lot.objects.filter(pk=builders.lot_in(held, 2000).pk).update(is_on_hold=True)
    runs.plan(
        product=pound,
        source=tank,
        target=shelf,
        pieces=3,
        planned_for=today(),
        planned_by=owner,
        key="run",
    )
    Balance.objects.filter(pk=promised.pk).update(reserved=536)

    books = the_books()

    assert [(vessel.place, vessel.free_grams) for vessel in books.vessels] == [
        (tank, 4000 - 3 * 454),
        (drum, 1000),
    ]
    assert books.planned_runs == 1


def test_ready_and_planned_jars_and_the_parts_of_planned_runs_are_set_aside(tank, pound, owner):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    jar = builders.part("Jar")
    builders.made_of(pound, jar)
    parts.receive(
        part=jar,
        place=shelf,
        pieces=10,
        cost_cents=625,
        supplier="Glass Works",
        received_on=today(),
        recorded_by=owner,
        key=builders.new_key(),
    )
    builders.packed_lot(pound, shelf, pieces=6)
    runs.plan(
        product=pound,
        source=tank,
        target=shelf,
        pieces=3,
        planned_for=today(),
        planned_by=owner,
        key="run",
    )

    books = the_books()

    assert books.products[0].ready == 6 + 3
    assert (books.parts[0].part, books.parts[0].stock) == (jar, 7)
    assert books.parts[0].cost == Decimal("0.6250")


def recorded_run(product, *, pieces: int, minutes: int) -> None:
    shelf = builders.place(builders.new_key(), Place.Kind.SHELF)
    packed = builders.packed_lot(product, shelf, pieces)
    BottlingRun.objects.create(
        number=builders.new_key(),
        lot_code=builders.new_key(),
        status=BottlingRun.Status.RECORDED,
        product=product,
        source=builders.place(builders.new_key()),
        target=shelf,
        pieces_planned=pieces,
        pieces_filled=pieces,
        pieces_broken=0,
        drawn_grams=pieces * 460,
        loss_grams=0,
        labour_minutes=minutes,
        packed_lot=packed,
        posting=packed.lines.get(quantity__gt=0).posting,
        recorded_at=timezone.now(),
        idempotency_key=builders.new_key(),
    )


def test_minutes_each_leave_out_setting_up_which_each_run_of_the_plan_counts(pound):
    recorded_run(pound, pieces=100, minutes=75)
    recorded_run(pound, pieces=20, minutes=39)
    # Nobody wrote down the work of this one, and this one took no longer than setting up.
    recorded_run(pound, pieces=1000, minutes=0)
    recorded_run(pound, pieces=1000, minutes=15)

    [product] = the_books().products

    # 75 − 15 and 39 − 15 minutes for 120 pieces.
    assert product.minutes_each == Decimal("0.7")


def test_minutes_each_are_those_of_short_runs_where_there_are_no_others(pound):
    recorded_run(pound, pieces=20, minutes=10)

    assert the_books().products[0].minutes_each == Decimal("0.5")


def test_minutes_each_that_were_entered_are_taken_as_they_are(pound):
    FillingTime.objects.create(product=pound, minutes_each=Decimal("0.5"))

    assert the_books().products[0].minutes_each == Decimal("0.5")


def test_the_page_says_that_setting_up_is_counted_once_for_each_run(signed_in, house):
    assert (
        "“Minutes each” does not include 15 minutes of every past run for setting up and "
        "cleaning. If you change the minutes to set up and clean, change “Minutes each” "
        "too."
    ) in words_of(signed_in.get(URL))


def test_a_product_that_the_honey_does_not_go_into_is_not_planned(signed_in, house):
    house.size.brimful_ml = Decimal(300)
    house.size.save()

    page = signed_in.get(URL)

    assert page.context["found"].best.runs == ()
    assert page.context["found"].best.statement.total_cents == 2000


def test_drums_are_in_the_plan_until_they_are_left_as_they_are(signed_in, house):
    drum = builders.place("d-1", Place.Kind.DRUM, name="Drum 1")
    builders.lot_in(drum, TEN_POUNDS_GRAMS)

    all_honey = signed_in.get(URL)
    tanks = signed_in.get(URL, {"honey": "tanks"})
    told = signed_in.get(URL, {"honey": "tanks", f"use-{drum.pk}": "10"})

    # Sold as it stands: 4,536 g at 2.00 a pound.
    assert all_honey.context["found"].best.statement.total_cents == 4800 + 2000
    assert [bulk.drums for bulk in all_honey.context["found"].best.bulk] == [1, 1]
    assert tanks.context["found"].best.statement.total_cents == 4800
    assert "Not used, because you left the drums as they are: Drum 1." in words_of(tanks)
    assert told.context["found"].best.statement.total_cents == 4800 + 2000


def test_who_types_the_free_weight_as_it_is_shown_gets_all_of_it(signed_in, house, tank):
    # 100.1 lb, shown as 100 lb.
    builders.lot_in(tank, 45_400 - TEN_POUNDS_GRAMS)

    def used(typed: str, unit: str = "lb") -> int:
        page = signed_in.get(URL, {f"use-{tank.pk}": typed, f"use-{tank.pk}_unit": unit})
        return page.context["form"].figures().grams[tank.pk]

    assert used("100") == used("100.3") == used("45400", "g") == 45_400
    assert used("99") == 44_906
    assert used("100.05") == 45_382
    refused = signed_in.get(URL, {f"use-{tank.pk}": "101"})
    assert refused.context["form"].errors[f"use-{tank.pk}"] == [
        "Holding tank has 100 lb free. Enter no more than that."
    ]


def test_vessels_that_are_alike_stand_together_and_each_can_be_changed(signed_in, house, tank):
    drums = [builders.place(f"d-{n}", Place.Kind.DRUM, name=f"Drum {n}") for n in (1, 2, 3)]
    lots = [builders.lot_in(drum, TEN_POUNDS_GRAMS) for drum in drums]

    def grams(**typed) -> list[int]:
        figures = signed_in.get(URL, typed).context["form"].figures()
        return [figures.grams[drum.pk] for drum in drums]

    page = signed_in.get(URL)
    alone, together = page.context["form"].pool_rows
    pool = f"use-pool-{drums[0].pk}"

    assert (alone.vessels[0].place, alone.rows) == (tank, [])
    assert [row.vessel.place for row in together.rows] == drums
    assert together.lots == ", ".join(lot.code for lot in lots)
    assert "3 drums" in words_of(page)
    assert grams() == [TEN_POUNDS_GRAMS] * 3
    assert grams(**{pool: "15"}) == [4536, 2268, 0]
    assert grams(**{pool: "15", f"use-{drums[0].pk}": "0"}) == [0, 4536, 2268]
    bids = (
        signed_in.get(URL, {f"bid-pool-{drums[0].pk}": "3", f"bid-{drums[2].pk}": "4"})
        .context["form"]
        .figures()
        .bids
    )
    assert [bids[drum.pk] for drum in drums] == [3, 3, 4]


def test_every_vessel_that_is_left_out_is_named_with_why(signed_in, house, tank, owner):
    held = builders.place("t-2", name="Held tank")
    Lot.objects.filter(pk=builders.lot_in(held, 2000).pk).update(is_on_hold=True)
    promised = builders.place("d-1", Place.Kind.DRUM, name="Promised drum")
    builders.lot_in(promised, 1000)
    Balance.objects.filter(place=promised).update(reserved=1000)
    theirs = builders.place("t-3", name="Their tank")
    lot = builders.lot_in(theirs, 2000)
    Lot.objects.filter(pk=lot.pk).update(owner=builders.supplier("Ruth Weaver"))

    text = words_of(signed_in.get(URL, {f"use-{tank.pk}": "0"}))

    assert "Not used, because it is on hold: Held tank." in text
    assert "Not used, because it belongs to another beekeeper: Their tank." in text
    told = "Not used, because all of it is reserved or planned for a run: Promised drum."
    assert told in text
    assert "Not used, because of what you entered: Holding tank." in text


def test_setting_up_a_run_has_its_own_cost_and_a_run_its_least_size(signed_in, house):
    dear = signed_in.get(URL, {"run_cost": "1.50"}).context["found"].best
    small = signed_in.get(URL, {"least": "5"}).context["found"].best

    assert ("Setting up runs", "1 run at $1.50", -150) in [
        (line.label, line.how, line.cents) for line in dear.statement.lines
    ]
    assert dear.statement.total_cents == 4800 - 150
    # Four are wanted, and five make a run.
    assert small.runs == ()
    assert small.statement.total_cents == 2000


def test_the_least_run_is_the_smallest_of_the_last_year(signed_in, house):
    recorded_run(house, pieces=6, minutes=30)
    recorded_run(house, pieces=3, minutes=20)

    page = signed_in.get(URL, {f"pieces-{house.pk}-stand": "11"})

    # Nine are ready, and two more are wanted.
    assert page.context["form"]["least"].value() == 3
    assert page.context["found"].best.runs == ()
    assert (
        "The plan makes no run of fewer than 3 pieces, which is your smallest run of the last year."
    ) in words_of(page)


def test_a_plan_that_no_other_beats_by_a_thousandth_says_so_calmly(signed_in, house, monkeypatch):
    def close(given, *, seconds):
        found = proof.solve(given, seconds=seconds)
        return replace(found, is_proven=False, cents_at_most=found.plan.cents + 4)

    monkeypatch.setattr(programme, "solve", close)

    text = words_of(signed_in.get(URL))

    # 4 cents of 48 dollars are 0.0833 %.
    assert "No plan earns more than $0.04 (0.09 %) more than this one" in text
    assert "That was worked out exactly." in text
    assert "Search for some minutes" not in text


def test_the_books_are_read_in_a_constant_number_of_queries(
    tank, pound, owner, django_assert_num_queries
):
    with CaptureQueriesContext(connection) as before:
        the_books()
    for number in range(4):
        place = builders.place(f"more-{number}")
        builders.lot_in(place, 1000)
        product = builders.product(f"Product {number}")
        builders.made_of(product, builders.part(f"Part {number}"))
        priced(product, "stand", 500)

    with django_assert_num_queries(len(before)):
        the_books()


# --- What past sales let expect --------------------------------------------------------------


def test_sales_of_the_same_months_of_earlier_years_are_counted(pound):
    day = date(2026, 5, 10)
    sold(pound, 7, date(2025, 5, 10))
    sold(pound, 5, date(2025, 8, 9))
    sold(pound, 100, date(2025, 8, 10))
    sold(pound, 100, date(2025, 5, 9))
    sold(pound, 3, date(2024, 5, 10))
    sold(pound, 100, date(2025, 6, 1), status="cancelled")
    sold(pound, 100, date(2025, 6, 1), status="quoted")
    sold(pound, 100, date(2026, 5, 1))

    history = past_sales.history(on=day, months=3)

    assert history.is_same_season
    assert history.periods == (
        Period(date(2025, 5, 10), date(2025, 8, 9)),
        Period(date(2024, 5, 10), date(2024, 8, 9)),
    )
    assert history.of(pound.pk, "stand").pieces == (12, 3)


def test_without_earlier_years_the_months_just_past_stand_in(pound):
    sold(pound, 7, date(2026, 5, 9))
    sold(pound, 100, date(2026, 2, 9))

    history = past_sales.history(on=date(2026, 5, 10), months=3)

    assert not history.is_same_season
    assert history.periods == (Period(date(2026, 2, 10), date(2026, 5, 9)),)
    assert history.of(pound.pk, "stand").pieces == (7,)


def test_sales_go_to_the_channel_whose_price_and_costs_they_have(pound):
    shop = builders.customer("Shop", tier=Customer.Tier.SHOP)
    distributor = builders.customer("Distributor", tier=Customer.Tier.DISTRIBUTOR)
    day = date(2026, 5, 1)
    sold(pound, 1, day)
    sold(pound, 2, day, channel="shop", customer=shop)
    sold(pound, 4, day, channel="delivery", customer=shop)
    sold(pound, 8, day, channel="delivery", customer=distributor)

    history = past_sales.history(on=date(2026, 5, 10), months=1)

    assert {row.channel: row.pieces for row in history.sales} == {
        "stand": (1,),
        "shop": (2,),
        "delivery": (4,),
        "distributor": (8,),
    }


def test_a_period_that_begins_on_a_leap_day_has_earlier_years(pound):
    history = past_sales.history(on=date(2028, 2, 29), months=1)

    assert history.periods == ()
    assert demand.period_from(date(2028, 2, 29), 1) == Period(date(2028, 2, 29), date(2028, 3, 28))
    assert demand.years_before(date(2028, 2, 29), 1) == date(2027, 2, 28)


@pytest.mark.django_db
def test_a_plan_fills_a_variety_from_its_own_honey_and_makes_its_runs(client):
    size = builders.size("One pound")
    buckwheat = products.save_honey(
        size=size, new_variety="Buckwheat", new_floral_source="buckwheat"
    )
    priced(buckwheat, "stand", 900)
    sold(buckwheat, 12, today() - timedelta(days=360))
    clover, dark = builders.place("tank-1", name="Tank 1"), builders.place("tank-2", name="Tank 2")
    builders.lot_in(clover, 50_000)
    builders.lot_in(dark, 50_000, floral_source="Buckwheat, wildflower")
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")

    books = the_books()
    made = services.make_draft_runs(
        drafts=[DraftRun(dark, buckwheat, 12)],
        target=shelf,
        planned_for=today(),
        planned_by=builders.person(),
        key="plan",
        newest_seen=0,
    )
    with pytest.raises(BadValue) as refused:
        services.make_draft_runs(
            drafts=[DraftRun(clover, buckwheat, 12)],
            target=shelf,
            planned_for=today(),
            planned_by=builders.person(),
            key="other",
            newest_seen=made[0].pk,
        )

    misfits = {vessel.place: vessel.misfits for vessel in books.vessels}
    assert buckwheat.pk in misfits[clover]
    assert buckwheat.pk not in misfits[dark]
    assert made[0].product == buckwheat
    assert refused.value.parameter == "drafts.0.variety_is_right"


@pytest.mark.django_db
def test_comb_and_chunk_honey_is_left_out_of_the_plan_with_a_line(client):
    size = builders.size("One pound")
    priced(size.standard_product, "stand", 900)
    chunk, comb = (products.save_honey(size=size, form=form) for form in ("chunk", "comb"))
    builders.lot_in(builders.place("tank-1"), 50_000)
    bid()
    client.force_login(builders.person("owner"))

    books = the_books()
    page = client.get(URL)

    assert [row.product for row in books.products] == [size.standard_product]
    assert books.left_out == (chunk, comb)
    assert (
        "Comb and chunk honey is not in the plan, because it is not only honey from a tank: "
        "One pound, chunk; One pound, comb." in words_of(page)
    )


def test_honey_above_the_limit_is_planned_only_after_a_tick(signed_in, house, tank, owner):
    Lot.objects.update(moisture_percent=Decimal("18.8"))
    shelf = builders.place("shelf", Place.Kind.SHELF)
    sentence = (
        "Lot 26-E01 in Holding tank has 18.8 % moisture, above your limit of 18.6 %, so it may "
        "ferment. Choose other honey, dry it or blend it, or tick that it is used all the same."
    )
    use = {f"use-{tank.pk}": "10", f"use-{tank.pk}_unit": "lb"}

    left = signed_in.get(URL)
    asked = signed_in.get(URL, use)
    told = signed_in.get(URL, {**use, "moisture_is_right": "on"})
    sent = shown_runs(told)
    form = {"target": shelf.pk, "planned_for": today().isoformat(), **sent}
    refused = signed_in.post(URL, form)
    signed_in.post(URL, {**form, "moisture_is_right": "True"})

    words = "Not used, because it is above your limit of moisture: Holding tank, 18.8 %."
    assert words in words_of(left)
    assert left.context["found"] is None or left.context["found"].best.runs == ()
    assert asked.context["form"].errors == {"moisture_is_right": [sentence]}
    assert 'name="moisture_is_right" value="True"' in told.text
    assert refused.status_code == 422
    assert BottlingRun.objects.get().source == tank
