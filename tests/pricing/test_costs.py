"""What a filled jar costs and what a pound brings back, against figures worked by hand."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apiary_sales.pricing.models import ChannelCost, FillingTime
from apiary_sales.pricing.queries import costs
from apiary_sales.pricing.rules.costs import CostLine, Fill, HoneyCost, JarNetBack, WhatIf
from apiary_sales.pricing.services import prices
from inventory.bottling.models import BottlingRun
from inventory.shared.models import House
from inventory.stock.models import ProductionSettings
from inventory.stock.services import ledger
from tests import builders

Channel = ChannelCost.Channel
TODAY = date(2026, 9, 1)
NOON = datetime(2026, 8, 20, 12, tzinfo=UTC)
WRITTEN_DOWN = datetime(2026, 8, 31, 12, tzinfo=UTC)


@pytest.fixture
def jar(db):
    """A 500 g jar: glass 0.60, lid 0.12, label 0.08, a case of 1.20 for 12."""
    product = builders.product("Half kilo", "500", "g")
    for name, kind, cents, count, per_pieces in (
        ("Glass", "jar", 6000, 100, 1),
        ("Lid", "lid", 2400, 200, 1),
        ("Label", "label", 1600, 200, 1),
        ("Case", "case", 1200, 10, 12),
    ):
        part = builders.part(name, kind)
        builders.made_of(product, part, per_pieces=per_pieces)
        receive_parts(part, count, cents)
    return product


def receive_parts(part, count, cents, on=date(2026, 3, 1)):
    shelf = builders.place(f"shelf-{part.pk}-{builders.new_key()}", "shelf")
    posting = ledger.post(
        kind="part_receipt",
        lines=ledger.move(
            item=part.item,
            lot=None,
            source=type(shelf).objects.outside("supplier"),
            target=shelf,
            quantity=count,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    part.receipts.create(
        place=shelf, pieces=count, cost_cents=cents, received_on=on, posting=posting
    )
    return posting


def run(product, *, filled, drawn_grams, loss_grams=0, broken=0, minutes=None, at=NOON, **fields):
    """Record a run's figures directly: the arithmetic on them is what is tested."""
    place = builders.place(builders.new_key(), "tank")
    shelf = builders.place(builders.new_key(), "shelf")
    packed = builders.packed_lot(product, shelf, filled, packed_at=at)
    return BottlingRun.objects.create(
        number=builders.new_key(),
        lot_code=builders.new_key(),
        status=BottlingRun.Status.RECORDED,
        product=product,
        source=place,
        target=shelf,
        pieces_planned=filled,
        pieces_filled=filled,
        pieces_broken=broken,
        drawn_grams=drawn_grams,
        loss_grams=loss_grams,
        labour_minutes=minutes,
        packed_lot=packed,
        posting=packed.lines.get(quantity__gt=0).posting,
        # Written down later: only the day of the bottling counts.
        recorded_at=WRITTEN_DOWN,
        idempotency_key=builders.new_key(),
        **fields,
    )


def labour(cents_per_hour):
    ProductionSettings(labour_cents_per_hour=cents_per_hour).save()


def priced(product, cents, tier="stand"):
    prices.set_piece(product=product, tier=tier, piece_cents=cents, valid_from=date(2026, 1, 1))


def lines_of(cost):
    return {line.label: line.each for line in cost.lines}


def test_the_cost_of_a_filled_jar_is_the_sum_of_its_lines(jar):
    # 100 jars filled and 2 broken from 53,000 g drawn, 1,000 g lost, 150 minutes.
    run(jar, filled=100, broken=2, drawn_grams=53_000, loss_grams=1_000, minutes=150)
    labour(2_000)
    # 400 kg of honey for 1,600.00: 0.40 cents a gram.
    lot = builders.lot_in(builders.place("tank-1"), 400_000, cost_cents=160_000)

    cost = costs.book(TODAY).filled_cost(jar, costs.honey_cost(lot))

    # Packed 53,000 − 1,000 − 2 × 500 = 51,000 g, 510 g a jar: 10 g over.
    assert cost.fill.net_grams == 510
    assert lines_of(cost) == {
        "Honey on the label": Decimal("2.0000"),  # 500 g × 0.40 ¢
        "Overfill": Decimal("0.0400"),  # 10 g × 0.40 ¢
        "Filling loss": Decimal("0.0400"),  # 1,000 ÷ 100 = 10 g × 0.40 ¢
        "Glass": Decimal("0.6000"),
        "Lid": Decimal("0.1200"),
        "Label": Decimal("0.0800"),
        "Case": Decimal("0.1000"),  # 1.20 ÷ 12
        # Two broken for a hundred filled: 0.02 × (2.00 honey + 0.80 glass, lid, label).
        "Broken pieces": Decimal("0.0560"),
        "Labour": Decimal("0.5000"),  # 1.5 minutes × 20.00 ÷ 60
    }
    assert cost.total == Decimal("3.5360")


def test_runs_without_minutes_do_not_make_the_work_on_a_piece_less(jar):
    run(jar, filled=100, drawn_grams=50_000, minutes=150)
    run(jar, filled=300, drawn_grams=150_000)

    # 150 minutes for the 100 jars whose minutes were entered.
    assert costs.book(TODAY).fill(jar).minutes == Decimal("1.5")
    assert costs.book(TODAY).fill(jar).runs == 2


def test_runs_whose_minutes_were_none_count_as_work_of_none(jar):
    FillingTime.objects.create(product=jar, minutes_each=Decimal("1.2"))
    run(jar, filled=100, drawn_grams=50_000, minutes=0)

    assert costs.book(TODAY).fill(jar).minutes == 0


def test_honey_without_a_cost_is_told_in_plain_words(jar):
    cost = costs.book(TODAY).filled_cost(jar, HoneyCost(None))

    assert cost.lines[0].how == "500.0 g; the cost of this honey is not entered"
    assert cost.lines[0].each is None


def test_without_runs_the_label_weight_and_the_entered_minutes_count(jar):
    FillingTime.objects.create(product=jar, minutes_each=Decimal("1.2"))
    labour(1_500)
    lot = builders.lot_in(builders.place("tank-1"), 400_000, cost_cents=160_000)

    cost = costs.book(TODAY).filled_cost(jar, costs.honey_cost(lot))

    # 2.00 honey + 0.60 + 0.12 + 0.08 + 0.10 parts + 1.2 × 15.00 ÷ 60 = 0.30 labour.
    assert cost.total == Decimal("3.2000")
    assert cost.fill.runs == 0


def test_what_is_not_entered_is_named_and_never_counts_as_nothing(jar):
    labour(2_000)
    lot = builders.lot_in(builders.place("tank-1"))
    builders.made_of(jar, builders.part("Seal", "other"))

    cost = costs.book(TODAY).filled_cost(jar, costs.honey_cost(lot))

    assert cost.missing == [
        "Honey on the label",
        "Overfill",
        "Filling loss",
        "Seal",
        "Labour",
    ]
    assert cost.total is None
    assert cost.of("part") is None
    assert cost.of("case") == Decimal("0.1000")


def test_a_product_without_parts_has_no_known_cost(db):
    product = builders.product()

    cost = costs.book(TODAY).filled_cost(product, costs.honey_cost())

    assert "Jar, lid and label" in cost.missing


def test_a_part_costs_what_the_last_receipt_that_still_stands_cost(jar):
    glass = jar.size.size_parts.get(part__name="Glass").part
    receive_parts(glass, 300, 27_000)
    undone = receive_parts(glass, 50, 99_999)
    ledger.reverse(posting=undone, recorded_by=builders.person(), key=builders.new_key())
    receive_parts(glass, 50, 99_999, on=TODAY + timedelta(days=1))

    cost = costs.book(TODAY).filled_cost(jar, costs.honey_cost())

    # 300 for 270.00.
    assert lines_of(cost)["Glass"] == Decimal("0.9000")


@pytest.mark.parametrize(("days_ago", "runs"), [(0, 1), (364, 1), (365, 0), (366, 0), (-1, 0)])
def test_only_runs_of_the_last_twelve_months_count(jar, days_ago, runs):
    noon = datetime(2026, 9, 1, 12, tzinfo=UTC) - timedelta(days=days_ago)
    run(jar, filled=10, drawn_grams=5_200, at=noon)

    assert costs.book(TODAY).fill(jar).runs == runs


def test_an_undone_run_does_not_count(jar):
    undone = run(jar, filled=10, drawn_grams=9_000)
    BottlingRun.objects.filter(pk=undone.pk).update(status=BottlingRun.Status.REVERSED)

    assert costs.book(TODAY).fill(jar).net_grams == 500


def test_the_average_honey_cost_is_weighted_by_what_is_there(db):
    # 100 kg at 0.30 and 300 kg at 0.50 cents a gram: (30,000 + 150,000) ÷ 400,000 = 0.45.
    builders.lot_in(builders.place("t1"), 100_000, cost_cents=30_000)
    builders.lot_in(builders.place("t2"), 300_000, cost_cents=150_000)

    # 0.45 ¢ × 453.59237 g = 204.1166 ¢ a pound.
    assert costs.honey_cost().per_pound == Decimal("2.0412")


def test_one_lot_without_a_cost_leaves_the_average_unknown(db):
    builders.lot_in(builders.place("t1"), 100_000, cost_cents=30_000)
    builders.lot_in(builders.place("t2"), 300_000)

    assert costs.honey_cost() == HoneyCost(None)


# ---- net back


@pytest.fixture
def sold_jar(jar):
    """The jar with a run (522 g drawn a jar), labour at 20.00 an hour, and a price of 9.00."""
    run(jar, filled=100, broken=2, drawn_grams=52_200, loss_grams=200, minutes=150)
    labour(2_000)
    priced(jar, 900)
    return jar


def test_net_back_a_pound_is_what_is_left_over_the_pounds_drawn(sold_jar):
    ChannelCost.objects.create(
        channel=Channel.STAND,
        discount_percent=2,
        card_percent=3,
        piece_cents=25,
        per_pound=Decimal("0.10"),
    )

    net_back = costs.book(TODAY).net_back(sold_jar, Channel.STAND)

    assert lines_of(net_back) == {
        "Price": Decimal("9.0000"),
        "Discount": Decimal("-0.1800"),  # 2 % of 9.00
        "Card fee": Decimal("-0.2646"),  # 3 % of 8.82
        # 0.25 + 0.10 × 500 ÷ 453.59237 = 0.25 + 0.11023
        "Selling this way": Decimal("-0.3602"),
        "Glass": Decimal("-0.6000"),
        "Lid": Decimal("-0.1200"),
        "Label": Decimal("-0.0800"),
        "Case": Decimal("-0.1000"),
        "Broken pieces": Decimal("-0.0160"),  # 0.02 × 0.80
        "Labour": Decimal("-0.5000"),
    }
    # 9 − 0.18 − 0.2646 − 0.3602 − 0.90 − 0.016 − 0.50 = 6.7792 for 522 g drawn:
    # 6.7792 × 453.59237 ÷ 522 = 5.8908.
    assert net_back.left == Decimal("6.7792")
    assert net_back.fill.drawn_grams == 522
    assert net_back.per_pound == Decimal("5.8908")


def test_shop_and_delivery_share_a_price_list_and_differ_in_cost(sold_jar):
    priced(sold_jar, 650, tier="shop")
    ChannelCost.objects.create(channel=Channel.DELIVERY, piece_cents=40)

    book = costs.book(TODAY)

    collected = book.net_back(sold_jar, Channel.SHOP)
    delivered = book.net_back(sold_jar, Channel.DELIVERY)
    assert collected.left - delivered.left == Decimal("0.40")
    assert book.net_back(sold_jar, Channel.DISTRIBUTOR) is None


def test_at_the_break_even_price_jar_and_drum_bring_back_the_same(sold_jar):
    ChannelCost.objects.create(channel=Channel.STAND, discount_percent=10, card_percent=2)
    book = costs.book(TODAY)
    drum = Decimal("2.20")

    break_even = book.net_back(sold_jar, Channel.STAND).break_even_price(drum)

    # 522 g = 1.150813 lb × 2.20 = 2.531788 for the honey, and 0.90 + 0.016 + 0.50 = 1.416 for the
    # rest: 3.947788 ÷ (0.90 × 0.98) = 4.47595, rounded up to a cent.
    assert break_even == Decimal("4.48")
    at_it = book.supposing(WhatIf(piece_cents={(sold_jar.pk, Channel.STAND): 448}))
    below = book.supposing(WhatIf(piece_cents={(sold_jar.pk, Channel.STAND): 447}))
    assert at_it.net_back(sold_jar, Channel.STAND).per_pound >= drum
    assert below.net_back(sold_jar, Channel.STAND).per_pound < drum


def test_the_drum_price_that_brings_the_same_is_found_the_other_way_round(db):
    ChannelCost.objects.create(
        channel=Channel.BULK, discount_percent=5, card_percent=0, per_pound=Decimal("0.05")
    )
    drum = costs.book(TODAY).drum_net_back(Decimal("2.00"))

    # 2.00 − 5 % − 0.05 = 1.85; to bring back 3.00: (3.00 + 0.05) ÷ 0.95 = 3.2105 → 3.22.
    assert drum.per_pound == Decimal("1.8500")
    assert drum.price_that_brings(Decimal("3.00")) == Decimal("3.22")


def test_the_best_jar_is_the_one_that_brings_back_most_and_is_known(sold_jar):
    dear = builders.product("Without parts", "1")
    priced(dear, 9_900)
    priced(sold_jar, 650, tier="shop")

    book = costs.book(TODAY)
    best = book.best_net_back()

    assert (best.product, best.channel) == (sold_jar, Channel.STAND)
    assert book.net_back(dear, Channel.STAND).per_pound is None


def test_without_any_priced_product_there_is_no_best_jar(jar):
    assert costs.book(TODAY).best_net_back() is None


def test_what_if_changes_the_answer_and_nothing_that_is_kept(sold_jar):
    book = costs.book(TODAY)

    tried = book.supposing(
        WhatIf(labour_cents_per_hour=4_000, overfill_percent=Decimal(10), jar_percent=Decimal(5))
    ).net_back(sold_jar, Channel.STAND)

    assert tried.price == Decimal("9.4500")
    assert lines_of(tried)["Labour"] == Decimal("-1.0000")
    # 550 in the jar + 2 lost + 0.02 × 500 broken.
    assert tried.fill.drawn_grams == 562
    assert book.net_back(sold_jar, Channel.STAND).price == Decimal("9.0000")
    assert ProductionSettings.current().labour_cents_per_hour == 2_000


def test_the_ladder_goes_from_worst_to_best_with_the_unknown_first(sold_jar):
    unknown = builders.product("Unknown", "1")
    priced(unknown, 100)
    priced(sold_jar, 650, tier="shop")

    ladder = costs.book(TODAY).net_backs()

    assert [(each.product.name, each.channel) for each in ladder] == [
        ("Unknown", "stand"),
        ("Half kilo", "shop"),
        ("Half kilo", "delivery"),
        ("Half kilo", "stand"),
    ]


def test_the_book_takes_the_same_queries_whatever_the_number_of_products(
    sold_jar, django_assert_max_num_queries
):
    for number in range(5):
        priced(builders.product(f"Product {number}"), 500)

    # Products, prices, parts of sizes and products, receipts, runs, times, settings, channels.
    with django_assert_max_num_queries(10):
        costs.book(TODAY).net_backs()


@given(
    price=st.integers(0, 100_000),
    discount=st.integers(0, 50),
    card=st.integers(0, 10),
    drawn=st.decimals(100, 20_000, places=1),
    drum=st.decimals(0, 20, places=2),
)
def test_a_jar_at_its_break_even_price_never_loses_to_the_drum(price, discount, card, drawn, drum):
    product = builders.Product(
        size=builders.Size(
            name="Any", declared_amount=Decimal(1), declared_unit="lb", pieces_per_case=12
        )
    )
    fill = Fill(0, drawn, Decimal(0), Decimal(0), None, product.declared_grams)
    kept = (1 - Decimal(discount) / 100) * (1 - Decimal(card) / 100)
    parts = CostLine("part", "Parts", "", Decimal("-1.2345"))
    net_back = JarNetBack(product, "stand", Decimal(price), fill, (parts,), kept)

    break_even = net_back.break_even_price(drum)

    left = break_even * kept - Decimal("1.2345")
    assert left >= drum * fill.drawn_pounds - Decimal("0.000001")
    if break_even:
        left_below = (break_even - Decimal("0.01")) * kept - Decimal("1.2345")
        assert left_below < drum * fill.drawn_pounds + Decimal("0.000001")


def test_the_tax_that_is_in_a_price_is_not_what_the_house_keeps(jar):
    House(weight_unit="kg", prices_include_tax=True).save()
    prices.set_tax_rate(name="IVA", goods="honey", percent=Decimal(10), valid_from=date(2026, 1, 1))
    priced(jar, 770)

    book = costs.book(TODAY)
    net_back, drum = book.net_back(jar, Channel.STAND), book.drum_net_back(Decimal("5.50"))

    # 7.70 holds 0.70 of tax, 5.50 holds 0.50; glass, lid, label and a twelfth of a case are 0.90.
    assert lines_of(net_back)["Tax in the price"] == Decimal("-0.7000")
    assert (net_back.left, drum.per_pound) == (Decimal("6.1000"), Decimal("5.0000"))
    # Half a kilogram of the drum is 2.50, with the parts 3.40: with a tenth of tax 3.74.
    assert net_back.break_even_price(drum.per_pound) == Decimal("3.74")
