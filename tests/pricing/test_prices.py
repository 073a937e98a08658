"""Which price holds: by tier, day, pieces and, for drums, by colour, moisture and source."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db.models import F
from hypothesis import given
from hypothesis import strategies as st

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import BulkPrice, PiecePrice
from apiary_sales.pricing.queries import prices as read
from apiary_sales.pricing.rules import price_changes
from apiary_sales.pricing.rules.prices import PieceOffer, PricesOfProduct
from apiary_sales.pricing.services import prices
from apiary_sales.pricing.services.prices import PricesWanted
from inventory.bottling.models import Product, Size
from inventory.shared.errors import BadValue, NotAllowedNow
from tests import builders

STAND, SHOP = Customer.Tier.STAND, Customer.Tier.SHOP
MAY, JUNE = date(2026, 5, 1), date(2026, 6, 1)
DAY = timedelta(days=1)


@pytest.fixture
def pound(db):
    return builders.product()


def set_price(product, cents, *, on=MAY, tier=STAND, **fields):
    return prices.set_piece(product=product, tier=tier, piece_cents=cents, valid_from=on, **fields)


def price(product, on, pieces=1, tier=STAND):
    offer = read.price_list(tier, on).of(product).offer(pieces)
    return None if offer is None else offer.piece_cents


def unit_price(product, pieces):
    """The price of one piece of an order line at the stand's prices in May."""
    return read.price_list(STAND, MAY).of(product).unit_price(pieces)


def test_a_price_holds_from_its_day_until_the_next_one(pound):
    set_price(pound, 900, on=MAY)
    set_price(pound, 950, on=JUNE)

    assert price(pound, MAY - DAY) is None
    assert price(pound, MAY) == 900
    assert price(pound, JUNE - DAY) == 900
    assert price(pound, JUNE) == 950


def test_of_two_prices_for_the_same_day_the_one_entered_last_holds(pound):
    set_price(pound, 900)
    set_price(pound, 925)

    assert price(pound, MAY) == 925
    assert PiecePrice.objects.count() == 2


def test_the_same_price_set_twice_is_one_row(pound):
    first = set_price(pound, 900)
    second = set_price(pound, 900)

    assert second == first
    assert PiecePrice.objects.count() == 1


def test_each_tier_has_its_own_price(pound):
    set_price(pound, 900, tier=STAND)
    set_price(pound, 650, tier=SHOP)

    assert price(pound, MAY, tier=STAND) == 900
    assert price(pound, MAY, tier=SHOP) == 650
    assert price(pound, MAY, tier=Customer.Tier.DISTRIBUTOR) is None


def test_a_quantity_break_holds_from_its_pieces_on(pound):
    set_price(pound, 900)
    set_price(pound, 850, min_pieces=24)

    assert price(pound, MAY, pieces=23) == 900
    assert price(pound, MAY, pieces=24) == 850
    assert price(pound, MAY, pieces=25) == 850


def test_a_break_without_a_price_ends_it(pound):
    set_price(pound, 900)
    set_price(pound, 850, min_pieces=24)
    set_price(pound, None, min_pieces=24, on=JUNE)

    assert price(pound, JUNE - DAY, pieces=24) == 850
    assert price(pound, JUNE, pieces=24) == 900


def test_ending_the_price_of_one_ends_the_breaks_too(pound):
    set_price(pound, 900)
    set_price(pound, 850, min_pieces=24)
    set_price(pound, None, on=JUNE)

    assert price(pound, JUNE, pieces=1) is None
    assert price(pound, JUNE, pieces=24) is None
    assert price(pound, JUNE - DAY, pieces=24) == 850


def test_a_break_must_cost_less_than_fewer_pieces_do(pound):
    set_price(pound, 900)

    with pytest.raises(BadValue) as refused:
        set_price(pound, 900, min_pieces=24)

    assert refused.value.parameter == "piece_cents"
    assert refused.value.message == (
        "Customers who take fewer pay $9.00 per piece. Enter a price below that."
    )
    assert PiecePrice.objects.count() == 1


def test_a_break_needs_the_price_of_a_single_piece(pound):
    with pytest.raises(BadValue, match=r"^Set the price of a single piece first\.$"):
        set_price(pound, 850, min_pieces=24)


def test_a_case_may_not_cost_more_than_its_pieces(pound):
    with pytest.raises(BadValue) as refused:
        set_price(pound, 900, case_cents=10801)

    assert refused.value.parameter == "case_cents"
    assert refused.value.message == (
        "A case at $108.01 costs more than its 12 pieces sold singly, $108.00. Enter a "
        "lower price for the case."
    )
    assert set_price(pound, 900, case_cents=10800).case_cents == 10800


def test_an_absurd_price_is_refused(pound):
    with pytest.raises(BadValue) as refused:
        set_price(pound, 1_000_001)

    assert refused.value.message == (
        "$10,000.01 for one piece is too much. Check the decimal point."
    )


def test_the_prices_of_a_product_are_set_together_and_only_what_differs_makes_a_row(pound):
    set_price(pound, 900)
    set_price(pound, 650, tier=SHOP)

    rows = prices.set_product(
        product=pound,
        wanted={
            STAND: PricesWanted(900, None),
            SHOP: PricesWanted(675, 7800),
            "distributor": PricesWanted(None, None),
        },
        valid_from=JUNE,
    )

    assert [(row.tier, row.piece_cents, row.case_cents) for row in rows] == [(SHOP, 675, 7800)]
    assert price(pound, JUNE, tier=SHOP) == 675
    assert PiecePrice.objects.count() == 3


def test_when_one_price_of_a_product_is_refused_none_is_set(pound):
    with pytest.raises(BadValue) as refused:
        prices.set_product(
            product=pound,
            wanted={STAND: PricesWanted(900, None), SHOP: PricesWanted(None, 7800)},
            valid_from=MAY,
        )

    assert refused.value.parameter == "wanted.shop.case_cents"
    assert refused.value.message == "Enter the price of one piece too."
    assert not PiecePrice.objects.exists()


@pytest.mark.parametrize(
    ("pieces", "expected"),
    [
        # 100.00 for a case of 12: 100 ÷ 12 = 8.33333…, to four places 8.3333.
        (12, "8.3333"),
        (24, "8.3333"),
        # Not whole cases: the piece price.
        (11, "9.0000"),
        (13, "9.0000"),
    ],
)
def test_whole_cases_go_at_the_case_price(pound, pieces, expected):
    set_price(pound, 900, case_cents=10000)

    assert unit_price(pound, pieces) == Decimal(expected)


@pytest.mark.parametrize(
    ("pieces", "expected"),
    [
        (5, "5.4000"),
        (6, "5.3000"),
        (11, "5.3000"),
        # 60.00 ÷ 12 = 5.00 is less than 5.30.
        (12, "5.0000"),
        (13, "5.3000"),
        (24, "5.0000"),
        # From 36 on a piece at 4.90 is less than one of a case at 5.00.
        (36, "4.9000"),
    ],
)
def test_whole_cases_go_at_the_case_price_or_the_quantity_price_whichever_is_lower(
    pound, pieces, expected
):
    set_price(pound, 540, case_cents=6000)
    set_price(pound, 530, min_pieces=6)
    set_price(pound, 490, min_pieces=36)

    assert unit_price(pound, pieces) == Decimal(expected)


def test_a_quantity_price_that_names_a_case_price_of_its_own_keeps_it(pound):
    set_price(pound, 540, case_cents=6000)
    set_price(pound, 530, min_pieces=48, case_cents=5400)

    listed = read.price_list(STAND, MAY).of(pound)

    assert listed.offer(47) == PieceOffer(540, 6000)
    assert listed.offer(48) == PieceOffer(530, 5400)
    # 54.00 ÷ 12 = 4.50.
    assert listed.unit_price(48) == Decimal("4.5000")


def test_without_a_price_a_line_has_none(pound):
    assert unit_price(pound, 1) is None
    assert price(pound, MAY) is None


def test_the_price_list_names_every_product_in_use(pound):
    pail = builders.product("Pail", "60")
    builders.product("Old jar", is_active=False)
    set_price(pound, 900, case_cents=10000)

    listed = read.price_list(STAND, MAY)

    assert {row.product for row in listed.products} == {pound, pail}
    assert listed.of(pound).offer() == PieceOffer(900, 10000)
    assert listed.of(pail).offer() is None


def test_price_lists_take_the_same_number_of_queries_whatever_their_length(
    pound, django_assert_num_queries
):
    for number in range(5):
        product = builders.product(f"Product {number}")
        set_price(product, 900)
        set_price(product, 850, min_pieces=12)

    with django_assert_num_queries(2):
        read.all_price_lists(MAY)


# ---- drums


def bulk(price, **fields):
    fields.setdefault("valid_from", MAY)
    value = None if price is None else Decimal(price)
    return prices.set_bulk(price_per_pound=value, **fields)


def bulk_price(on=MAY, *, colour="White", moisture="17.4", source="Clover"):
    row = read.bulk_list(on).row_for(
        colour_class=colour, moisture_percent=Decimal(moisture), floral_source=source
    )
    return row and row.price_per_pound


def test_a_lot_takes_the_price_of_its_colour_moisture_and_source(db):
    tank = builders.place("tank-1")
    # 30 mm Pfund is White (over 17 to 34 mm; U.S. grade standard of 1985).
    lot = builders.lot_in(tank, colour_mm="30", moisture_percent="17.4")
    bulk("2.10", colour_class="White", moisture_percent_max=Decimal("18.6"))

    assert read.bulk_list(MAY).price_per_pound(lot) == Decimal("2.10")
    assert read.bulk_list(MAY - DAY).price_per_pound(lot) is None


def test_floral_source_comes_before_colour_and_colour_before_any(db):
    bulk("1.50")
    assert bulk_price() == Decimal("1.50")
    bulk("2.00", colour_class="White")
    assert bulk_price() == Decimal("2.00")
    bulk("2.50", floral_source="Clover")
    assert bulk_price() == Decimal("2.50")
    bulk("2.60", floral_source="clover", colour_class="White")
    assert bulk_price() == Decimal("2.60")
    assert bulk_price(source="Buckwheat") == Decimal("2.00")
    assert bulk_price(source="Buckwheat", colour="Amber") == Decimal("1.50")


@pytest.mark.parametrize(
    ("moisture", "expected"),
    [("17.9", "2.20"), ("18.0", "2.20"), ("18.01", "2.00"), ("18.6", "2.00"), ("18.61", None)],
)
def test_the_lowest_moisture_step_that_covers_the_honey_counts(db, moisture, expected):
    bulk("2.20", moisture_percent_max=Decimal("18.0"))
    bulk("2.00", moisture_percent_max=Decimal("18.6"))

    assert bulk_price(moisture=moisture) == (expected and Decimal(expected))


def test_a_later_bulk_price_takes_over_and_can_end(db):
    bulk("2.00")
    bulk("2.15", valid_from=JUNE)
    bulk(None, valid_from=JUNE + 30 * DAY)

    assert bulk_price(on=JUNE - DAY) == Decimal("2.00")
    assert bulk_price(on=JUNE) == Decimal("2.15")
    assert bulk_price(on=JUNE + 30 * DAY) is None
    assert BulkPrice.objects.count() == 3


def test_honey_of_unknown_colour_takes_only_a_price_for_any_colour(db):
    bulk("2.00", colour_class="White")
    assert bulk_price(colour=None) is None
    bulk("1.50")
    assert bulk_price(colour=None) == Decimal("1.50")


def test_bulk_prices_refuse_what_is_no_colour_or_moisture(db):
    with pytest.raises(BadValue, match="There is no colour class Pink"):
        bulk("2.00", colour_class="Pink")
    with pytest.raises(BadValue, match="Enter a moisture from 10 to 30 percent"):
        bulk("2.00", moisture_percent_max=Decimal("30.01"))
    assert not BulkPrice.objects.exists()


def test_many_lots_are_priced_from_one_query(db, django_assert_num_queries):
    bulk("2.00")
    lots = [builders.lot_in(builders.place(f"d{number}")) for number in range(4)]

    with django_assert_num_queries(1):
        listed = read.bulk_list(MAY)
        assert [listed.price_per_pound(lot) for lot in lots] == [Decimal("2.00")] * 4


# ---- rounding and change by percent


@pytest.mark.parametrize(
    ("cents", "ending", "expected"),
    [
        ("872.4", "cent", 872),
        ("872.5", "cent", 873),
        ("849.99", "00", 800),
        ("850", "00", 900),
        ("862.49", "25", 850),
        ("862.5", "25", 875),
        ("873.9", "49", 849),
        ("874", "49", 899),
        ("1049", "99", 1099),
        ("1048.99", "99", 999),
        # A price of something never becomes nothing.
        ("10", "00", 100),
        ("5", "25", 25),
        ("5", "49", 49),
        ("0", "00", 0),
    ],
)
def test_a_price_is_rounded_to_the_nearest_wanted_ending(cents, ending, expected):
    assert price_changes.rounded(Decimal(cents), ending) == expected


@given(
    cents=st.decimals(min_value=Decimal("0.01"), max_value=Decimal(500_000), places=2),
    ending=st.sampled_from(price_changes.Ending.values),
)
def test_rounding_moves_a_price_by_half_a_step_at_most_and_never_to_nothing(cents, ending):
    step = {"cent": 1, "00": 100, "25": 25, "49": 50, "99": 100}[ending]
    ends = {"cent": range(100), "00": [0], "25": [0, 25, 50, 75], "49": [49, 99], "99": [99]}

    result = price_changes.rounded(cents, ending)

    assert result > 0
    assert result % 100 in ends[ending]
    assert abs(result - cents) <= Decimal(step) / 2 or result in (step, step - 1, 49, 99)


def change(tiers=(STAND,), percent="5", ending="cent", on=JUNE):
    lists = read.price_lists(tiers, on)
    return price_changes.changes(lists, percent=Decimal(percent), ending=ending)


def post(table, tiers=(STAND,), percent="5", ending="cent", on=JUNE):
    return prices.change_by_percent(
        tiers=list(tiers),
        percent=Decimal(percent),
        ending=ending,
        valid_from=on,
        seen=price_changes.fingerprint(table),
    )


def test_a_change_by_percent_shows_before_and_after_and_saves_nothing(pound):
    set_price(pound, 900, case_cents=9900)
    set_price(pound, 850, min_pieces=24)

    seen = change(percent="5", ending="49")

    # 9.00 × 1.05 = 9.45 → .49; a case 99.00 × 1.05 = 103.95 → 103.99; 8.50 × 1.05 = 8.925 → 8.99.
    assert [(row.min_pieces, row.new_piece_cents, row.new_case_cents) for row in seen] == [
        (1, 949, 10399),
        (24, 899, None),
    ]
    assert PiecePrice.objects.count() == 2


@pytest.mark.parametrize(
    ("ending", "piece_cents", "case_cents"),
    [
        # 5.40 × 0.99 = 5.346 → 5.00, and 12 of them are 60.00; 64.00 × 0.99 = 63.36 → 63.00.
        ("00", 500, 6000),
        # 5.346 → 4.99, and 12 of them are 59.88; the next lower price in .99 is 58.99.
        ("99", 499, 5899),
        # 5.346 → 5.35, and 12 of them are 64.20: 63.36 stays.
        ("cent", 535, 6336),
    ],
)
def test_a_change_by_percent_never_makes_a_case_dearer_than_its_pieces(
    pound, ending, piece_cents, case_cents
):
    set_price(pound, 540, case_cents=6400)

    [seen] = change(percent="-1", ending=ending)
    post([seen], percent="-1", ending=ending)

    assert (seen.new_piece_cents, seen.new_case_cents) == (piece_cents, case_cents)
    assert seen.is_case_capped == (ending != "cent")
    offer = read.price_list(STAND, JUNE).of(pound).offer()
    assert offer == PieceOffer(piece_cents, case_cents)


def test_a_quantity_price_that_a_change_makes_no_lower_than_fewer_cost_ends(pound):
    set_price(pound, 540)
    set_price(pound, 530, min_pieces=6)
    set_price(pound, 440, min_pieces=24)

    # 5.346 and 5.247 both round to 5.00; 4.356 to 4.00.
    seen = change(percent="-1", ending="00")
    post(seen, percent="-1", ending="00")

    assert [(row.min_pieces, row.new_piece_cents) for row in seen] == [
        (1, 500),
        (6, None),
        (24, 400),
    ]
    assert [price(pound, JUNE, pieces) for pieces in (1, 6, 24)] == [500, 500, 400]
    assert price(pound, JUNE - DAY, 6) == 530


@given(
    piece=st.integers(1, 5000),
    case=st.integers(1, 60_000),
    percent=st.decimals(min_value=-99, max_value=100, places=2).filter(bool),
    ending=st.sampled_from(price_changes.Ending.values),
)
def test_what_a_change_works_out_could_be_set_by_hand(piece, case, percent, ending):
    product = Product(size=Size(pieces_per_case=12))
    rows = [
        PiecePrice(min_pieces=1, piece_cents=piece, case_cents=min(case, piece * 12)),
        PiecePrice(min_pieces=6, piece_cents=piece - 1),
    ]
    prices_now = PricesOfProduct(product, tuple(rows))

    one, many = price_changes.changes_of(STAND, prices_now, 1 + percent / 100, ending)

    assert 0 < one.new_case_cents <= one.new_piece_cents * 12
    assert many.new_piece_cents is None or many.new_piece_cents < one.new_piece_cents


def test_a_change_by_percent_is_posted_as_new_rows_from_its_day(pound):
    set_price(pound, 900)
    set_price(pound, 650, tier=SHOP)

    post(change(percent="-10"), percent="-10")

    assert price(pound, JUNE) == 810
    assert price(pound, JUNE - DAY) == 900
    assert price(pound, JUNE, tier=SHOP) == 650


def test_the_same_change_sent_twice_raises_the_prices_once(pound):
    set_price(pound, 900)
    seen = change()
    post(seen)

    with pytest.raises(NotAllowedNow) as refused:
        post(seen)

    assert refused.value.message == (
        "The prices have changed since this table was made. "
        "Look at the new table, then change them."
    )
    assert price(pound, JUNE) == 945


def test_prices_that_stay_the_same_make_no_row(pound):
    set_price(pound, 100)

    # 1.00 × 1.001 = 1.001, which rounds back to 1.00.
    rows = post(change(percent="0.1"), percent="0.1")

    assert rows == []
    assert PiecePrice.objects.count() == 1


@pytest.mark.parametrize(
    ("percent", "message"),
    [
        ("0", "Enter by how much the prices go up or down."),
        ("100.01", "Prices can go up by 100 percent at most, and down by less than 100 percent."),
        ("-100", "Prices can go up by 100 percent at most, and down by less than 100 percent."),
    ],
)
def test_a_change_by_nothing_or_too_much_is_refused(pound, percent, message):
    with pytest.raises(BadValue) as refused:
        change(percent=percent)

    assert refused.value.message == message


def test_the_database_refuses_a_negative_price(pound):
    set_price(pound, 900)

    with pytest.raises(Exception, match="piece_price_amounts"):
        PiecePrice.objects.update(piece_cents=-F("piece_cents"))
