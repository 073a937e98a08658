"""What a customer owes and has ordered, weighed against their credit limit."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.services import invoices, payments
from apiary_sales.orders.errors import OverCreditLimit
from apiary_sales.orders.models import Order
from apiary_sales.orders.services import orders, quotes
from inventory.shared.errors import AlreadyRecorded, NotEnoughStock
from inventory.stock.models import Balance
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def jars_there(jars, shelf):
    builders.packed_lot(jars, shelf, 200)


@pytest.fixture
def take(shop, jar_line, owner, key, jars_there):
    """Return a maker of orders at $6.50 a jar."""

    def make(pieces, **fields):
        return orders.take(
            **{
                "customer": shop,
                "channel": "shop",
                "lines": [jar_line(pieces)],
                "created_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


@pytest.fixture
def fill(owner, key):
    def make(order, **fields):
        return orders.fulfil(order=order, filled_by=owner, key=key(), **fields)

    return make


@pytest.fixture
def bill(owner, key):
    def make(order):
        return invoices.issue(order=order, issued_by=owner, key=key())

    return make


def limit(customer, cents):
    customer.credit_limit_cents = cents
    customer.save()


def test_each_jar_is_counted_once_from_order_to_payment(shop, take, fill, bill, owner, key):
    order = take(30)
    line = order.lines.get()
    steps = [Order.objects.credit_of(shop)]

    fill(order, quantities={line.pk: 10})
    steps.append(Order.objects.credit_of(shop))
    bill(order)
    steps.append(Order.objects.credit_of(shop))
    fill(order)
    steps.append(Order.objects.credit_of(shop))
    bill(order)
    steps.append(Order.objects.credit_of(shop))
    payments.receive(
        customer=shop, amount_cents=20_000, method="check", received_by=owner, key=key()
    )
    steps.append(Order.objects.credit_of(shop))

    # 30 jars at 6.50 are 195.00; 10 of them 65.00
    assert [(step.ordered_cents, step.owed_cents) for step in steps] == [
        (19_500, 0),
        (19_500, 0),
        (13_000, 6_500),
        (13_000, 6_500),
        (0, 19_500),
        (0, -500),
    ]


def test_what_is_owed_counts_against_the_limit(shop, take, fill, bill):
    limit(shop, 20_000)
    paid_late = take(10)
    fill(paid_late)
    bill(paid_late)
    take(15)

    with pytest.raises(OverCreditLimit) as refused:
        take(6)

    # 65.00 + 97.50 + 39.00 = 201.50
    assert (refused.value.parameter, refused.value.message) == (
        "over_limit",
        "With this order Corner Grocery would owe $201.50. That is over the credit limit "
        "of $200.00. This order: $39.00. Ordered before and not invoiced yet: $97.50. Owed "
        "now: $65.00. Tick the box to take the order anyway.",
    )
    assert Order.objects.count() == 2


@pytest.mark.parametrize(("limit_cents", "is_refused"), [(6_499, True), (6_500, False)])
def test_an_order_may_reach_the_limit_and_not_go_beyond(shop, take, limit_cents, is_refused):
    limit(shop, limit_cents)

    if is_refused:
        with pytest.raises(OverCreditLimit):
            take(10)
    else:
        take(10)

    assert Order.objects.count() == (0 if is_refused else 1)


def test_money_on_account_makes_room(shop, take, owner, key):
    limit(shop, 5_000)
    payments.receive(customer=shop, amount_cents=1_000, method="cash", received_by=owner, key=key())
    take(9)

    with pytest.raises(OverCreditLimit) as refused:
        take(1)

    # 58.50 + 6.50 − 10.00 = 55.00
    assert refused.value.message == (
        "With this order Corner Grocery would owe $55.00. That is over the credit limit of "
        "$50.00. This order: $6.50. Ordered before and not invoiced yet: $58.50. Money on "
        "account, taken off: $10.00. Tick the box to take the order anyway."
    )


def test_what_is_not_there_is_told_before_the_limit(shop, take):
    limit(shop, 100)

    with pytest.raises(NotEnoughStock):
        take(201)

    assert not Order.objects.exists()


def test_beyond_the_limit_when_somebody_said_so(shop, take):
    limit(shop, 100)

    take(10, over_limit=True)

    assert Order.objects.count() == 1


def test_the_same_form_sent_twice_is_not_counted_against_itself(shop, take):
    limit(shop, 6_500)
    take(10, key="form-1")

    with pytest.raises(AlreadyRecorded):
        take(10, key="form-1")


@pytest.fixture
def quoted(packer, owner, key, drum_line, full_drum):
    return quotes.quote(
        customer=packer,
        lines=[drum_line(full_drum(7))],
        valid_until=timezone.localdate() + timedelta(days=14),
        created_by=owner,
        key=key(),
    )


def test_a_quote_beyond_the_limit_is_accepted_only_with_a_tick(client, quoted, packer):
    # 295 kg at 2.15 a pound: 295,000 / 453.59237 × 2.15 = 1,398.28
    limit(packer, 139_827)
    client.force_login(builders.person("office"))
    address = reverse("orders:quote_accept", args=[quoted.number])
    sentence = (
        "With this order Prairie Packers would owe $1,398.28. That is over the credit "
        "limit of $1,398.27. This order: $1,398.28. Ordered before and not invoiced yet: "
        "$0.00. Owed now: $0.00. Tick the box to take the order anyway."
    )

    page = client.get(address)
    refused = client.post(address, {"key": "a1"})

    assert sentence in page.text
    assert "Take the order anyway" in page.text
    assert refused.status_code == 422
    assert refused.context["form"].errors["over_limit"] == [sentence]
    assert Balance.objects.in_vessel(quoted.lines.get().drum).reserved == 0

    taken = client.post(address, {"key": "a1", "over_limit": "on"})

    assert taken.status_code == 302
    quoted.refresh_from_db()
    assert quoted.status == Order.Status.OPEN


def test_within_the_limit_no_tick_is_shown(client, quoted, packer):
    limit(packer, 139_828)
    client.force_login(builders.person("office"))
    address = reverse("orders:quote_accept", args=[quoted.number])

    assert "Take the order anyway" not in client.get(address).text
    assert client.post(address, {"key": "a1"}).status_code == 302
    # The same form again is told so, and not weighed against itself.
    assert client.post(address, {"key": "a1"}).status_code == 302


def test_the_order_page_names_the_figures_at_the_tick(client, shop, jars, take):
    limit(shop, 10_000)
    take(10)
    client.force_login(builders.person("office"))
    data = {
        "key": "form-1",
        "customer": shop.pk,
        "channel": "shop",
        f"pieces_{jars.pk}": 6,
        f"price_{jars.pk}": Decimal("6.50"),
    }

    refused = client.post(reverse("orders:order_create"), data)

    assert refused.status_code == 422
    assert refused.context["form"].errors["over_limit"] == [
        "With this order Corner Grocery would owe $104.00. That is over the credit limit "
        "of $100.00. This order: $39.00. Ordered before and not invoiced yet: $65.00. Owed "
        "now: $0.00. Tick the box to take the order anyway."
    ]
    assert "Take the order anyway" in refused.text

    client.post(reverse("orders:order_create"), data | {"over_limit": "on"})

    assert Order.objects.count() == 2
