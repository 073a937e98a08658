"""What a part costs: on average in the books; as quoted, or as paid last, for plans."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from apiary_sales.pricing.queries import costs as pricing_costs
from apiary_sales.pricing.services import prices as pricing
from inventory.bottling.part_prices import part_prices
from inventory.bottling.services import parts
from inventory.shared.errors import BadValue
from tests import builders

pytestmark = pytest.mark.django_db
JUNE, JULY, AUGUST = date(2026, 6, 1), date(2026, 7, 1), date(2026, 8, 1)


@pytest.fixture
def jar():
    return parts.save(name="Jar, 1 lb", kind="jar")


@pytest.fixture
def receive(jar):
    shelf = builders.place("store", "shelf")

    def make(pieces, cost_cents, day):
        return parts.receive(
            part=jar,
            place=shelf,
            pieces=pieces,
            cost_cents=cost_cents,
            supplier="Valley Glass",
            received_on=day,
            recorded_by=builders.person(),
            key=builders.new_key(),
        )

    return make


def test_plans_take_the_quote_else_what_was_paid_last_else_nothing(jar, receive):
    """100 at .40 and 100 at .60: .50 on average, .60 last; .75 quoted."""
    assert part_prices()[jar.pk].for_plans is None

    receive(100, 4_000, JUNE)
    receive(100, 6_000, JULY)
    prices = part_prices()[jar.pk]
    assert (prices.average, prices.for_plans) == (50, 60)

    parts.quote(part=jar, unit_price=Decimal("0.7525"), quoted_on=AUGUST)
    prices = part_prices()[jar.pk]
    assert (prices.average, prices.for_plans) == (50, Fraction(301, 4))

    parts.quote(part=jar, unit_price=None)
    assert part_prices()[jar.pk].for_plans == 60


def test_what_came_free_once_is_no_price_of_the_next(jar, receive):
    """100 at .40, then 100 as a present: .20 on average, and .40 for the next."""
    receive(100, 4_000, JUNE)

    receive(100, 0, JULY)

    prices = part_prices()[jar.pk]
    assert (prices.average, prices.for_plans) == (20, 40)
    assert prices.last.paid_on == JUNE


def test_a_part_that_always_comes_free_costs_nothing(jar, receive):
    receive(100, 0, JUNE)

    assert part_prices()[jar.pk].for_plans == 0


def test_prices_of_an_earlier_day_leave_out_what_came_after(jar, receive):
    receive(100, 4_000, JUNE)
    receive(100, 6_000, JULY)
    parts.quote(part=jar, unit_price=Decimal("0.75"), quoted_on=AUGUST)

    assert pricing_costs.book(JULY).part_costs == {jar.pk: 60}
    assert pricing_costs.book(JUNE).part_costs == {jar.pk: 40}
    assert pricing_costs.book(AUGUST).part_costs == {jar.pk: 75}


def test_a_cost_line_says_whether_a_part_was_quoted_and_when_or_paid_last(jar, receive):
    pound = builders.product("One pound")
    builders.made_of(pound, jar)
    pricing.set_piece(product=pound, tier="stand", piece_cents=900, valid_from=JUNE)
    receive(100, 4_000, JUNE)
    parts.quote(part=jar, unit_price=Decimal("0.75"), quoted_on=AUGUST)

    def told(day):
        [line] = [
            line
            for line in pricing_costs.book(day).filled_cost(pound, pricing_costs.honey_cost()).lines
            if line.kind == "part"
        ]
        return line.how

    assert told(JULY) == "1 for 1, at $0.40, paid last"
    assert told(AUGUST) == "1 for 1, at $0.75, quoted on Aug 1, 2026"


def test_a_quote_has_a_price_that_can_be_and_a_day_that_has_come(jar):
    with pytest.raises(BadValue) as refused:
        parts.quote(part=jar, unit_price=Decimal("-0.01"))

    assert str(refused.value) == (
        "Enter the price of one, from 0 to 100,000, with up to four decimals."
    )
    assert refused.value.parameter == "unit_price"


def test_the_page_shows_the_three_prices_and_takes_a_quote(client, jar, receive):
    client.force_login(builders.person())
    receive(100, 4_000, JUNE)
    receive(100, 6_000, JULY)

    page = f"/bottling/parts/{jar.code}/"
    form = {"unit_price": "0.7525", "quoted_on": "2026-08-01", "key": "quote"}
    done = client.post(f"{page}quote/", form, follow=True).text

    assert "Jar, 1 lb is quoted at $0.7525." in done
    for price in ("$0.50", "last", "$0.60", "quoted", "$0.7525"):
        assert price in client.get("/bottling/parts/").text


def test_the_page_says_when_some_were_paid_for_since_the_quote(client, jar, receive):
    client.force_login(builders.person())
    receive(100, 4_000, JUNE)
    parts.quote(part=jar, unit_price=Decimal("0.75"), quoted_on=JUNE)
    told = "The quote is older than what was paid last"
    assert told not in client.get(f"/bottling/parts/{jar.code}/").text

    receive(100, 6_000, JULY)

    assert told in client.get(f"/bottling/parts/{jar.code}/").text
