"""A sale at the stand that happened is booked, whatever does not fit, and keeps marks of it."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.accounts import seller_proofs
from apiary_sales.accounts.services import pins
from apiary_sales.billing.models import Entry, HandedInSale, Invoice, Payment, StandSale
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import handed_in, stand_money
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services.stand_money import PaymentMade
from apiary_sales.pricing.models import PiecePrice
from inventory.bottling.services import holds
from inventory.shared.errors import NotAllowedNow
from inventory.shared.models import House
from inventory.stock.models import Balance, Lot, Place, Shortage
from inventory.stock.queries import books as stock_books
from inventory.stock.services import stores
from tests import builders, data_layer
from tests.billing.conftest import jars, order_of

pytestmark = pytest.mark.django_db

SALES = "/stand/sales/"


@pytest.fixture
def seller():
    client = Client()
    client.force_login(builders.person("stand"))
    return client


@pytest.fixture
def priced(pounds):
    """The one-pound jar at 8.00 at the stand, since long ago."""
    PiecePrice.objects.filter(tier="stand", product=pounds).delete()
    PiecePrice.objects.create(
        tier="stand",
        product=pounds,
        piece_cents=800,
        valid_from=timezone.localdate() - timedelta(days=400),
    )
    return pounds


@pytest.fixture
def message(stand, priced):
    """What a phone sends for one jar that was sold just now."""

    def message(**changes):
        now = timezone.now().isoformat()
        return {
            "key": "sale-1",
            "device": "phone-1",
            "place": "stand",
            "seller": builders.person("stand").pk,
            "lines": [{"product": priced.code, "pieces": 1, "unit_price": "8.0000"}],
            "discount_cents": 0,
            "on_top_cents": 0,
            "payments": [
                {"method": "cash", "cents": 800, "tendered_cents": 1_000, "reference": ""}
            ],
            "total_cents": 800,
            "sold_at": now,
            "clock_said": now,
            "data_made_at": now,
            "corrects": None,
            "wants_data": False,
            **changes,
        }

    return message


def send(client, body, address=SALES):
    return client.post(address, json.dumps(body), content_type="application/json")


def at_stand(product):
    return sum(
        Balance.objects.filter(place__code="stand", item=product.item).values_list(
            "quantity", flat=True
        )
    )


def kinds(sale=None):
    sale = sale or StandSale.objects.get()
    return [mark.kind for mark in sale.marks.all()]


def assert_books_hold():
    assert list(books.faults()) == []
    assert list(stock_books.faults()) == []


def test_a_sale_that_fits_has_no_mark_and_keeps_where_when_and_by_whom(seller, message):
    answer = send(seller, message())

    sale = StandSale.objects.get()
    assert answer.json()["marks"] == []
    assert (sale.place.code, sale.device, sale.key) == ("stand", "phone-1", "sale-1")
    assert sale.sold_by == sale.sent_by == builders.person("stand")
    assert sale.change_cents == 200
    assert sale.clock_said is None
    assert_books_hold()


def test_a_sale_of_an_earlier_day_takes_nothing_from_another_shelf(seller, time_machine, request):
    now = timezone.now()
    yesterday = (now - timedelta(days=1)).isoformat()
    time_machine.move_to(now - timedelta(days=2))
    message, priced = request.getfixturevalue("message"), request.getfixturevalue("priced")
    van = builders.place("van", Place.Kind.VAN, name="Van")
    stores.transfer(
        source=Place.objects.get(code="stand"),
        target=van,
        item=priced.item,
        lot=Lot.objects.get(code="P26-002"),
        pieces=1,
        recorded_by=builders.person(),
        key="to-the-van",
    )
    time_machine.move_to(now)
    send(seller, message(key="today", place="van"))

    send(
        seller,
        message(
            place="van",
            lines=[{"product": priced.code, "pieces": 2, "unit_price": "8.0000"}],
            sold_at=yesterday,
            clock_said=yesterday,
            data_made_at=yesterday,
        ),
    )

    assert "short" in kinds(StandSale.objects.get(key="sale-1"))
    assert at_stand(priced) == 23


def test_two_phones_sell_the_last_jar_and_both_sales_are_booked(seller, message, priced):
    send(seller, message(lines=[{"product": priced.code, "pieces": 24, "unit_price": "8.0000"}]))

    answer = send(seller, message(key="sale-2", device="phone-2"))

    sale = StandSale.objects.get(key="sale-2")
    assert answer.status_code == 200
    assert kinds(sale) == ["short"]
    assert at_stand(priced) == 0
    short = Shortage.objects.open().get()
    assert (short.quantity, short.place.code) == (1, "stand")
    # It is said to be of the lot that was last there, so that a recall finds its buyer.
    assert short.lot == sale.fulfilment.lines.get().lot
    assert_books_hold()


def test_a_sale_that_comes_in_after_a_later_one_took_the_last_jar_first(seller, message, priced):
    now = timezone.now()
    early, late = (now - timedelta(minutes=minutes) for minutes in (20, 10))
    all_of_them = [{"product": priced.code, "pieces": 24, "unit_price": "8.0000"}]
    known = {"data_made_at": early.isoformat()}
    send(seller, message(key="late", lines=all_of_them, sold_at=late.isoformat(), **known))

    send(seller, message(key="early", sold_at=early.isoformat(), **known))

    assert "short" not in kinds(StandSale.objects.get(key="early"))
    assert "short" in kinds(StandSale.objects.get(key="late"))
    assert Shortage.objects.open().get().posting == (
        StandSale.objects.get(key="late").fulfilment.posting
    )
    assert_books_hold()


def test_what_was_sold_before_a_count_and_came_in_after_it_is_no_loss_twice(
    seller, message, priced, stand, owner
):
    sold = timezone.now() - timedelta(minutes=30)
    lot = Balance.objects.get(place=stand, item=priced.item).lot
    stores.count(
        item=priced.item,
        lot=lot,
        place=stand,
        counted=23,
        reason="Counted at noon",
        recorded_by=owner,
        key="counted",
    )

    send(seller, message(sold_at=sold.isoformat(), data_made_at=sold.isoformat()))

    assert at_stand(priced) == 23
    assert not Shortage.objects.open().exists()
    assert_books_hold()


def test_a_jar_that_never_was_in_the_books_is_booked_without_a_lot(seller, message, stand):
    sold_out = builders.product("Two pounds", code="two-pound")
    PiecePrice.objects.create(
        tier="stand", product=sold_out, piece_cents=1500, valid_from=timezone.localdate()
    )
    line = {"product": "two-pound", "pieces": 2, "unit_price": "15.0000"}

    answer = send(seller, message(lines=[line], payments=[{"method": "card", "cents": 3_000}]))

    assert answer.status_code == 200
    assert kinds() == ["short"]
    assert StandSale.objects.get().fulfilment.lines.get().lot is None
    assert_books_hold()


def test_goods_on_hold_are_told_by_their_name(seller, priced, owner):
    lot = Balance.objects.get(place__code="stand", item=priced.item).lot
    holds.hold(lots=[lot], reason="Glass in a jar", held_by=owner)

    [place] = seller.get("/stand/data/").json()["places"]

    assert place["held"] == ["24 pieces of One pound on hold: Glass in a jar"]


def test_a_lot_held_after_the_sale_is_booked_with_a_mark(seller, message, priced, owner):
    lot = Balance.objects.get(place__code="stand", item=priced.item).lot
    holds.hold(lots=[lot], reason="Glass in a jar", held_by=owner)

    send(seller, message())

    [mark] = StandSale.objects.get().marks.all()
    assert (mark.kind, mark.text) == ("on_hold", f"Lot {lot.code} is on hold.")
    assert at_stand(priced) == 23
    assert_books_hold()


def test_a_reserved_jar_that_was_sold_is_booked_and_the_order_is_told(
    seller, message, priced, shop
):
    there = sum(
        Balance.objects.filter(item=priced.item, is_physical=True).values_list(
            "quantity", flat=True
        )
    )
    order = order_of(shop, jars(priced, there), fill=False)

    answer = send(seller, message())

    assert answer.status_code == 200
    assert at_stand(priced) == 23
    order.refresh_from_db()
    assert order.lines.get().gave_way == 1
    assert_books_hold()


@pytest.mark.parametrize(
    ("price", "marked"), [("8.0000", []), ("7.5000", ["price"]), ("8.5000", ["price"])]
)
def test_only_prices_in_force_at_the_time_are_taken_without_a_mark(
    seller, message, priced, price, marked
):
    cents = int(Decimal(price) * 100)
    line = {"product": priced.code, "pieces": 1, "unit_price": price}

    send(seller, message(lines=[line], payments=[{"method": "card", "cents": cents}]))

    assert kinds() == marked
    assert Invoice.objects.get().total_cents == cents


def test_the_price_of_the_day_of_the_sale_counts_though_it_changed_since(seller, message, priced):
    PiecePrice.objects.create(
        tier="stand", product=priced, piece_cents=900, valid_from=timezone.localdate()
    )
    yesterday = (timezone.now() - timedelta(days=1)).isoformat()

    send(seller, message(sold_at=yesterday, clock_said=yesterday, data_made_at=yesterday))

    assert kinds() == []


@pytest.mark.parametrize(
    ("paid", "total_cents", "written_off", "on_top"),
    [
        ([{"method": "cash", "cents": 800, "tendered_cents": 500}], 800, 0, 0),
        ([{"method": "card", "cents": 750}], 800, 50, 0),
        ([{"method": "card", "cents": 850}], 800, 0, 50),
        ([], 800, 800, 0),
    ],
)
def test_another_amount_than_is_to_pay_is_booked_as_it_was_paid(
    seller, message, paid, total_cents, written_off, on_top
):
    answer = send(seller, message(payments=paid))

    assert answer.status_code == 200
    sale = StandSale.objects.get()
    assert sale.total_cents == total_cents
    assert sale.receipt.open_cents == 0
    paid_cents = sum(payment.amount_cents for payment in Payment.objects.all())
    assert (total_cents - paid_cents, sale.on_top_cents) == (written_off, on_top)
    assert kinds() in (["paid"], ["cash"])
    assert_books_hold()


def test_far_too_much_cash_is_booked_with_a_mark(seller, message):
    send(seller, message(payments=[{"method": "cash", "cents": 800, "tendered_cents": 200_000}]))

    assert kinds() == ["cash"]
    assert Payment.objects.get().amount_cents == 800


@pytest.mark.parametrize("days", [60, -60])
def test_a_clock_that_is_months_off_is_not_believed(seller, message, days):
    now = timezone.now()
    said = (now + timedelta(days=days)).isoformat()

    send(seller, message(sold_at=said, clock_said=said, data_made_at=now.isoformat()))

    sale = StandSale.objects.get()
    assert timezone.localdate(sale.sold_at) == timezone.localdate(now)
    assert kinds() == ["clock"]


def test_a_clock_that_the_phone_corrected_is_told(seller, message):
    now = timezone.now()
    said = (now - timedelta(days=2)).isoformat()

    send(seller, message(clock_said=said, sold_at=now.isoformat()))

    sale = StandSale.objects.get()
    assert abs(sale.sold_at - now) < timedelta(minutes=1)
    assert sale.clock_said.isoformat() == said
    assert kinds() == ["clock"]


def test_a_seller_stays_the_seller_whoever_carries_the_sale_to_the_books(message):
    carrier = Client()
    carrier.force_login(builders.person("owner"))

    send(carrier, message())

    sale = StandSale.objects.get()
    assert (sale.sold_by.username, sale.sent_by.username) == ("stand", "owner")
    assert sale.receipt.issued_by.username == "stand"


def test_a_seller_who_sold_at_the_phone_is_believed_whoever_sends_the_sale(seller, message):
    proof = seller.get("/stand/data/").json()["me"]["proof"]
    carrier = Client()
    carrier.force_login(builders.person("owner"))

    send(carrier, message(seller_proof=proof))
    again = send(carrier, message(seller_proof=None))

    sale = StandSale.objects.get()
    assert (sale.sold_by.username, kinds(), again.status_code) == ("stand", [], 200)
    # Whoever reads what was sent can't sell in the person's name with it.
    assert "seller_proof" not in sale.asked


def test_a_sale_in_the_name_of_somebody_else_without_a_proof_is_told(message, owner):
    pins.set_pin(person=builders.person("stand"), pin="4831", set_by=owner)
    proof = seller_proofs.proof_of(builders.person("stand"))
    pins.set_pin(person=builders.person("stand"), pin="5926", set_by=owner)
    others = seller_proofs.proof_of(builders.person("office"))
    carrier = Client()
    carrier.force_login(builders.person("owner"))

    for key, sent in enumerate((proof, others, "", None, 1, ["x"])):
        send(carrier, message(key=f"sale-{key}", seller_proof=sent))

    for sale in StandSale.objects.all():
        [mark] = sale.marks.all()
        assert (sale.sold_by.username, mark.kind) == ("stand", "seller")
        assert mark.text == (
            "The phone names Stand as the seller, but Owner was signed in when it sent the sale, "
            "and it showed neither the PIN nor the sign-in of Stand. Ask who sold."
        )
    assert StandSale.objects.count() == 6


def test_a_sale_that_is_handed_in_is_kept_without_the_proof_of_its_seller(seller, message):
    body = message(seller_proof=seller.get("/stand/data/").json()["me"]["proof"])

    send(seller, {"key": "sale-1", "body": body, "text": "One jar"}, "/stand/handed-in/")

    assert "seller_proof" not in HandedInSale.objects.get().body


@pytest.mark.parametrize("seller_pk", ["bottling", 10**6])
def test_a_seller_who_may_not_sell_is_told_and_the_sender_counts(seller, message, seller_pk):
    pk = builders.person(seller_pk).pk if isinstance(seller_pk, str) else seller_pk

    send(seller, message(seller=pk))

    assert StandSale.objects.get().sold_by.username == "stand"
    assert kinds() == ["seller"]


def test_who_sells_at_the_stand_and_sold_from_a_shelf_is_told(seller, message, shelf):
    send(seller, message(place=shelf.code))

    [mark] = StandSale.objects.get().marks.all()
    assert mark.text == "Stand sold from Packing shelf, which is not a stand or van."


def test_another_body_under_a_used_key_answers_with_what_was_recorded(seller, message, priced):
    send(seller, message())
    line = {"product": priced.code, "pieces": 2, "unit_price": "8.0000"}

    answer = send(seller, message(lines=[line]))

    assert answer.status_code == 409
    recorded = answer.json()["recorded"]
    assert (recorded["total_cents"], recorded["number"]) == (800, "R26-00001")
    assert recorded["lines"] == [{"name": "One pound", "pieces": "1"}]
    assert StandSale.objects.count() == 1


def test_a_key_belongs_to_the_device_that_used_it(seller, message):
    first = send(seller, message())

    answer = send(seller, message(device="phone-2"))

    assert (answer.status_code, answer.json()["recorded"]["number"]) == (409, "R26-00001")
    assert send(seller, message()).json()["number"] == first.json()["number"]
    assert StandSale.objects.get().device == "phone-1"


def test_a_correction_takes_the_recorded_sale_back_and_books_the_new_one(seller, message, priced):
    send(seller, message())
    line = {"product": priced.code, "pieces": 2, "unit_price": "8.0000"}
    corrected = message(
        key="sale-2",
        corrects="sale-1",
        lines=[line],
        payments=[{"method": "card", "cents": 1_600}],
    )

    first, again = send(seller, corrected), send(seller, corrected)

    assert (first.status_code, again.status_code) == (200, 200)
    [sale] = StandSale.objects.standing()
    assert (sale.key, sale.corrects.key, sale.total_cents) == ("sale-2", "sale-1", 1_600)
    assert kinds(sale) == ["corrected"]
    assert at_stand(priced) == 22
    assert sum(payment.amount_cents for payment in Payment.objects.all()) == 1_600
    assert_books_hold()


@pytest.mark.parametrize("whose", ["of_another", "of_an_earlier_day"])
def test_a_correction_of_what_the_office_alone_undoes_is_booked_beside_it(
    seller, message, priced, whose
):
    first = message()
    if whose == "of_an_earlier_day":
        earlier = (timezone.now() - timedelta(days=1)).isoformat()
        first |= {"sold_at": earlier, "clock_said": earlier, "data_made_at": None}
    sender = seller
    if whose == "of_another":
        sender = Client()
        sender.force_login(builders.person("owner"))
        first["seller"] = builders.person("owner").pk
    send(sender, first)
    assert send(seller, {"key": "sale-1"}, "/stand/undo/").status_code == 403

    answer = send(seller, message(key="sale-2", corrects="sale-1"))

    assert answer.status_code == 200
    assert {sale.key for sale in StandSale.objects.standing()} == {"sale-1", "sale-2"}
    sale = StandSale.objects.get(key="sale-2")
    assert "corrected" in kinds(sale)
    assert "R26-00001" in sale.marks.get(kind="corrected").text
    assert not hasattr(sale, "corrects")
    assert at_stand(priced) == 22
    assert sum(payment.amount_cents for payment in Payment.objects.all()) == 1_600
    assert_books_hold()


def test_cash_and_card_are_split_and_a_check_keeps_its_number(seller, message):
    paid = [
        {"method": "cash", "cents": 300, "tendered_cents": 500},
        {"method": "card", "cents": 200},
        {"method": "check", "cents": 300, "reference": "1042"},
    ]

    send(seller, message(payments=paid))

    sale = StandSale.objects.get()
    assert [(pay.method, pay.amount_cents, pay.reference) for pay in sale.payments] == [
        ("cash", 300, ""),
        ("card", 200, ""),
        ("check", 300, "1042"),
    ]
    assert sale.change_cents == 200
    assert kinds() == []
    assert_books_hold()


@pytest.mark.parametrize(("is_for_people", "account"), [(True, "tips"), (False, "gifts")])
def test_what_is_given_on_top_goes_to_whom_the_house_says(seller, message, is_for_people, account):
    House(name="Hollow Oak Honey House", tips_are_for_people=is_for_people).save()

    send(
        seller,
        message(
            on_top_cents=200,
            payments=[{"method": "cash", "cents": 1_000, "tendered_cents": 1_000}],
        ),
    )

    sale = StandSale.objects.get()
    assert (sale.on_top_cents, sale.change_cents) == (200, 0)
    assert Payment.objects.get().amount_cents == 800
    lines = {line.account: line.amount_cents for line in sale.on_top_entry.lines.all()}
    assert lines == {"cash": 200, account: -200}
    assert kinds() == []
    assert_books_hold()


def test_undoing_a_sale_gives_every_payment_and_what_was_on_top_back(seller, message, priced):
    send(
        seller,
        message(
            on_top_cents=100,
            payments=[
                {"method": "cash", "cents": 500, "tendered_cents": 500},
                {"method": "card", "cents": 400},
            ],
        ),
    )

    answer = send(seller, {"key": "sale-1", "reason": "Wrong jar"}, "/stand/undo/")
    again = send(seller, {"key": "sale-1", "reason": "Wrong jar"}, "/stand/undo/")

    assert answer.json()["undone"] is again.json()["undone"] is True
    assert answer.json()["number"] == again.json()["number"]
    assert at_stand(priced) == 24
    of_cash = Entry.objects.filter(lines__account__in=["cash", "card", "tips"])
    assert (
        sum(
            line.amount_cents
            for entry in of_cash.distinct()
            for line in entry.lines.filter(account__in=["cash", "card", "tips"])
        )
        == 0
    )
    assert list(StandSale.objects.standing()) == []
    assert_books_hold()


def test_undoing_a_sale_that_never_came_changes_nothing(seller):
    answer = send(seller, {"key": "never", "reason": ""}, "/stand/undo/")

    assert answer.json()["undone"] is False
    assert not Invoice.objects.exists()


def test_a_sale_of_an_earlier_day_is_undone_by_the_office(seller, message):
    yesterday = (timezone.now() - timedelta(days=1)).isoformat()
    send(seller, message(sold_at=yesterday, clock_said=yesterday, data_made_at=yesterday))

    answer = send(seller, {"key": "sale-1", "reason": "Wrong jar"}, "/stand/undo/")

    assert (answer.status_code, answer.json()["message"]) == (
        403,
        "A sale of an earlier day, or of somebody else, is undone by the office. Ask there.",
    )


def test_a_sale_that_cannot_be_booked_is_given_to_the_office_once(seller, message):
    body = message(lines=[{"product": "gone", "pieces": 1, "unit_price": "8.0000"}])
    assert send(seller, body).status_code == 422
    handed = {"key": "sale-1", "body": body, "text": "1 × Gone: $8.00", "reason": "No product"}

    answers = [send(seller, handed, "/stand/handed-in/") for _ in range(2)]

    assert [answer.json()["handed_in"] for answer in answers] == [True, True]
    kept = HandedInSale.objects.get()
    assert (kept.text, kept.device, kept.body) == ("1 × Gone: $8.00", "phone-1", body)
    other = {**handed, "body": {**body, "device": "phone-2"}}
    assert send(seller, other, "/stand/handed-in/").status_code == 422


def test_the_answer_brings_prices_and_stock_where_they_are_wanted(seller, message, priced):
    answer = send(seller, message(wants_data=True))

    [told] = [row for row in answer.json()["data"]["products"] if row["code"] == priced.code]
    assert told["at"]["stand"]["free"] == 23
    assert told["breaks"] == [{"pieces": 1, "piece_cents": 800, "case_cents": None}]


cents = st.integers(min_value=0, max_value=3_000)


@given(
    paid=st.lists(
        st.tuples(st.sampled_from(["cash", "card", "check"]), st.none() | cents, st.none() | cents),
        max_size=5,
    ),
    total=cents,
    on_top=st.integers(min_value=0, max_value=500),
)
def test_what_was_paid_is_the_total_with_what_is_on_top_less_what_is_missing(paid, total, on_top):
    settled = stand_money.settle(
        [PaymentMade(method, amount, given) for method, amount, given in paid],
        total_cents=total,
        on_top_cents=on_top,
        has_happened=True,
    )

    paid_cents = sum(each.cents for each in settled.payments)
    assert paid_cents == total + settled.on_top_cents - settled.missing_cents
    assert settled.on_top_cents == 0 or settled.missing_cents == 0
    assert min(settled.on_top_cents, settled.missing_cents) == 0


@settings(
    max_examples=data_layer.examples(100),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    sales=st.lists(
        st.tuples(
            st.integers(min_value=1, max_value=30),
            st.integers(min_value=0, max_value=3),
            st.lists(cents, max_size=2),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_whatever_was_sold_and_paid_the_books_hold(stand, priced, sales):
    with transaction.atomic():
        for pieces, days, paid in sales:
            stand_sale = stand_of(stand, priced, pieces, days, paid)
            assert stand_sale.receipt.open_cents == 0
        sold = sum(pieces for pieces, _days, _paid in sales)
        short = sum(Shortage.objects.open().values_list("quantity", flat=True))
        assert at_stand(priced) == 24 - sold + short
        assert_books_hold()
        transaction.set_rollback(True)


def stand_of(place, product, pieces, days, paid):
    return stand_sales.sell(
        lines=[jars(product, pieces, "8.00")],
        place=place,
        payments=[PaymentMade("card", amount) for amount in paid],
        sold_by=builders.person("stand"),
        key=builders.new_key(),
        sold_at=timezone.now() - timedelta(days=days),
        has_happened=True,
    )


def given_to_office(seller, message):
    send(
        seller,
        {"key": "sale-1", "body": message(), "reason": "No signal", "text": "1 × One pound"},
        "/stand/handed-in/",
    )
    return HandedInSale.objects.get()


def test_a_sale_given_to_the_office_and_booked_after_all_is_settled(seller, message):
    given = given_to_office(seller, message)

    send(seller, message())

    given.refresh_from_db()
    assert given.sale == StandSale.objects.get()


def test_a_sale_that_the_office_set_aside_is_marked_when_it_comes_in(seller, message):
    given = given_to_office(seller, message)
    handed_in.settle(handed_in=given, settled_by=builders.person("office"), note="Entered by hand")

    send(seller, message())

    assert "The office had set this sale aside: Entered by hand" in [
        mark.text for mark in StandSale.objects.get().marks.all()
    ]


def test_a_sale_that_is_in_the_books_is_not_set_aside(seller, message):
    send(seller, message())
    given = given_to_office(seller, message)

    with pytest.raises(NotAllowedNow, match=r"booked meanwhile, as receipt R26-00001\."):
        handed_in.settle(
            handed_in=given, settled_by=builders.person("office"), note="Entered by hand"
        )


def test_the_answer_tells_where_the_buyer_reads_the_receipt(seller, message, settings):
    settings.ALLOWED_HOSTS = ["testserver", "honey.example"]
    settings.HTTPS = True

    told = send(seller, message()).json()["read_url"]

    sale = StandSale.objects.get()
    assert told == f"https://honey.example/r/{sale.read_code}/"
    assert Client().get(told.removeprefix("https://honey.example")).status_code == 200
    recorded = send(seller, message(discount_cents=1)).json()["recorded"]
    assert recorded["read_url"] == told
    settings.ALLOWED_HOSTS = ["testserver"]
    assert send(seller, message()).json()["read_url"] == ""


def test_the_catalogue_tells_which_sales_given_to_the_office_are_booked(seller, message):
    send(seller, message())
    for key in ("sale-1", "sale-2"):
        handed_in.hand_in(
            key=key,
            body=message(key=key),
            text="1 × One pound",
            reason="",
            device="",
            handed_in_by=builders.person("stand"),
        )

    assert seller.get("/stand/data/").json()["handed_in_booked"] == ["sale-1"]
