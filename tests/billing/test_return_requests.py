"""Returns that the office approves: of an older day, and goods without a receipt."""

from datetime import timedelta

import pytest
from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import Invoice, Payment, ReturnRequest
from apiary_sales.billing.queries import books
from apiary_sales.billing.queries import stand_returns as queries
from apiary_sales.billing.services import return_requests, stand_returns
from apiary_sales.billing.services import stand as stand_sales
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, SeveralProblems
from inventory.stock.models import Balance, Place
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.conftest import days, jars
from tests.billing.stand_room import back, card, cash, sold

pytestmark = pytest.mark.django_db


@pytest.fixture
def seller():
    return builders.person("stand")


@pytest.fixture
def office():
    return builders.person("office")


@pytest.fixture
def asked(stand, pounds, seller):
    """One of two jars of yesterday's sale comes back."""
    receipt = sold(stand, jars(pounds, 2, "8.00"), sold_at=timezone.now() - days(1))
    return return_requests.ask(
        receipt=receipt, lines=back(receipt, 1), reason="Leaks", asked_by=seller, key="ask-1"
    )


def ask_without(stand, product, seller, **more):
    fields = {
        "place": stand,
        "product": product,
        "pieces": 2,
        "price_cents": 900,
        "reason": "Too dark",
        "asked_by": seller,
        "key": builders.new_key(),
    }
    return return_requests.ask_without_receipt(**{**fields, **more})


def approve(request, person, **more):
    return return_requests.approve(
        request=request, approved_by=person, **{"key": builders.new_key(), **more}
    )


def refuse(request, person, **more):
    fields = {"key": builders.new_key(), "note": "Not ours"}
    return return_requests.refuse(request=request, refused_by=person, **{**fields, **more})


def give_back(request, person, **more):
    return return_requests.give_back(
        request=request, given_by=person, **{"key": builders.new_key(), **more}
    )


def kept_apart(product):
    place = Place.objects.outside(Place.Kind.RETURNED)
    return sum(row.quantity for row in Balance.objects.filter(place=place, item=product.item))


def faults():
    return [*books.faults(), *stock_books.faults()]


def test_asking_books_nothing(asked, pounds):
    assert (asked.state, asked.place.code, asked.text) == ("asked", "stand", "1 × One pound")
    assert kept_apart(pounds) == 0
    assert not Invoice.objects.filter(credits__isnull=False).exists()
    assert queries.waiting().count() == 1


def test_what_is_approved_is_given_back_by_the_seller(asked, pounds, seller, office):
    approve(asked, office, note="Good customer")

    done = give_back(asked, seller)

    assert (done.state, done.decided_by, done.note) == ("given_back", office, "Good customer")
    assert stand_returns.given_back(done.credit_note) == {"cash": 800}
    assert done.credit_note.issued_by == seller
    assert kept_apart(pounds) == 1
    assert faults() == []


def test_no_money_before_it_is_approved(asked, seller):
    with pytest.raises(NotAllowedNow) as refused:
        give_back(asked, seller)

    assert refused.value.message == "The office has not decided about this return yet."
    assert not Payment.objects.filter(amount_cents__lt=0).exists()


def test_money_is_given_back_once(asked, seller, office):
    approve(asked, office)
    give_back(asked, seller, key="give-1")

    with pytest.raises(AlreadyRecorded):
        give_back(asked, seller, key="give-1")
    with pytest.raises(NotAllowedNow) as again:
        give_back(asked, seller)

    assert again.value.message == "The money of this return was given back already."
    assert Payment.objects.filter(amount_cents__lt=0).count() == 1


def test_who_sells_does_not_approve(asked, seller):
    with pytest.raises(NotAllowedNow) as refused:
        approve(asked, seller)

    assert refused.value.message == "Only the office or the owner decides about a return."


def test_of_two_who_decide_the_first_counts(asked, office, owner):
    approve(asked, office, key="decide-1")

    with pytest.raises(AlreadyRecorded):
        approve(asked, office, key="decide-1")
    with pytest.raises(NotAllowedNow) as second:
        approve(asked, owner)

    assert second.value.message == f"{office} approved this return already."


def test_an_approval_can_be_taken_back_until_the_money_is_given(asked, seller, office):
    approve(asked, office)

    refuse(asked, office, note="The buyer left")

    asked.refresh_from_db()
    assert (asked.state, asked.note) == ("refused", "The buyer left")
    with pytest.raises(NotAllowedNow):
        give_back(asked, seller)


def test_who_refuses_says_why(asked, office):
    with pytest.raises(BadValue) as refused:
        refuse(asked, office, note=" ")

    assert (refused.value.parameter, refused.value.message) == (
        "note",
        "Say why it is refused; the stand reads it.",
    )


def test_what_came_back_meanwhile_is_not_approved(asked, office, owner):
    stand_returns.give_back(
        receipt=asked.receipt,
        lines=back(asked.receipt, 2),
        given_by=owner,
        key=builders.new_key(),
        reason="All of it",
    )

    with pytest.raises(NotAllowedNow):
        approve(asked, office)

    asked.refresh_from_db()
    assert asked.state == "asked"


def test_two_requests_for_one_jar_give_it_back_once(stand, pounds, seller, office):
    receipt = sold(stand, jars(pounds, 1, "8.00"), sold_at=timezone.now() - days(1))
    both = [
        return_requests.ask(
            receipt=receipt, lines=back(receipt, 1), reason="Leaks", asked_by=seller, key=key
        )
        for key in ("a", "b")
    ]
    for request in both:
        approve(request, office)
    give_back(both[0], seller)

    with pytest.raises(NotAllowedNow):
        give_back(both[1], seller)

    both[1].refresh_from_db()
    assert both[1].state == "approved"
    assert Payment.objects.filter(amount_cents__lt=0).count() == 1
    assert faults() == []


def test_the_cheapest_sale_with_as_many_pieces_is_proposed_first(stand, pounds, seller):
    dear = sold(stand, jars(pounds, 2, "8.00"))
    cheap = sold(stand, jars(pounds, 3, "7.00"))
    sold(stand, jars(pounds, 1, "5.00"))
    asked = ask_without(stand, pounds, seller)

    found = queries.receipts_it_may_be(asked)

    assert [(each.receipt, each.cents) for each in found] == [(cheap, 1_400), (dear, 1_600)]


def test_a_sale_of_the_lot_on_the_jar_comes_before_cheaper_ones(stand, pounds, seller):
    of_first_lot = sold(stand, jars(pounds, 24, "8.00"), payments=[cash(19_200)])
    builders.packed_lot(pounds, stand, 10, code="P26-009")
    sold(stand, jars(pounds, 2, "6.00"))
    asked = ask_without(stand, pounds, seller, lot_code="P26-002")

    first = queries.receipts_it_may_be(asked)[0]

    assert (first.receipt, first.is_same_lot) == (of_first_lot, True)


@pytest.mark.parametrize(("days_ago", "is_found"), [(60, True), (61, False)])
def test_sales_of_sixty_days_are_looked_through(stand, pounds, seller, days_ago, is_found):
    sold_at = timezone.now() - timedelta(days=days_ago)
    sold(stand, jars(pounds, 2, "8.00"), sold_at=sold_at, not_before=sold_at)
    asked = ask_without(stand, pounds, seller)

    assert bool(queries.receipts_it_may_be(asked)) is is_found


def test_undone_sales_and_other_places_are_left_out(stand, shelf, pounds, seller, owner):
    undone = sold(stand, jars(pounds, 2, "8.00"))
    stand_sales.take_back(receipt=undone, taken_by=owner, key="undo", reason="Typo")
    sold(shelf, jars(pounds, 2, "8.00"), sold_by=owner)
    asked = ask_without(stand, pounds, seller)

    assert queries.receipts_it_may_be(asked) == []


def test_receipts_are_found_in_a_constant_number_of_queries(
    stand, pounds, seller, django_assert_num_queries
):
    for price in ("8.00", "7.50", "7.00"):
        sold(stand, jars(pounds, 2, price))
    asked = ask_without(stand, pounds, seller)

    with django_assert_num_queries(4):
        assert len(queries.receipts_it_may_be(asked)) == 3


def test_without_a_receipt_the_price_on_the_one_that_is_named_is_given_back(
    stand, pounds, seller, office
):
    receipt = sold(stand, jars(pounds, 3, "7.00"), payments=[card()])
    asked = ask_without(stand, pounds, seller, price_cents=900)

    approve(asked, office, receipt=receipt)
    done = give_back(asked, seller)

    assert (done.receipt, done.credit_note.credits) == (receipt, receipt)
    # Two at 7.00, though the buyer says 9.00; and by card, as they were paid.
    assert stand_returns.given_back(done.credit_note) == {"card": 1_400}
    assert kept_apart(pounds) == 2
    assert faults() == []


def test_without_any_sale_there_is_nothing_to_approve(stand, pounds, quarts, seller, office):
    other = sold(stand, jars(quarts, 2, "21.00"))
    asked = ask_without(stand, pounds, seller)

    for receipt in (None, other):
        with pytest.raises(BadValue) as refused:
            approve(asked, office, receipt=receipt)

        assert (refused.value.parameter, refused.value.message) == (
            "receipt",
            "Choose the receipt of a sale of One pound at Stand in the 60 days before Sep 10, "
            "2026. If there is none, refuse the return; to give money all the same, enter an "
            "expense for goodwill.",
        )


def test_a_receipt_with_too_few_pieces_left_is_refused(stand, pounds, seller, office):
    receipt = sold(stand, jars(pounds, 1, "8.00"))
    asked = ask_without(stand, pounds, seller)

    with pytest.raises(BadValue) as refused:
        approve(asked, office, receipt=receipt)

    assert refused.value.message == (
        "Receipt R26-00001 has 1 piece of One pound left to take back, and 2 pieces came back. "
        "Choose another receipt, or refuse this and ask for each receipt apart."
    )


def test_all_that_is_wrong_with_a_request_is_said_at_once(stand, pounds, seller):
    tank = builders.place("tank-1")

    with pytest.raises(SeveralProblems) as refused:
        ask_without(tank, pounds, seller, pieces=0, price_cents=-1, reason=" ")

    assert [(each.parameter, each.message) for each in refused.value.problems] == [
        ("place", "Choose the shelf, stand or van where it came back."),
        ("place", "tank-1 is not a stand or van. Ask the office to do this there."),
        ("pieces", "Enter how many pieces came back, from 1 to 1,000."),
        ("price_cents", "Enter what the buyer says was paid for one."),
        ("reason", "Say why it comes back; the office reads it."),
    ]
    assert not ReturnRequest.objects.exists()


def test_the_same_question_sent_twice_is_asked_once(asked, stand, pounds, seller):
    with pytest.raises(AlreadyRecorded) as repeat:
        return_requests.ask(
            receipt=asked.receipt,
            lines=back(asked.receipt, 1),
            reason="Leaks",
            asked_by=seller,
            key="ask-1",
        )

    assert repeat.value.made == asked
    assert ReturnRequest.objects.count() == 1


def test_who_sells_sees_what_they_asked_and_the_office_everything(asked, stand, pounds, seller):
    another = User.objects.create_user("marta", role="stand")
    other = ask_without(stand, pounds, another)

    assert list(queries.requests(seller, decides=False)) == [asked]
    assert list(queries.requests(seller, decides=True)) == [other, asked]
