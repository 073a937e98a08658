"""Part of a stand sale comes back: goods, credit note and money together, to the cent."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services import stand_returns
from apiary_sales.billing.services.stand_returns import NeedsApproval
from apiary_sales.customers.models import CustomerBalance
from inventory.bottling.models import ReturnedJars
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, SeveralProblems
from inventory.stock.models import Balance, Place
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.conftest import invoice_of, jars
from tests.billing.stand_room import back, card, cash, check, sold
from tests.orders.by_weight_room import honey_line, there, wax, wax_line, wax_lot

pytestmark = pytest.mark.django_db


def give_back(receipt, *pieces, is_on_shelf=False, **more):
    fields = {
        "lines": back(receipt, *pieces, is_on_shelf=is_on_shelf),
        "given_by": builders.person("stand"),
        "key": builders.new_key(),
        "reason": "Leaks",
    }
    return stand_returns.give_back(receipt=receipt, **{**fields, **more})


def at_stand(product):
    return Balance.objects.get(place__code="stand", item=product.item).quantity


def kept_apart(product):
    place = Place.objects.outside(Place.Kind.RETURNED)
    found = Balance.objects.filter(place=place, item=product.item).first()
    return found.quantity if found else 0


def faults():
    return [*books.faults(), *stock_books.faults()]


def test_a_jar_from_the_buyers_hands_is_kept_apart_and_its_money_given_back(
    stand, pounds, honey_tax
):
    # Three at 8.00 with 6.25 % tax: 24.00 + 1.50. One of them: 8.00 + 0.50.
    receipt = sold(stand, jars(pounds, 3, "8.00"))

    note = give_back(receipt, 1)

    assert (note.net_cents, note.tax_cents, note.total_cents) == (-800, -50, -850)
    assert note.credits == receipt
    assert stand_returns.given_back(note) == {"cash": 850}
    assert (at_stand(pounds), kept_apart(pounds)) == (21, 1)
    assert ReturnedJars.objects.get().reason == "Leaks"
    assert faults() == []


def test_a_jar_that_never_left_the_counter_can_be_sold_again(stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"))

    give_back(receipt, 2, is_on_shelf=True)

    assert (at_stand(pounds), kept_apart(pounds)) == (23, 0)
    assert not ReturnedJars.objects.exists()
    assert faults() == []


def test_a_share_of_the_discount_stays_off(stand, pounds):
    # 24.00 less 1.00 is 23.00: a third of it is 7.67 (7.666…), and two more come to 15.33.
    receipt = sold(stand, jars(pounds, 3, "8.00"), discount_cents=100)

    first, rest = give_back(receipt, 1), give_back(receipt, 2)

    assert (first.total_cents, rest.total_cents) == (-767, -1_533)
    assert faults() == []


def test_what_came_back_does_not_come_back_again(stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"))
    give_back(receipt, 2)

    with pytest.raises(BadValue) as refused:
        give_back(receipt, 2)

    assert (refused.value.parameter, refused.value.message) == (
        "lines.0.pieces",
        "Enter a quantity from 0 to 1 of One pound.",
    )
    assert (kept_apart(pounds), Payment.objects.filter(amount_cents__lt=0).count()) == (2, 1)
    assert faults() == []


def test_the_same_return_sent_twice_gives_money_once(stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"))
    note = give_back(receipt, 1, key="back-1")

    with pytest.raises(AlreadyRecorded) as refused:
        give_back(receipt, 1, key="back-1")

    assert refused.value.made == note
    assert Payment.objects.filter(refunds=note).count() == 1


def test_a_card_is_given_back_on_the_card_reader(stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"), payments=[card()])

    note = give_back(receipt, 1)

    assert stand_returns.given_back(note) == {"card": 800}


def test_where_two_ways_were_paid_the_person_chooses(stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"), payments=[cash(1_000), card(1_400)])

    with pytest.raises(BadValue) as refused:
        give_back(receipt, 1)
    note = give_back(receipt, 1, method="card")

    assert (refused.value.parameter, refused.value.message) == (
        "method",
        "The buyer paid in several ways. Choose how the money is given back.",
    )
    assert stand_returns.given_back(note) == {"card": 800}
    assert faults() == []


def test_never_more_is_given_back_in_cash_than_was_paid_in_cash(stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"), payments=[cash(1_000), card(1_400)])

    first = give_back(receipt, 1, method="cash")
    second = give_back(receipt, 1, method="cash")
    last = give_back(receipt, 1)

    assert stand_returns.given_back(first) == {"cash": 800}
    assert stand_returns.given_back(second) == {"cash": 200, "card": 600}
    assert stand_returns.given_back(last) == {"card": 800}
    with pytest.raises(NotAllowedNow):
        give_back(receipt, 1)
    assert faults() == []


def test_a_way_that_nobody_paid_by_is_refused(stand, pounds):
    receipt = sold(stand, jars(pounds, 1, "8.00"), payments=[card()])

    with pytest.raises(BadValue) as refused:
        give_back(receipt, 1, method="cash")

    assert refused.value.message == "Nothing that was paid this way is left. Choose another way."


def test_money_for_a_check_waits_until_it_has_cleared(stand, pounds):
    receipt = sold(stand, jars(pounds, 2, "8.00"), payments=[check()])

    with pytest.raises(BadValue) as refused:
        give_back(receipt, 1)
    note = give_back(receipt, 1, check_has_cleared=True)

    assert (refused.value.parameter, refused.value.message) == (
        "check_has_cleared",
        "$8.00 of it was paid by check. Give it back once the bank says that the check has "
        "cleared, and tick that it has.",
    )
    assert stand_returns.given_back(note) == {"check": 800}


def test_what_was_not_paid_is_not_given_back(stand, pounds):
    # 16.00, of which 15.00 was paid: the buyer gets that and no more.
    receipt = sold(stand, jars(pounds, 2, "8.00"), payments=[cash(1_500)], has_happened=True)

    notes = [give_back(receipt, 1), give_back(receipt, 1)]

    given = [stand_returns.given_back(note).get("cash", 0) for note in notes]
    assert sum(given) == 1_500
    assert faults() == []


def test_a_tip_stays(stand, pounds):
    receipt = sold(stand, jars(pounds, 1, "8.00"), payments=[cash(1_000)], on_top_cents=200)

    note = give_back(receipt, 1)

    assert stand_returns.given_back(note) == {"cash": 800}
    assert receipt.stand_sale.on_top_cents == 200
    assert faults() == []


def test_goods_that_were_free_come_back_without_money(stand, pounds):
    receipt = sold(stand, jars(pounds, 2, "8.00"), discount_cents=1_600)

    note = give_back(receipt, 1)

    assert (note.total_cents, stand_returns.given_back(note)) == (0, {})
    assert kept_apart(pounds) == 1
    assert faults() == []


def test_a_sale_of_an_older_day_is_for_the_office(stand, pounds, owner):
    receipt = sold(stand, jars(pounds, 2, "8.00"), sold_at=timezone.now() - timedelta(days=1))

    with pytest.raises(NeedsApproval) as refused:
        give_back(receipt, 1)
    note = give_back(receipt, 1, given_by=owner)

    assert refused.value.message == (
        "Receipt R26-00001 is of Sep 9, 2026. For a sale of an older day, ask the office or the "
        "owner to approve the return."
    )
    assert note.total_cents == -800


def test_a_sale_of_somebody_else_is_for_the_office(stand, pounds, owner):
    receipt = sold(stand, jars(pounds, 2, "8.00"), sold_by=owner)

    with pytest.raises(NeedsApproval) as refused:
        give_back(receipt, 1)

    assert refused.value.message == (
        "Owner sold receipt R26-00001. For a sale of somebody else, ask the office or the owner to "
        "approve the return."
    )
    assert not stand_returns.needs_approval(receipt, builders.person("office"))
    assert not stand_returns.needs_approval(receipt, owner)


def test_a_sale_of_which_part_came_back_is_not_undone_as_a_whole(stand, pounds, owner):
    receipt = sold(stand, jars(pounds, 2, "8.00"))
    give_back(receipt, 1)

    with pytest.raises(NotAllowedNow) as refused:
        stand_sales.take_back(
            receipt=receipt, taken_by=owner, key=builders.new_key(), reason="All back"
        )

    assert refused.value.message == (
        "Part of receipt R26-00001 came back already, by credit note C26-00001. Take back the rest "
        "as a return."
    )


def test_of_an_undone_sale_nothing_comes_back(stand, pounds, owner):
    receipt = sold(stand, jars(pounds, 2, "8.00"))
    stand_sales.take_back(receipt=receipt, taken_by=owner, key=builders.new_key(), reason="Typo")

    with pytest.raises(NotAllowedNow):
        give_back(receipt, 1)

    assert at_stand(pounds) == 24
    assert faults() == []


def test_only_lines_of_a_receipt_come_back_so(stand, pounds, shop, owner):
    invoice = invoice_of(shop, jars(pounds, 2))
    receipt = sold(stand, jars(pounds, 2, "8.00"))

    with pytest.raises(NotAllowedNow) as no_receipt:
        give_back(invoice, 1)
    with pytest.raises(BadValue) as other:
        give_back(receipt, 1, lines=back(invoice, 1))
    with pytest.raises((BadValue, SeveralProblems)) as nothing:
        give_back(receipt, 0)

    assert no_receipt.value.message == (
        "F26-00001 is not a stand receipt. Make a credit note for the invoice instead."
    )
    assert other.value.message == "One pound is not on receipt R26-00001."
    assert nothing.value.parameter == "lines"
    assert Invoice.objects.filter(credits__isnull=False).count() == 0


def test_a_named_buyer_owes_and_has_nothing_afterwards(stand, pounds, shop):
    receipt = sold(stand, jars(pounds, 2, "8.00"), customer=shop)

    note = give_back(receipt, 1)

    assert stand_returns.given_back(note) == {"cash": 800}
    assert CustomerBalance.objects.get(customer=shop).owed_cents == 0
    assert faults() == []


def test_goods_of_a_stand_that_was_given_up_do_not_open_it_again(stand, pounds):
    receipt = sold(stand, jars(pounds, 24, "8.00"), payments=[cash(19_200)])
    Place.objects.filter(pk=stand.pk).update(is_active=False)

    give_back(receipt, 1)

    stand.refresh_from_db()
    assert (stand.is_active, kept_apart(pounds)) == (False, 1)
    assert faults() == []


def test_prices_that_include_tax_come_back_to_the_cent(stand, pounds, house, honey_tax):
    house.prices_include_tax = True
    house.save()
    receipt = sold(stand, jars(pounds, 3, "7.99"))

    notes = [give_back(receipt, 1) for _jar in range(3)]

    # Each jar was paid 7.99, its tax included.
    assert [note.total_cents for note in notes] == [-799, -799, -799]
    assert sum(note.tax_cents for note in notes) == -receipt.tax_cents
    assert faults() == []
    assert Decimal(receipt.total_cents) == 2_397


@pytest.mark.parametrize(
    ("is_on_shelf", "in_pail", "spoiled"), [(True, 20_000, 0), (False, 19_000, 1_000)]
)
def test_honey_by_weight_comes_back_whole(stand, house, is_on_shelf, in_pail, spoiled):
    pail = builders.place("pail-1", Place.Kind.PAIL)
    builders.lot_in(pail, 20_000)
    # 1 000 g at 4.00 a pound of 453.59237 g: 8.818… → 8.82
    receipt = sold(stand, honey_line(pail, 1_000))

    with pytest.raises(BadValue) as part:
        give_back(receipt, 1)
    note = give_back(receipt, None, is_on_shelf=is_on_shelf)

    assert (part.value.parameter, note.total_cents) == ("lines.0.pieces", -882)
    outside = Place.objects.outside(Place.Kind.SPOILED)
    assert (there(pail)[0], there(outside)[0]) == (in_pail, spoiled)
    assert faults() == []


def test_goods_by_weight_that_never_left_are_on_their_shelf_again(stand, house):
    product = wax()
    wax_lot(product, stand, 5_000)
    receipt = sold(stand, wax_line(product, 1_000))

    give_back(receipt, None, is_on_shelf=True)

    assert there(stand) == (5_000, 0)
    assert faults() == []
