"""Drums weighed as they leave: the scale is booked, handed over and billed."""

from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.core.management import call_command
from django.utils import timezone

from apiary_sales.orders import papers
from apiary_sales.orders.models import Fulfilment, Order, OrderLine, ShippedDrum, WeighOut
from apiary_sales.orders.services import orders, quotes, weigh_out
from apiary_sales.orders.services.weigh_out import DrumOnScale, ScaleUsed
from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError
from inventory.shared.services import house
from inventory.stock.models import Balance, Place, Posting, Shortage
from inventory.stock.services import drums, honey
from tests import builders
from tests.orders.conftest import charge

# A full drum of 295 kg at $2.15 a pound: 650.364 lb.
BOOK = 295_000


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    call_command("verify_ledger", verbosity=0)


@pytest.fixture
def order(full_drum, drum_line, packer, owner):
    return orders.take(
        customer=packer,
        channel="bulk",
        lines=[drum_line(full_drum(n)) for n in (1, 2, 3)] + [charge("drum_deposit", 3, "40")],
        created_by=owner,
        key="order",
        customer_reference="PO 4711",
    )


@pytest.fixture
def lines(order):
    return list(order.lines.filter(kind=OrderLine.Kind.HONEY).order_by("id"))


@pytest.fixture
def hand_over(order, owner):
    def act(key="out", **fields):
        return weigh_out.hand_over(order=order, filled_by=owner, key=key, **fields)

    return act


def test_each_drum_is_booked_and_billed_by_its_gross_less_its_tare(hand_over, lines):
    first, second, third = lines
    fulfilment = hand_over(
        drums={
            first.pk: DrumOnScale(gross_grams=312_000, seal="A-1"),
            second.pk: DrumOnScale(gross_grams=314_500, tare_grams=18_500, seal="A-2"),
        },
        scale=ScaleUsed(name="Floor scale 2", weighed_by="Bram"),
    )

    # 294 kg / 0.45359237 = 648.15905 lb; at $2.15 that is $1,393.54.
    first.refresh_from_db()
    assert (first.quantity, first.ordered, first.amount_cents) == (294_000, BOOK, 139_354)
    # 296 kg are 652.56829 lb, $1,403.02.
    second.refresh_from_db()
    assert (second.quantity, second.ordered, second.amount_cents) == (296_000, BOOK, 140_302)
    third.refresh_from_db()
    assert (third.quantity, third.ordered) == (BOOK, None)
    differences = [
        line.quantity
        for posting in Posting.objects.filter(kind=Posting.Kind.REWEIGHING).order_by("id")
        for line in posting.lines.filter(place__kind=Place.Kind.SCALE_DIFFERENCE)
    ]
    assert differences == [1_000, -1_000]
    shipped = ShippedDrum.objects.order_by("fulfilment_line__order_line").values_list(
        "gross_grams", "tare_grams", "net_grams", "book_grams", "seal"
    )
    assert list(shipped) == [
        (312_000, 18_000, 294_000, BOOK, "A-1"),
        (314_500, 18_500, 296_000, BOOK, "A-2"),
        (313_000, 18_000, BOOK, BOOK, ""),
    ]
    weighing = WeighOut.objects.get(fulfilment=fulfilment)
    assert (weighing.scale, weighing.weighed_by) == ("Floor scale 2", "Bram")
    assert Place.objects.get(code="drum-2").tare_grams == 18_500
    assert Balance.objects.in_vessel(first.drum) is None
    # The sale comes after the scale, in the same act.
    sale = fulfilment.posting
    assert all(
        (posting.occurred_at, posting.pk) < (sale.occurred_at, sale.pk)
        for posting in Posting.objects.filter(kind=Posting.Kind.REWEIGHING)
    )


def test_a_load_is_shared_to_the_gram_by_the_weights_on_the_books(hand_over, lines):
    hand_over(scale=ScaleUsed(name="Truck scale", load_net_grams=880_000))

    nets = [OrderLine.objects.get(pk=line.pk).quantity for line in lines]
    # A third of 880,000 is 293,333 and a third: the gram that is left goes to one of them.
    assert nets == [293_334, 293_333, 293_333]
    assert WeighOut.objects.get().load_net_grams == 880_000
    shipped = ShippedDrum.objects.values_list("gross_grams", "tare_grams", "net_grams")
    assert set(shipped) == {(311_334, 18_000, 293_334), (311_333, 18_000, 293_333)}


def test_a_load_is_shared_only_by_the_drums_that_leave_now(hand_over, lines):
    first, second, third = lines
    hand_over(
        quantities={first.pk: BOOK, second.pk: BOOK},
        scale=ScaleUsed(load_net_grams=591_000),
    )

    first.refresh_from_db()
    third.refresh_from_db()
    assert (first.quantity, third.quantity, third.filled) == (295_500, BOOK, 0)
    assert Balance.objects.in_vessel(third.drum).reserved == BOOK


# The house lets 1 % pass: 2,950 g of 295 kg.
@pytest.mark.parametrize(("net", "is_asked"), [(297_950, False), (297_951, True), (292_049, True)])
def test_a_difference_beyond_the_tolerance_is_asked_about(hand_over, lines, net, is_asked):
    weights = {lines[0].pk: DrumOnScale(net_grams=net)}
    if not is_asked:
        hand_over(drums=weights)
        return

    with pytest.raises(BadValue) as refused:
        hand_over(drums=weights)

    assert refused.value.parameter == "difference_is_right"
    assert "Drum 1:" in refused.value.message
    assert not Fulfilment.objects.exists()
    assert not Posting.objects.filter(kind=Posting.Kind.REWEIGHING).exists()
    hand_over(drums=weights, difference_is_right=True)
    assert OrderLine.objects.get(pk=lines[0].pk).filled == net


def test_the_tolerance_is_the_houses_own(hand_over, lines):
    house.change(drum_tolerance_percent=Decimal("0.1"))

    with pytest.raises(BadValue, match=r"0\.1 %"):
        hand_over(drums={lines[0].pk: DrumOnScale(net_grams=BOOK - 296)})


@pytest.mark.parametrize(
    ("weight", "name", "words"),
    [
        ({"gross_grams": 17_000}, "gross_grams", "must weigh more than the empty drum"),
        ({"gross_grams": 800_000}, "gross_grams", "more than a drum of honey weighs"),
        ({"net_grams": 0}, "net_grams", "more than zero"),
        ({"net_grams": 800_000}, "net_grams", "more than a drum of honey weighs"),
        ({"gross_grams": 313_000, "net_grams": 295_000}, "net_grams", "not both"),
        ({"tare_grams": 18_000}, "gross_grams", "full container"),
    ],
)
def test_impossible_weights_are_refused_at_their_drum(hand_over, lines, weight, name, words):
    with pytest.raises(HouseError) as refused:
        hand_over(drums={lines[0].pk: DrumOnScale(**weight)})

    assert [p.parameter for p in refused.value.problems] == [f"drums.{lines[0].pk}.{name}"]
    assert words in refused.value.problems[0].message
    assert not Fulfilment.objects.exists()


def test_a_seal_is_on_one_drum_and_a_load_is_weighed_one_way(hand_over, lines):
    with pytest.raises(HouseError, match="Seal 9 is on two drums"):
        hand_over(drums={line.pk: DrumOnScale(seal="9") for line in lines[:2]})
    with pytest.raises(HouseError, match="not both"):
        hand_over(
            drums={lines[0].pk: DrumOnScale(net_grams=BOOK)},
            scale=ScaleUsed(load_net_grams=880_000),
        )
    with pytest.raises(HouseError, match="Open the order again"):
        hand_over(drums={0: DrumOnScale(net_grams=BOOK)})


def test_the_same_form_twice_weighs_and_hands_over_once(hand_over, lines):
    weights = {lines[0].pk: DrumOnScale(net_grams=294_000)}
    made = hand_over(drums=weights)

    with pytest.raises(AlreadyRecorded) as repeat:
        hand_over(drums=weights)

    assert repeat.value.made == made
    assert Posting.objects.filter(kind=Posting.Kind.REWEIGHING).count() == 1


def test_a_drum_filled_and_sold_on_an_earlier_day_is_weighed_between_the_two(hand_over, lines):
    fill = Posting.objects.get(kind=Posting.Kind.DRUM_FILL, lines__place=lines[0].drum)
    today = timezone.localdate()

    with time_machine.travel(timezone.now() + timedelta(days=2)):
        made = hand_over(drums={lines[0].pk: DrumOnScale(net_grams=296_000)}, filled_on=today)

    scale = Posting.objects.get(kind=Posting.Kind.REWEIGHING)
    told = [fill, scale, made.posting]
    assert sorted(told, key=lambda posting: (posting.occurred_at, posting.pk)) == told
    assert timezone.localdate(made.posting.occurred_at) == today
    assert not Shortage.objects.exists()


def test_what_was_weighed_out_and_taken_back_is_reserved_at_its_new_weight(hand_over, lines, owner):
    made = hand_over(drums={lines[0].pk: DrumOnScale(net_grams=294_000)})

    orders.take_back(fulfilment=made, taken_by=owner, key="back", reason="Wrong buyer")

    there = Balance.objects.in_vessel(lines[0].drum)
    assert (there.quantity, there.reserved) == (294_000, 294_000)


def test_the_quote_keeps_the_weights_that_were_offered(packer, owner, key, full_drum, drum_line):
    quote = quotes.quote(
        customer=packer,
        lines=[drum_line(full_drum(7))],
        valid_until=timezone.localdate(),
        created_by=owner,
        key=key(),
    )
    offered = papers.quote_context(quote)["figures"]
    quotes.accept(order=quote, accepted_by=owner, key=key())
    [line] = quote.lines.all()
    weigh_out.hand_over(
        order=quote,
        drums={line.pk: DrumOnScale(net_grams=line.quantity - 1_000)},
        filled_by=owner,
        key=key(),
    )

    again = papers.quote_context(Order.objects.get(pk=quote.pk))["figures"]

    assert (again.grams, again.total_cents) == (offered.grams, offered.total_cents)


def test_a_quote_takes_the_weight_of_a_drum_that_was_weighed_again(
    full_drum, drum_line, packer, owner
):
    drum = full_drum(1)
    quote = quotes.quote(
        customer=packer,
        lines=[drum_line(drum)],
        valid_until=builders.today(),
        created_by=owner,
        key="quote",
    )
    drums.weigh_again(drum=drum, gross_grams=312_000, recorded_by=owner, key="scale")

    # 294 kg at $2.15 a pound, which is shown before the quote is taken.
    quotes.accept(order=quote, accepted_by=owner, key="yes", expected_total_cents=139_354)

    line = quote.lines.get()
    assert (line.quantity, line.ordered, line.amount_cents) == (294_000, BOOK, 139_354)
    assert Balance.objects.in_vessel(drum).reserved == 294_000


def test_a_quote_is_refused_for_a_drum_from_which_honey_was_drawn(
    full_drum, drum_line, packer, owner
):
    drum, other = full_drum(1), builders.place("tank-9")
    quote = quotes.quote(
        customer=packer,
        lines=[drum_line(drum)],
        valid_until=builders.today(),
        created_by=owner,
        key="quote",
    )
    honey.transfer(source=drum, target=other, grams=5_000, recorded_by=owner, key="drawn")

    with pytest.raises(HouseError, match="has changed since the quote"):
        quotes.accept(order=quote, accepted_by=owner, key="yes")
