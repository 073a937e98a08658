"""Orders that buyers fetch at the stand: goods, invoice and money in one act."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing import drawers, takings
from apiary_sales.billing.models import Invoice, Payment, StandSale
from apiary_sales.billing.queries import books, stand_catalogue
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services import stand_pickups
from apiary_sales.billing.services.stand_money import PaymentMade
from apiary_sales.customers.models import DeliveryAddress
from apiary_sales.orders.errors import OverCreditLimit
from apiary_sales.orders.models import Order, OrderLine, Reservation
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.services import orders
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    FiguresChanged,
    NotAllowedNow,
    NotEnoughStock,
)
from inventory.stock.models import Balance
from inventory.stock.queries import books as stock_books
from inventory.stock.services import stores
from tests import builders
from tests.billing.conftest import errors_in, filled_in, jars, order_of, pay, queries_of, words_of

pytestmark = pytest.mark.django_db

EXACT = [PaymentMade("card")]


def catalogue_at(place):
    return stand_catalogue.catalogue(stand_queries.offer([place], timezone.localdate()), [])


@pytest.fixture
def suki(db):
    return builders.person("stand")


@pytest.fixture
def neighbour(house):
    """A household that pays at once."""
    return builders.customer("Ida Marsh", kind="retail", terms_days=0)


@pytest.fixture
def at_stand(pounds, stand, shelf):
    """Take what is on the shelf away, so that orders are reserved at the stand."""
    lot = Balance.objects.get(item=pounds.item, place=shelf).lot
    stores.write_off(
        item=pounds.item,
        lot=lot,
        place=shelf,
        pieces=96,
        reason="breakage",
        recorded_by=builders.person(),
        key=builders.new_key(),
        note="Fell",
    )
    return pounds


@pytest.fixture
def hand_over(stand, suki):
    def hand_over(order, paid=EXACT, **more):
        fields = {"place": stand, "handed_over_by": suki, "key": builders.new_key()}
        return stand_pickups.hand_over(order=order, payments=paid, **{**fields, **more})

    return hand_over


def cash(cents, tendered_cents):
    return PaymentMade("cash", cents, tendered_cents)


def there(product, code):
    return Balance.objects.filter(place__code=code, item=product.item).first()


def all_is_right():
    return not [*books.faults(), *stock_books.faults(), *order_books.faults()]


def line_of(order, product):
    return order.lines.get(product=product)


def test_goods_invoice_and_money_are_one_act(hand_over, at_stand, neighbour, honey_tax, suki):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)

    # 4 × 6.00 = 24.00, tax 6.25 % = 1.50; of 30.00 it leaves 4.50.
    sale = hand_over(order, [cash(None, 3_000)])

    order.refresh_from_db()
    assert order.status == Order.Status.FILLED
    assert (there(at_stand, "stand").quantity, there(at_stand, "stand").reserved) == (20, 0)
    assert not sale.receipt.is_receipt
    assert (sale.receipt.customer, sale.receipt.issued_by) == (neighbour, suki)
    assert (sale.receipt.total_cents, sale.receipt.open_cents) == (2_550, 0)
    assert (sale.payment.amount_cents, sale.change_cents) == (2_550, 450)
    assert (sale.place.code, sale.sold_by, sale.source) == ("stand", suki, StandSale.Source.OTHER)
    assert sale.fulfilment == order.fulfilments.get()
    assert all_is_right()


def test_it_is_paid_in_several_ways_with_something_on_top(hand_over, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)

    sale = hand_over(
        order, [cash(1_500, 2_000), PaymentMade("check", 1_000, reference="1042")], on_top_cents=100
    )

    assert [(one.method, one.amount_cents, one.reference) for one in sale.payments] == [
        # What is on top is taken from the cash: the check goes to the bank as a whole.
        ("cash", 1_400, ""),
        ("check", 1_000, "1042"),
    ]
    assert (sale.on_top_cents, sale.receipt.open_cents) == (100, 0)
    assert all_is_right()


@pytest.mark.parametrize(
    ("paid", "parameter", "message"),
    [
        (
            [cash(None, 2_399)],
            "payments.0.tendered_cents",
            "The sale comes to $24.00, but $23.99 was given. Ask for $0.01 more.",
        ),
        (
            [PaymentMade("card", 2_399)],
            "payments",
            "The sale comes to $24.00, but $23.99 was paid. Change one of the amounts.",
        ),
        (
            [PaymentMade("card", 2_401)],
            "payments",
            "The sale comes to $24.00, but $24.01 was paid. Change one of the amounts.",
        ),
        (
            [],
            "payments",
            "$24.00 is to be paid. Choose how it was paid: cash, card or check.",
        ),
    ],
)
def test_too_little_or_too_much_money_changes_nothing(
    hand_over, at_stand, neighbour, paid, parameter, message
):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)

    with pytest.raises(BadValue) as refused:
        hand_over(order, paid)

    assert (refused.value.parameter, refused.value.message) == (parameter, message)
    order.refresh_from_db()
    assert order.status == Order.Status.OPEN
    assert there(at_stand, "stand").reserved == 4
    assert not Invoice.objects.exists()
    assert not Payment.objects.exists()


def test_what_was_paid_in_advance_is_used_first(hand_over, at_stand, neighbour, stand):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)
    pay(neighbour, 1_000, order=order, method="cash")
    pay(neighbour, 300, method="transfer")

    shown = stand_pickups.bill(
        order=order, place=stand, quantities={line_of(order, at_stand).pk: 4}
    )
    sale = hand_over(order, [cash(None, 1_100)], expected_total_cents=1_100)

    # 24.00 less 10.00 in advance less 3.00 on account.
    assert (shown.total_cents, shown.paid_before_cents, shown.to_pay_cents) == (2_400, 1_300, 1_100)
    assert sale.receipt.open_cents == 0
    assert [one.amount_cents for one in sale.payments] == [1_100]
    assert all_is_right()


def test_money_kept_for_another_order_is_left(hand_over, at_stand, neighbour):
    other = order_of(neighbour, jars(at_stand, 1), fill=False)
    order = order_of(neighbour, jars(at_stand, 1), fill=False)
    pay(neighbour, 600, order=other)

    hand_over(order, expected_total_cents=600)
    sale = hand_over(other, [], expected_total_cents=0)

    assert (sale.receipt.open_cents, sale.payments) == (0, [])
    assert all_is_right()


def test_a_customer_with_terms_may_leave_it_or_a_part_on_account(hand_over, at_stand, shop):
    whole = order_of(shop, jars(at_stand, 2), fill=False)
    part = order_of(shop, jars(at_stand, 2), fill=False)

    left = hand_over(whole, [], on_account=True)
    some = hand_over(part, [cash(500, 1_000)], on_account=True)

    assert (left.receipt.open_cents, left.payments) == (1_200, [])
    assert left.receipt.due_on == timezone.localdate() + timedelta(days=30)
    assert (some.receipt.open_cents, some.change_cents) == (700, 500)
    assert all_is_right()


def test_a_customer_without_terms_pays_now(hand_over, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 2), fill=False)

    with pytest.raises(BadValue) as refused:
        hand_over(order, [], on_account=True)

    assert (refused.value.parameter, refused.value.message) == (
        "on_account",
        "Ida Marsh has no terms of payment. It is paid now.",
    )


@pytest.mark.parametrize(("limit_cents", "is_refused"), [(2_399, True), (2_400, False)])
def test_on_account_keeps_to_the_credit_limit(hand_over, at_stand, shop, limit_cents, is_refused):
    order = order_of(shop, jars(at_stand, 4), fill=False)
    shop.credit_limit_cents = limit_cents
    shop.save()

    if is_refused:
        with pytest.raises(OverCreditLimit) as refused:
            hand_over(order, [], on_account=True)
        assert refused.value.message == (
            "With this, Corner Grocery would owe $24.00, orders not invoiced yet included. That is "
            "over the credit limit of $23.99. Take the money now, or ask the office."
        )
        assert not Invoice.objects.exists()
    else:
        assert hand_over(order, [], on_account=True).receipt.open_cents == 2_400


def test_a_part_is_handed_over_and_the_rest_stays_reserved(hand_over, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 5), fill=False)
    line = line_of(order, at_stand)

    first = hand_over(order, quantities={line.pk: 2})
    order.refresh_from_db()
    assert (order.status, there(at_stand, "stand").reserved) == (Order.Status.PART_FILLED, 3)
    second = hand_over(order)

    assert (first.total_cents, second.total_cents) == (1_200, 1_800)
    fulfilments = list(order.fulfilments.order_by("id"))
    assert [first.fulfilment, second.fulfilment] == fulfilments
    assert all_is_right()


@pytest.mark.parametrize(("pieces", "is_refused"), [(5, False), (6, True)])
def test_no_more_is_handed_over_than_is_left(hand_over, at_stand, neighbour, pieces, is_refused):
    order = order_of(neighbour, jars(at_stand, 5), fill=False)
    quantities = {line_of(order, at_stand).pk: pieces}

    if is_refused:
        with pytest.raises(BadValue, match=r"Too much of One pound. Entered: 6 pieces."):
            hand_over(order, quantities=quantities)
    else:
        assert hand_over(order, quantities=quantities).total_cents == 3_000


def test_free_pieces_here_go_in_place_of_those_reserved_elsewhere(hand_over, pounds, neighbour):
    order = order_of(neighbour, jars(pounds, 4), fill=False)
    assert there(pounds, "shelf").reserved == 4

    hand_over(order)

    assert (there(pounds, "stand").quantity, there(pounds, "stand").reserved) == (20, 0)
    assert (there(pounds, "shelf").quantity, there(pounds, "shelf").reserved) == (96, 0)
    assert not Reservation.objects.exists()
    assert all_is_right()


def test_what_is_not_here_is_told_with_its_place(hand_over, pounds, neighbour):
    order = order_of(neighbour, jars(pounds, 30), fill=False)

    with pytest.raises(NotEnoughStock) as refused:
        hand_over(order)

    assert refused.value.parameter == f"quantities.{line_of(order, pounds).pk}"
    assert refused.value.message == (
        "One pound at Stand. To hand over: 30 pieces. There: 24 pieces. Reserved elsewhere: "
        "Packing shelf: 30 pieces. Bring them first, and say so. Hand over fewer, or ask the "
        "office."
    )
    assert there(pounds, "shelf").reserved == 30


def test_what_was_brought_is_taken_from_where_the_books_have_it(hand_over, pounds, neighbour):
    order = order_of(neighbour, jars(pounds, 30), fill=False)

    hand_over(order, is_brought=True)

    assert (there(pounds, "shelf").quantity, there(pounds, "stand").quantity) == (66, 24)
    assert all_is_right()


def test_a_person_of_the_stand_hands_nothing_over_from_a_shelf(hand_over, pounds, neighbour, shelf):
    order = order_of(neighbour, jars(pounds, 1), fill=False)

    with pytest.raises(BadValue) as refused:
        hand_over(order, place=shelf)

    assert (refused.value.parameter, refused.value.message) == (
        "place",
        "Packing shelf is not a stand or van. Ask the office to do this there.",
    )
    assert hand_over(order, place=shelf, handed_over_by=builders.person()).place == shelf


def test_pieces_on_hold_are_not_handed_over(hand_over, at_stand, neighbour, owner):
    order = order_of(neighbour, jars(at_stand, 2), fill=False)
    lot = there(at_stand, "stand").lot
    lot.is_on_hold = True
    lot.save()

    with pytest.raises(NotEnoughStock, match=r"There: 0 pieces. On hold: 2 pieces."):
        hand_over(order)


def test_the_same_key_hands_over_once(hand_over, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)
    quantities = {line_of(order, at_stand).pk: 2}
    # As long as a key may be.
    key = "k" * 100
    first = hand_over(order, key=key, quantities=quantities)

    with pytest.raises(AlreadyRecorded) as refused:
        hand_over(order, key=key, quantities=quantities)

    assert refused.value.made == first
    assert len(first.payments) == 1
    assert there(at_stand, "stand").quantity == 22
    assert Invoice.objects.count() == 1


def test_what_somebody_else_handed_over_meanwhile_is_refused(hand_over, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 2), fill=False)
    hand_over(order)

    with pytest.raises(NotAllowedNow) as refused:
        hand_over(order)

    assert refused.value.message == (
        f"Order {order.number} is filled. No goods can be handed over for it."
    )


def test_another_amount_than_was_shown_is_asked_about(hand_over, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 2), fill=False)

    with pytest.raises(FiguresChanged):
        hand_over(order, expected_total_cents=1_199)

    assert hand_over(order, expected_total_cents=1_200).receipt.open_cents == 0


def test_what_was_handed_over_before_is_billed_and_paid_too(hand_over, at_stand, neighbour, stand):
    order = order_of(neighbour, jars(at_stand, 5), fill=False)
    line = line_of(order, at_stand)
    orders.fulfil(
        order=order, filled_by=builders.person(), key=builders.new_key(), quantities={line.pk: 1}
    )

    shown = stand_pickups.bill(order=order, place=stand, quantities={line.pk: 4})

    assert shown.to_pay_cents == 3_000
    assert hand_over(order).total_cents == 3_000


@pytest.mark.parametrize("how", ["bulk", "address"])
def test_an_order_that_goes_elsewhere_is_not_fetched(hand_over, at_stand, neighbour, how):
    order = order_of(neighbour, jars(at_stand, 2), fill=False)
    if how == "bulk":
        order.channel = Order.Channel.BULK
    else:
        order.ship_to = DeliveryAddress.objects.create(
            customer=neighbour, name="Barn", idempotency_key="barn"
        )
    order.save()

    with pytest.raises(NotAllowedNow, match="is not one that its buyer fetches"):
        hand_over(order)


def test_only_pieces_are_handed_over(hand_over, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 2), fill=False)
    work = order.lines.create(
        kind=OrderLine.Kind.HONEY, description="Honey", quantity=1000, unit_price=3, amount_cents=1
    )

    with pytest.raises(BadValue) as refused:
        hand_over(order, quantities={work.pk: 1000})

    assert refused.value.parameter == f"quantities.{work.pk}"
    assert "The office hands it over." in refused.value.message


# The money of the place.


def test_only_what_was_paid_at_the_stand_is_in_its_takings(
    hand_over, at_stand, shop, stand, client, suki
):
    order = order_of(shop, jars(at_stand, 4), fill=False)
    pay(shop, 1_000, order=order, method="cash")
    sale = hand_over(order, [cash(400, 500)], on_account=True)
    pay(shop, 1_000, method="cash", allocations={sale.receipt: 1_000})

    found = takings.takings(StandSale.objects.all())
    there_today = catalogue_at(stand)["places"][0]["today"]

    assert [(row.name, row.cents) for row in found.by_method] == [("cash", 400)]
    assert found.cents == 2_400
    assert drawers.cash_of(sale) == 400
    assert there_today["methods"] == {"cash": 400}
    assert (there_today["sales"], there_today["cents"]) == (1, 2_400)
    assert [one.amount_cents for one in sale.payments] == [400]


def test_an_invoice_is_not_undone_as_a_receipt(hand_over, at_stand, neighbour, suki):
    sale = hand_over(order_of(neighbour, jars(at_stand, 2), fill=False))

    with pytest.raises(NotAllowedNow, match="Make a credit note for the invoice instead"):
        stand_sales.take_back(
            receipt=sale.receipt, taken_by=suki, key=builders.new_key(), reason="Mistake"
        )


# The list.


def test_the_catalogue_says_what_is_to_pay_and_where(at_stand, neighbour, honey_tax, stand):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)
    pay(neighbour, 1_000, order=order)
    away = order_of(neighbour, jars(at_stand, 1), fill=False)
    away.channel = Order.Channel.BULK
    away.save()

    [row] = catalogue_at(stand)["pickups"]

    assert row == {
        "order": order.number,
        "customer": "Ida Marsh",
        "text": "4 × One pound",
        "total_cents": 2_400,
        # 24.00 and 1.50 tax, less 10.00.
        "to_pay_cents": 1_550,
        "ready_on": None,
        "url": f"/stand/pickups/{order.number}/",
    }


def test_a_buyer_with_a_certificate_pays_no_tax(at_stand, neighbour, honey_tax, stand):
    builders.certificate(neighbour)
    order = order_of(neighbour, jars(at_stand, 4), fill=False)

    [row] = catalogue_at(stand)["pickups"]
    shown = stand_pickups.bill(
        order=order, place=stand, quantities={line_of(order, at_stand).pk: 4}
    )

    assert (row["to_pay_cents"], shown.to_pay_cents) == (2_400, 2_400)


@pytest.fixture
def as_suki(client, suki):
    client.force_login(suki)
    return client


def test_the_list_finds_orders_by_name_and_number(as_suki, pounds, neighbour, shop):
    mine = order_of(neighbour, jars(pounds, 4), fill=False)
    order_of(shop, jars(pounds, 1), fill=False)

    everything = words_of(as_suki.get(reverse("billing:stand_pickups")).content.decode())
    by_name = as_suki.get(reverse("billing:stand_pickups"), {"text": "marsh"})
    by_number = as_suki.get(reverse("billing:stand_pickups"), {"text": mine.number})
    none = as_suki.get(reverse("billing:stand_pickups"), {"text": "nobody"})

    assert "Ida Marsh" in everything
    assert "Corner Grocery" in everything
    assert "Packing shelf: all of it" in everything
    for page in (by_name, by_number):
        assert [row.order for row in page.context["pickups"]] == [mine]
    assert "No order to pick up has “nobody” in its number or name." in none.content.decode()


def test_the_list_takes_as_many_queries_for_more_orders(as_suki, pounds, neighbour, shop):
    order_of(neighbour, jars(pounds, 1), fill=False)
    first = queries_of(as_suki, reverse("billing:stand_pickups"))
    for customer in (shop, neighbour, builders.customer("Bert")):
        order_of(customer, jars(pounds, 1), fill=False)

    assert queries_of(as_suki, reverse("billing:stand_pickups")) == first


# The page.


def address_of(order, name="stand_pickup"):
    return reverse(f"billing:{name}", args=[order.number])


def test_the_stand_person_hands_over_on_one_page(as_suki, at_stand, neighbour, suki):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)
    page = as_suki.get(address_of(order))
    sent = {**filled_in(page), "method": "cash", "tendered": "30"}

    answer = as_suki.post(address_of(order), {**sent, "expected_total_cents": 2_400}, follow=True)

    assert page.context["bill"].to_pay_cents == 2_400
    text = words_of(answer.content.decode())
    assert answer.redirect_chain == [(address_of(order, "stand_pickup_done"), 302)]
    assert "is handed over. Invoice F26-00001. Give back $6.00." in text
    assert "A mistake is undone by the office" in text
    sale = StandSale.objects.get()
    assert (sale.sold_by, sale.receipt.open_cents) == (suki, 0)


def test_the_page_works_out_other_quantities_before_it_hands_over(as_suki, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)
    line = line_of(order, at_stand)
    sent = {"key": "k", "method": "card", f"pieces_{line.pk}": "3"}

    shown = as_suki.post(address_of(order), {**sent, "show": "1"})
    old = as_suki.post(address_of(order), {**sent, "expected_total_cents": "2400"})
    new = as_suki.post(address_of(order), {**sent, "expected_total_cents": "1800"})

    assert shown.context["bill"].to_pay_cents == 1_800
    assert old.status_code == 422
    assert "The figures have changed: it comes to $18.00 now" in errors_in(old)[0]
    assert old.context["bill"].to_pay_cents == 1_800
    assert new.status_code == 302


def test_the_page_says_what_is_elsewhere_and_asks_whether_it_was_brought(
    as_suki, pounds, neighbour
):
    order = order_of(neighbour, jars(pounds, 30), fill=False)
    line = line_of(order, pounds)
    page = as_suki.get(address_of(order))
    sent = {"key": "k", "method": "card", f"pieces_{line.pk}": "30"}

    refused = as_suki.post(address_of(order), sent)
    taken = as_suki.post(address_of(order), {**sent, "is_brought": "on"})

    assert "Reserved here: 0. Free here: 24. Elsewhere: Packing shelf: 30 pieces." in words_of(
        page.content.decode()
    )
    # What the books have here is filled in.
    assert page.context["form"][f"pieces_{line.pk}"].initial == 24
    assert refused.status_code == 422
    assert "Bring them first, and say so." in errors_in(refused)[0]
    assert taken.status_code == 302
    assert there(pounds, "shelf").quantity == 66


def test_the_page_takes_several_ways(as_suki, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 4), fill=False)
    line = line_of(order, at_stand)
    sent = {"key": "k", "method": "cash", f"pieces_{line.pk}": "4", "expected_total_cents": "2400"}

    wrong = as_suki.post(address_of(order), {**sent, "cash": "10", "check": "13"})
    right = as_suki.post(
        address_of(order),
        {**sent, "cash": "10", "tendered": "20", "check": "14", "reference": "7"},
    )

    assert errors_in(wrong) == [
        "Paid by: The sale comes to $24.00, but $23.00 was paid. Change one of the amounts."
    ]
    assert right.status_code == 302
    sale = StandSale.objects.get()
    assert [(one.method, one.amount_cents) for one in sale.payments] == [
        ("cash", 1_000),
        ("check", 1_400),
    ]
    assert sale.change_cents == 1_000


def test_an_order_paid_in_advance_asks_for_no_money(as_suki, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 1), fill=False)
    pay(neighbour, 600, order=order)
    sent = filled_in(as_suki.get(address_of(order)))

    answer = as_suki.post(address_of(order), {**sent, "expected_total_cents": "0"})

    assert answer.status_code == 302
    assert StandSale.objects.get().payments == []


def test_on_account_is_offered_by_the_terms_of_the_customer(as_suki, at_stand, neighbour, shop):
    mine = order_of(neighbour, jars(at_stand, 1), fill=False)
    theirs = order_of(shop, jars(at_stand, 1), fill=False)
    label = "On account, to be paid later"

    assert label not in as_suki.get(address_of(mine)).content.decode()
    page = as_suki.get(address_of(theirs))
    assert label in page.content.decode()
    sent = {**filled_in(page), "method": "on_account", "expected_total_cents": "600"}
    done = as_suki.post(address_of(theirs), sent, follow=True)
    assert "$6.00 is on account." in words_of(done.content.decode())


def test_the_same_form_twice_says_so_and_goes_on(as_suki, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 1), fill=False)
    sent = {**filled_in(as_suki.get(address_of(order))), "method": "card"}
    as_suki.post(address_of(order), sent)

    again = as_suki.post(address_of(order), sent, follow=True)

    assert again.redirect_chain[-1][0] == address_of(order, "stand_pickup_done")
    assert "This was recorded already." in words_of(again.content.decode())
    assert StandSale.objects.count() == 1


def test_the_invoice_is_a_paper_that_the_stand_person_may_see(as_suki, at_stand, neighbour):
    order = order_of(neighbour, jars(at_stand, 1), fill=False)
    assert as_suki.get(address_of(order, "stand_pickup_pdf")).status_code == 404
    as_suki.post(address_of(order), {**filled_in(as_suki.get(address_of(order))), "method": "card"})

    answer = as_suki.get(address_of(order, "stand_pickup_pdf"))

    assert answer["Content-Type"] == "application/pdf"


@pytest.mark.parametrize(("role", "status"), [("stand", 200), ("office", 200), ("bottling", 403)])
def test_who_sells_at_the_stand_may_hand_over(client, at_stand, neighbour, role, status):
    order = order_of(neighbour, jars(at_stand, 1), fill=False)
    client.force_login(builders.person(role))

    assert client.get(reverse("billing:stand_pickups")).status_code == status
    assert client.get(address_of(order)).status_code == status


def test_a_stand_sale_is_no_order_to_pick_up(as_suki, at_stand, stand, suki):
    sale = stand_sales.sell(
        lines=[jars(at_stand, 1)],
        place=stand,
        payments=EXACT,
        sold_by=suki,
        key=builders.new_key(),
    )

    for name in ("stand_pickup", "stand_pickup_done", "stand_pickup_pdf"):
        assert as_suki.get(address_of(sale.order, name)).status_code == 404
