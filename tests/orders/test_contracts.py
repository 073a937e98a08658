"""Contracts with a packer: call-offs, their price, what is left, and what is warned of."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import books
from apiary_sales.orders.queries import contracts as found
from apiary_sales.orders.rules import contracts as rules
from apiary_sales.orders.rules.contracts import PriceStep
from apiary_sales.orders.services import contracts, orders
from apiary_sales.orders.trade_models import CallOff, Contract
from inventory.shared.errors import AlreadyRecorded, BadValue, SeveralProblems
from inventory.stock.models import Lot, Place
from inventory.stock.queries import books as stock_books
from tests.orders.conftest import charge

pytestmark = pytest.mark.django_db

FIXED = [PriceStep(0, Decimal("2.40"))]


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(stock_books.faults()) == []
    assert list(books.faults()) == []


@pytest.fixture
def agree(packer, owner, key):
    """Return a maker of contracts for 600 to 900 kg over this year."""

    def make(**fields):
        today = timezone.localdate()
        return contracts.agree(
            **{
                "customer": packer,
                "min_grams": 600_000,
                "max_grams": 900_000,
                "price_steps": FIXED,
                "starts_on": today - timedelta(days=30),
                "ends_on": today + timedelta(days=200),
                "customer_reference": "PO 77",
                "created_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


@pytest.fixture
def call_off(owner, key):
    def make(contract, *drums, **fields):
        return contracts.call_off(
            **{
                "contract": contract,
                "drums": drums,
                "created_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


def tally(contract):
    [found_tally] = CallOff.objects.tallies([contract])
    return found_tally


def test_a_call_off_is_an_order_at_the_price_of_the_contract(agree, call_off, full_drum, packer):
    contract = agree()

    made = call_off(contract, full_drum("1"), charges=[charge(OrderLine.Kind.FREIGHT, 1, "80")])

    order = made.order
    assert (order.customer, order.channel, order.status) == (packer, "bulk", Order.Status.OPEN)
    assert order.customer_reference == "PO 77"
    honey, freight = order.lines.all()
    # 295 kg are 650.36 lb; at $2.40 that is $1,560.87 (from hand: 295000 / 453.59237 × 2.40).
    assert (honey.unit_price, honey.amount_cents) == (Decimal("2.40"), 156_087)
    assert freight.amount_cents == 8_000
    assert made.accepted == ""


def test_what_is_handed_over_counts_against_the_contract(agree, call_off, full_drum, owner, key):
    contract = agree()
    made = call_off(contract, full_drum("1"), full_drum("2"))
    assert (tally(contract).handed_over, tally(contract).called_off) == (0, 590_000)

    line = made.order.lines.first()
    fulfilment = orders.fulfil(
        order=made.order, filled_by=owner, key=key(), quantities={line.pk: line.quantity}
    )

    after = tally(contract)
    assert (after.handed_over, after.called_off, after.remaining) == (295_000, 295_000, 310_000)
    assert after.left_of_least == 10_000

    orders.take_back(fulfilment=fulfilment, taken_by=owner, key=key(), reason="Wrong drum")
    assert (tally(contract).handed_over, tally(contract).called_off) == (0, 590_000)


def test_a_cancelled_call_off_is_free_to_call_off_again(agree, call_off, full_drum, owner, key):
    contract = agree()
    made = call_off(contract, full_drum("1"))

    orders.cancel(order=made.order, cancelled_by=owner, key=key(), reason="Later")

    assert tally(contract).remaining == 900_000


@pytest.mark.parametrize(
    ("grams", "price"),
    [(999_999, "2.40"), (1_000_000, "2.30"), (1_999_999, "2.30"), (2_000_000, "2.20")],
)
def test_the_price_is_that_of_the_highest_step_a_call_off_reaches(agree, grams, price):
    steps = [
        PriceStep(0, Decimal("2.40")),
        PriceStep(1_000_000, Decimal("2.30")),
        PriceStep(2_000_000, Decimal("2.20")),
    ]
    contract = agree(price_steps=steps, max_grams=9_000_000)

    assert rules.price_of(contract.price_steps.all(), grams) == Decimal(price)


def test_a_call_off_beyond_the_contract_is_asked_about(agree, call_off, full_drum):
    contract = agree(min_grams=0, max_grams=300_000)
    call_off(contract, full_drum("1"))
    second = full_drum("2")

    with pytest.raises(
        BadValue, match=r"This call-off has 650 lb\. Left of contract .*: 11\.0 lb"
    ) as refused:
        call_off(contract, second)
    assert refused.value.problems[0].parameter == "beyond_is_right"
    assert Order.objects.count() == 1

    made = call_off(contract, second, beyond_is_right=True)
    assert made.accepted.startswith("This call-off has")
    assert tally(contract).beyond == 290_000


def test_a_call_off_outside_the_days_of_the_contract_is_asked_about(agree, call_off, full_drum):
    contract = agree(ends_on=timezone.localdate() + timedelta(days=5))

    with pytest.raises(BadValue, match=r"Contract .* is for") as refused:
        call_off(contract, full_drum("1"), wanted_on=timezone.localdate() + timedelta(days=6))

    assert refused.value.problems[0].parameter == "beyond_is_right"


@pytest.mark.parametrize(
    ("agreed", "said"),
    [
        ({"colour_class": "Extra White"}, "Drum 1 is white. Agreed: extra white or lighter."),
        (
            {"moisture_percent_max": Decimal("17.3")},
            "Drum 1 has 17.4 % moisture. Agreed: up to 17.3 %.",
        ),
        ({"floral_source": "Basswood"}, "Drum 1 is Clover. Agreed: Basswood."),
    ],
)
def test_a_drum_that_is_not_what_was_agreed_is_asked_about(
    agree, call_off, full_drum, agreed, said
):
    contract, drum = agree(**agreed), full_drum("1")

    with pytest.raises(BadValue) as refused:
        call_off(contract, drum)

    assert [(each.parameter, each.message) for each in refused.value.problems] == [
        ("quality_is_right", said)
    ]
    assert call_off(contract, drum, quality_is_right=True).accepted == said


@pytest.mark.parametrize(
    "agreed",
    [
        {"colour_class": "White"},
        {"colour_class": "Amber"},
        {"moisture_percent_max": Decimal("17.4")},
        {"floral_source": "clover"},
    ],
)
def test_a_drum_at_the_limit_is_what_was_agreed(agree, call_off, full_drum, agreed):
    assert call_off(agree(**agreed), full_drum("1")).accepted == ""


def test_what_was_never_measured_is_not_taken_for_good(agree, call_off, full_drum):
    contract = agree(colour_class="Amber")

    with pytest.raises(BadValue, match="was not measured"):
        call_off(contract, full_drum("1", colour_mm=None))


def test_once_a_sample_is_approved_other_lots_are_asked_about(
    agree, call_off, full_drum, owner, key
):
    contract, first, second = agree(), full_drum("1"), full_drum("2")
    contracts.approve_sample(
        contract=contract,
        lot=Lot.objects.get(balances__place=first),
        approved_on=timezone.localdate(),
        approved_by="Ida Roth",
        recorded_by=owner,
        key=key(),
    )

    call_off(contract, first)
    with pytest.raises(BadValue, match="the buyer approved no sample of lot"):
        call_off(contract, second)


def test_a_drum_that_is_reserved_is_refused_at_the_drums(agree, call_off, full_drum):
    contract, drum = agree(), full_drum("1")
    call_off(contract, drum)

    with pytest.raises(Exception, match="is reserved for order") as refused:
        call_off(contract, drum, beyond_is_right=True)

    assert refused.value.problems[0].parameter == "drums"


def test_the_same_call_off_sent_twice_is_taken_once(agree, call_off, full_drum):
    contract, drum = agree(), full_drum("1")
    call_off(contract, drum, key="twice")

    with pytest.raises(AlreadyRecorded) as repeat:
        call_off(contract, drum, key="twice")

    assert repeat.value.made == CallOff.objects.get()


def test_all_that_is_wrong_with_a_contract_is_said_at_once(agree):
    with pytest.raises(SeveralProblems) as refused:
        agree(
            min_grams=2,
            max_grams=1,
            colour_class="Blue",
            moisture_percent_max=Decimal(40),
            starts_on=date(2026, 5, 2),
            ends_on=date(2026, 5, 1),
            price_steps=[PriceStep(5, Decimal("2.40")), PriceStep(5, Decimal("-1"))],
        )

    assert {each.parameter for each in refused.value.problems} == {
        "min_grams",
        "ends_on",
        "colour_class",
        "moisture_percent_max",
        "price_steps",
        "price_steps.1.unit_price",
    }
    assert not Contract.objects.exists()


def test_the_drums_that_are_what_was_agreed_come_first(agree, full_drum):
    contract = agree(floral_source="Basswood")
    full_drum("1")
    full_drum("2", floral_source="Basswood")

    names = [(each.offer.drum.name, bool(each.faults)) for each in found.free_drums(contract)]

    assert names == [("Drum 2", False), ("Drum 1", True)]
    assert Place.objects.filter(kind="drum").count() == 2
