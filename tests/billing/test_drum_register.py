"""The drum register: who holds which drum, what came back, and deposits given back or kept."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db.models import Sum
from django.urls import reverse
from django.utils.formats import date_format

from apiary_sales.billing.models import Entry, EntryLine, Invoice, KeptDeposit, Payment
from apiary_sales.billing.queries import books, drum_register
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import corrected_invoices, credit_notes, drum_deposits, invoices
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import (
    DrumReturn,
    Fulfilment,
    FulfilmentLine,
    OrderLine,
    ReturnedDrum,
)
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import changes, orders
from apiary_sales.orders.services import drum_register as returns
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    HouseError,
    NotAllowedNow,
)
from inventory.stock.models import Place
from inventory.stock.services import drums
from tests import builders
from tests.billing.conftest import TODAY, pay, words_of

pytestmark = pytest.mark.django_db

Account = EntryLine.Account


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    before = told()
    returns.close_settled()
    assert told() == before
    assert list(books.faults()) == []
    assert list(order_books.faults()) == []


def told():
    """Return what the register says of now."""
    outings = [*drum_register.still_out(), *drum_register.lost()]
    return (
        [(outing.drum.code, outing.deposit_cents, outing.kept_in_words) for outing in outings],
        [(left.invoice.pk, left.drums) for left in drum_register.to_refund()],
    )


@pytest.fixture
def packer(house):
    return builders.customer("Prairie Packers", kind="bulk", tier="bulk")


@pytest.fixture
def send(packer, owner, key):
    """Return a maker of orders of full drums on a deposit of $40 each, handed over and billed."""

    def make(*numbers, kind=OrderLine.Kind.DRUM_DEPOSIT, bill=True, deposit_lines=1, deposits=None):
        lines = []
        for number in numbers:
            tank = builders.place(f"tank-{number}")
            builders.lot_in(tank, 295_000)
            drum = builders.place(
                f"d{number}", Place.Kind.DRUM, name=f"Drum {number}", tare_grams=18_000
            )
            drums.fill(tank=tank, drum=drum, gross_grams=313_000, recorded_by=owner, key=key())
            lines.append(LineWanted(OrderLine.Kind.HONEY, 295_000, Decimal("2.15"), drum=drum))
        each = (deposits or len(numbers)) // deposit_lines
        lines.extend([LineWanted(kind, each, Decimal("40.00"))] * deposit_lines)
        order = orders.take(
            customer=packer, channel="bulk", lines=lines, created_by=owner, key=key()
        )
        orders.fulfil(order=order, filled_by=owner, key=key())
        return invoices.issue(order=order, issued_by=owner, key=key()) if bill else order

    return make


@pytest.fixture
def back(owner, key):
    def act(*codes, **fields):
        outings = FulfilmentLine.objects.outings().filter(order_line__drum__code__in=codes)
        fields = {"key": key(), **fields}
        return returns.take_back(
            outings=list(outings.select_related("order_line__drum", "fulfilment")),
            received_by=owner,
            **fields,
        )

    return act


def seen(answer):
    return words_of(answer.content.decode())


def balance_of(account):
    return EntryLine.objects.filter(account=account).aggregate(cents=Sum("amount_cents"))["cents"]


def test_the_register_says_who_holds_which_drum_on_which_papers(send):
    invoice = send(7, 8)
    sold = send(9, kind=OrderLine.Kind.DRUM_SALE)

    rows = {row.drum.code: row for row in drum_register.still_out()}

    assert [(code, row.invoice, row.terms, row.deposit_cents) for code, row in rows.items()] == [
        ("d7", invoice, "on deposit", 4000),
        ("d8", invoice, "on deposit", 4000),
        ("d9", sold, "sold", 0),
    ]
    [holder] = drum_register.holders(rows.values())
    assert (holder.customer.name, holder.deposit_cents) == ("Prairie Packers", 8000)


def deposits_in_register(packer):
    """Return what the register says is held: on drums out, and to give back at $40 a drum."""
    out = sum(row.deposit_cents for row in drum_register.still_out())
    return out + sum(4000 * row.drums for row in drum_register.to_refund(packer))


def test_a_deposit_credited_while_its_drum_is_out_is_on_no_drum_of_the_register(
    send, back, packer, owner, key
):
    invoice = send(7, 8)
    [deposit] = [line for line in invoice.lines.all() if line.is_deposit]

    credit_notes.credit(
        invoice=invoice,
        lines=[LineCredit(deposit, quantity=Decimal(1))],
        reason="One deposit is waived.",
        issued_by=owner,
        key=key(),
    )

    assert [row.deposit_cents for row in drum_register.still_out()] == [4000, 0]
    assert deposits_in_register(packer) == -balance_of(Account.DEPOSITS) == 4000
    back("d7")
    assert deposits_in_register(packer) == -balance_of(Account.DEPOSITS) == 4000
    back("d8")
    assert deposits_in_register(packer) == -balance_of(Account.DEPOSITS) == 4000


def test_a_drum_without_a_deposit_of_its_own_has_none_in_the_register(send, back, packer, key):
    # Two of three drums are on deposit, as after a drum was added to the order.
    invoice = send(7, 8, 9, deposits=2)

    assert [row.deposit_cents for row in drum_register.still_out()] == [4000, 4000, 0]
    assert -balance_of(Account.DEPOSITS) == 8000
    back("d7")
    assert [(row.invoice, row.drums) for row in drum_register.to_refund(packer)] == [(invoice, 1)]
    assert [row.deposit_cents for row in drum_register.still_out()] == [4000, 0]
    assert deposits_in_register(packer) == 8000


def test_drums_of_several_orders_come_back_in_one_go_and_are_in_use(send, back):
    send(7)
    send(8, 9)

    made = back("d7", "d9", tares=None)

    assert made.outcome == DrumReturn.Outcome.EMPTY
    assert [row.drum.code for row in drum_register.still_out()] == ["d8"]
    in_use = Place.objects.filter(code__in=["d7", "d8", "d9"], is_active=True)
    assert [drum.code for drum in in_use] == ["d7", "d9"]


def test_a_tare_found_at_the_return_becomes_the_drums_own(send, back):
    send(7)
    line = FulfilmentLine.objects.outings().get()

    back("d7", tares={line.pk: 18_300})

    assert Place.objects.get(code="d7").tare_grams == 18_300
    with pytest.raises(HouseError, match="back already"):
        back("d7")


def test_an_impossible_tare_changes_nothing(send, back):
    send(7)
    line = FulfilmentLine.objects.outings().get()

    with pytest.raises(HouseError) as refused:
        back("d7", tares={line.pk: 500_000_000})

    assert refused.value.problems[0].parameter == f"tares.{line.pk}"
    assert not DrumReturn.objects.exists()
    assert not Place.objects.get(code="d7").is_active


def test_a_drum_comes_back_no_earlier_than_it_went_and_once_for_one_form(send, back, key):
    send(7)
    with pytest.raises(HouseError, match="went out on"):
        back("d7", returned_on=TODAY - timedelta(days=1))

    same = key()
    made = back("d7", key=same)
    with pytest.raises(AlreadyRecorded) as repeat:
        back("d7", key=same)
    assert repeat.value.made == made


def test_deposits_of_drums_that_are_back_are_given_back_over_all_invoices(
    send, back, packer, owner, key
):
    first, second = send(7), send(8, 9)
    pay(packer, first.total_cents)
    back("d7", "d8")
    assert {row.invoice: row.drums for row in drum_register.to_refund(packer)} == {
        first: 1,
        second: 1,
    }

    made = drum_deposits.refund(
        customer=packer,
        drums={first: 1, second: 1},
        refunded_by=owner,
        key=key(),
        pays_back=True,
        method=Payment.Method.CASH,
    )

    assert [note.total_cents for note in made.notes] == [-4000, -4000]
    # The first invoice was paid, so its $40 are there to be given back; the second was not.
    assert made.payment.amount_cents == -4000
    assert drum_register.to_refund(packer) == []
    second.refresh_from_db()
    assert second.open_cents == second.total_cents - 4000
    assert balance_of(Account.DEPOSITS) == -4000


def test_each_deposit_line_of_its_own_gives_back_no_more_than_the_drums_that_are_back(
    send, back, packer, owner, key
):
    invoice = send(7, 8, 9, deposit_lines=3)

    back("d7")
    assert [row.drums for row in drum_register.to_refund(packer)] == [1]

    drum_deposits.refund(customer=packer, drums={invoice: 1}, refunded_by=owner, key=key())
    assert drum_register.to_refund(packer) == []

    back("d8", "d9")
    assert [row.drums for row in drum_register.to_refund(packer)] == [2]


def test_a_corrected_copy_gives_back_only_the_deposits_that_were_not_given_back_before(
    send, back, packer, owner, key
):
    invoice = send(7, 8, deposit_lines=2)
    back("d7")
    drum_deposits.refund(customer=packer, drums={invoice: 1}, refunded_by=owner, key=key())

    copy = corrected_invoices.correct(invoice=invoice, issued_by=owner, key=key(), reason="PO")

    assert copy.total_cents == invoice.total_cents - 4000
    assert drum_register.to_refund(packer) == []
    back("d8")
    assert [(row.invoice, row.drums) for row in drum_register.to_refund(packer)] == [(copy, 1)]


def test_a_refund_sent_twice_credits_once(send, back, packer, owner, key):
    invoice, same = send(7), key()
    back("d7")
    refund = {"customer": packer, "drums": {invoice: 1}, "refunded_by": owner, "key": same}
    drum_deposits.refund(**refund)

    with pytest.raises(AlreadyRecorded):
        drum_deposits.refund(**refund)
    with pytest.raises(BadValue, match="how many drums"):
        drum_deposits.refund(**{**refund, "drums": {invoice: 0}, "key": key()})

    assert Invoice.objects.filter(credits=invoice).count() == 1


def test_the_deposit_of_a_lost_drum_becomes_income(send, packer, owner, key):
    invoice = send(7, 8)
    assert balance_of(Account.DEPOSITS) == -8000
    sales = balance_of(Account.SALES)
    outing = FulfilmentLine.objects.outings().get(order_line__drum__code="d7")

    drum_deposits.report_lost(outings=[outing], reported_by=owner, key=key(), note="Never seen")

    kept = KeptDeposit.objects.get()
    assert (kept.amount_cents, kept.entry.kind) == (4000, Entry.Kind.ADJUSTMENT)
    assert balance_of(Account.DEPOSITS) == -4000
    assert balance_of(Account.SALES) == sales - 4000
    # What the customer owes is the same: only what it is for has changed.
    assert CustomerBalance.objects.get(customer=packer).owed_cents == invoice.total_cents
    assert credit_notes.drums_on_deposit(invoice) == 1
    assert not Place.objects.get(code="d7").is_active
    assert [row.drum.code for row in drum_register.lost()] == ["d7"]
    assert [row.drum.code for row in drum_register.still_out()] == ["d8"]


def test_a_kept_deposit_is_credited_neither_alone_nor_with_its_invoice(
    send, back, packer, owner, key
):
    invoice = send(7)
    outing = FulfilmentLine.objects.outings().get()
    drum_deposits.report_lost(outings=[outing], reported_by=owner, key=key(), note="Never seen")

    with pytest.raises(NotAllowedNow, match="no drum out on deposit"):
        credit_notes.credit_deposit(invoice=invoice, drums=1, issued_by=owner, key=key())
    note = credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Spoiled")

    assert -note.total_cents == invoice.total_cents - 4000
    assert balance_of(Account.DEPOSITS) == 0
    back("d7")
    assert Place.objects.get(code="d7").is_active
    assert drum_register.to_refund(packer) == []
    assert drum_register.lost() == []


def lose(owner, key, code):
    outing = FulfilmentLine.objects.outings().get(order_line__drum__code=code)
    drum_deposits.report_lost(outings=[outing], reported_by=owner, key=key(), note="Never seen")
    return KeptDeposit.objects.get(returned_drum__fulfilment_line=outing)


def test_the_kept_deposit_of_a_lost_drum_that_came_back_can_be_owed_and_given_back_again(
    send, back, packer, owner, key
):
    invoice = send(7, 8)
    kept = lose(owner, key, "d7")
    with pytest.raises(NotAllowedNow) as refused:
        drum_deposits.give_up_keeping(kept=kept, undone_by=owner, reason="Found")
    assert str(refused.value) == "Drum 7 is not back. Record first that it came back."
    back("d7")
    # What waits for drum 8, which is out, is not given back for drum 7, whose deposit is kept.
    assert drum_register.to_refund(packer) == []
    assert deposits_in_register(packer) == 4000

    drum_deposits.give_up_keeping(kept=kept, undone_by=owner, reason="Found")

    assert balance_of(Account.DEPOSITS) == -8000
    assert balance_of(Account.SALES) == -(invoice.net_cents - 8000)
    assert [(row.invoice, row.drums) for row in drum_register.to_refund(packer)] == [(invoice, 1)]
    assert deposits_in_register(packer) == 8000
    assert [event.what for event in drum_register.history(Place.objects.get(code="d7"))][:2] == [
        "The keeping of its deposit of $40.00 was given up: Found",
        "Its deposit of $40.00 was kept",
    ]
    with pytest.raises(CannotReverse, match="undone already"):
        drum_deposits.give_up_keeping(kept=kept, undone_by=owner, reason="Found")
    drum_deposits.refund(customer=packer, drums={invoice: 1}, refunded_by=owner, key=key())
    assert balance_of(Account.DEPOSITS) == -4000
    assert drum_register.to_refund(packer) == []


def test_a_deposit_whose_keeping_was_given_up_can_be_kept_again(send, back, owner, key):
    send(7)
    drum = back("d7", outcome=DrumReturn.Outcome.DAMAGED).drums.get()
    keep = {"returned_drum": drum, "kept_by": owner, "reason": "Bung torn"}
    kept = drum_deposits.keep(**keep, key=key())
    drum_deposits.give_up_keeping(kept=kept, undone_by=owner, reason="Of another drum")

    drum_deposits.keep(**keep, key=key())

    assert balance_of(Account.DEPOSITS) == 0
    assert KeptDeposit.objects.standing().count() == 1


def test_the_return_of_a_lost_drum_says_that_its_deposit_was_kept_and_offers_to_give_it_up(
    send, packer, client, owner, key
):
    send(7)
    kept = lose(owner, key, "d7")
    client.force_login(owner)
    path = reverse("billing:drums_return", args=[packer.pk])
    page = client.get(path)
    said = f"The deposit of $40.00 was kept on {date_format(TODAY)}."
    assert said in seen(page)
    fields = {f"drum_{kept.returned_drum.fulfilment_line_id}": "on", "outcome": "empty"}

    answer = client.post(path, {**fields, "key": key(), "returned_on": TODAY}, follow=True)

    assert answer.redirect_chain == [(reverse("billing:drum_history", args=["d7"]), 302)]
    assert f"Drum 7: {said}" in seen(answer)
    path = reverse("billing:deposit_keep_undo", args=[kept.pk])
    assert path in answer.content.decode()
    answer = client.post(path, {"key": key(), "reason": "Found"}, follow=True)
    assert "The deposit of Drum 7 is held again: $40.00. It can be given back." in seen(answer)
    assert answer.redirect_chain[0][0] == reverse("billing:deposit_refund", args=[packer.pk])


def test_deposits_kept_or_given_back_are_not_billed_again(send, back, packer, owner, key):
    invoice = send(7, 8, 9)
    lost = FulfilmentLine.objects.outings().get(order_line__drum__code="d7")
    drum_deposits.report_lost(outings=[lost], reported_by=owner, key=key(), note="Never seen")
    back("d8")
    drum_deposits.refund(customer=packer, drums={invoice: 1}, refunded_by=owner, key=key())
    credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Wrong buyer")

    copy = corrected_invoices.correct(invoice=invoice, issued_by=owner, key=key(), reason="PO")

    assert copy.total_cents == invoice.total_cents - 2 * 4000
    assert balance_of(Account.DEPOSITS) == -4000


def test_a_damaged_drum_stays_out_of_use_and_its_deposit_may_be_kept(
    send, back, packer, owner, key
):
    invoice = send(7)
    made = back("d7", outcome=DrumReturn.Outcome.DAMAGED, note="Bung torn")
    assert not Place.objects.get(code="d7").is_active
    assert [row.drums for row in drum_register.to_refund(packer)] == [1]

    drum_deposits.keep(returned_drum=made.drums.get(), kept_by=owner, key=key(), reason="Bung torn")

    assert drum_register.to_refund(packer) == []
    assert credit_notes.drums_on_deposit(invoice) == 0
    with pytest.raises(NotAllowedNow, match="no deposit any more"):
        drum_deposits.keep(returned_drum=made.drums.get(), kept_by=owner, key=key(), reason="x")


def test_the_deposit_of_a_drum_that_came_back_in_order_is_not_kept(send, back, owner, key):
    send(7)
    made = back("d7")

    with pytest.raises(NotAllowedNow, match="came back in order"):
        drum_deposits.keep(returned_drum=made.drums.get(), kept_by=owner, key=key(), reason="x")


def test_a_deposit_that_is_not_billed_yet_can_not_be_kept(send, owner, key):
    send(7, bill=False)
    outing = FulfilmentLine.objects.outings().get()

    with pytest.raises(NotAllowedNow, match="Issue the invoice first"):
        drum_deposits.report_lost(outings=[outing], reported_by=owner, key=key(), note="Gone")

    assert not DrumReturn.objects.exists()


def test_a_fulfilment_taken_back_is_not_in_the_register(send, owner, key):
    order = send(7, bill=False)
    orders.take_back(
        fulfilment=order.fulfilments.get(), taken_by=owner, key=key(), reason="Wrong drum"
    )

    assert drum_register.still_out() == []


def test_what_is_settled_is_read_no_more_and_what_is_not_stays(send, back, packer, owner, key):
    given_back, kept, waiting = send("a1"), send("a2"), send("a3")
    still_out = send("a4").order
    back("da1", "da2", "da3", outcome=DrumReturn.Outcome.DAMAGED)
    drum_deposits.refund(customer=packer, drums={given_back: 1}, refunded_by=owner, key=key())
    [damaged] = ReturnedDrum.objects.filter(fulfilment_line__order_line__drum__code="da2")
    held = drum_deposits.keep(
        returned_drum=damaged, kept_by=owner, key=key(), reason="Dented beyond use"
    )
    before = told()

    returns.close_settled()

    open_now = Fulfilment.objects.filter(drums_are_open=True)
    assert {row.order for row in open_now} == {kept.order, waiting.order, still_out}
    assert told() == before
    drum_deposits.give_up_keeping(kept=held, undone_by=owner, reason="It was repaired")
    assert {left.invoice for left in drum_register.to_refund()} == {kept, waiting}


def test_a_drum_that_gets_a_charge_later_is_out_then(packer, owner, key):
    lines = []
    for number in ("a1", "a2"):
        drum = builders.place(f"d{number}", Place.Kind.DRUM, name=number, tare_grams=18_000)
        tank = builders.place(f"tank-{number}")
        builders.lot_in(tank, 295_000)
        drums.fill(tank=tank, drum=drum, gross_grams=313_000, recorded_by=owner, key=key())
        lines.append(LineWanted(OrderLine.Kind.HONEY, 295_000, Decimal("2.15"), drum=drum))
    order = orders.take(customer=packer, channel="bulk", lines=lines, created_by=owner, key=key())
    first = order.lines.get(drum__code="da1")
    orders.fulfil(order=order, quantities={first.pk: 295_000}, filled_by=owner, key=key())
    returns.close_settled()
    assert not Fulfilment.objects.filter(drums_are_open=True).exists()

    deposit = LineWanted(OrderLine.Kind.DRUM_DEPOSIT, 1, Decimal("40.00"))
    changes.change(order=order, lines=[deposit], changed_by=owner, key=key())

    assert [outing.drum.code for outing in drum_register.still_out()] == ["da1"]


def test_a_hand_over_that_is_wrongly_noted_as_settled_is_found(send):
    invoice = send("a1")
    rows = Fulfilment.objects.filter(order=invoice.order)
    rows.update(drums_are_open=False)

    assert list(order_books.faults()) == [
        f"The drums of {rows.get()} are noted as settled, which they are not."
    ]
    rows.update(drums_are_open=True)


def test_the_register_takes_as_many_questions_for_many_drums(send, django_assert_max_num_queries):
    send(7)
    send(*range(8, 14))

    with django_assert_max_num_queries(5):
        assert len(drum_register.still_out()) == 7


def test_the_register_is_shown_and_handed_out(send, client, owner):
    invoice = send(7)
    client.force_login(owner)

    page = seen(client.get(reverse("billing:drum_register")))
    assert "Prairie Packers" in page
    assert str(invoice) in page
    rows = client.get(reverse("billing:drum_register_csv")).content.decode("utf-8-sig").splitlines()
    assert rows[1].startswith("Prairie Packers,Drum 7,2026-09-10,0,on deposit,40.00,")
    assert client.get(reverse("billing:drum_register_pdf")).content[:5] == b"%PDF-"
    history = seen(client.get(reverse("billing:drum_history", args=["d7"])))
    assert "Went to Prairie Packers, on deposit" in history
    assert "Filled: 650.4 lb" in history


def test_a_return_leads_to_the_refund(send, client, owner, packer, key):
    invoice = send(7, 8)
    pay(packer, invoice.total_cents)
    client.force_login(owner)
    line = FulfilmentLine.objects.outings().get(order_line__drum__code="d7")
    address = reverse("billing:drums_return", args=[packer.pk])
    assert client.get(address).status_code == 200

    nothing = client.post(address, {"key": key(), "outcome": "empty", "returned_on": "2026-09-10"})
    assert nothing.status_code == 422
    assert "Choose the drums that came back." in seen(nothing)
    answer = client.post(
        address,
        {
            "key": key(),
            "outcome": "empty",
            "returned_on": "2026-09-10",
            f"drum_{line.pk}": "on",
            f"tare_{line.pk}": "40",
            f"tare_{line.pk}_unit": "lb",
        },
    )
    refund = reverse("billing:deposit_refund", args=[packer.pk])
    assert answer["Location"] == refund
    assert Place.objects.get(code="d7").tare_grams == 18_144

    assert "1 drum is back." in seen(client.get(refund))
    done = client.post(
        refund,
        {
            "key": key(),
            f"drums_{invoice.pk}": "1",
            "how": "pay_back",
            "method": "cash",
            "reference": "",
        },
        follow=True,
    )
    assert "$40.00 given back to Prairie Packers." in seen(done)
    assert Payment.objects.get(amount_cents__lt=0).amount_cents == -4000


def test_a_drum_is_given_up_and_a_deposit_kept_on_their_pages(send, client, owner, back, key):
    send(7, 8)
    client.force_login(owner)
    line = FulfilmentLine.objects.outings().get(order_line__drum__code="d7")
    lost = reverse("billing:drum_lost", args=[line.pk])
    assert client.post(lost, {"key": key(), "lost_on": "2026-09-10"}).status_code == 422

    done = client.post(
        lost, {"key": key(), "lost_on": "2026-09-10", "note": "Fire at theirs"}, follow=True
    )
    assert "Its deposit of $40.00 is kept." in seen(done)

    made = back("d8", outcome=DrumReturn.Outcome.DAMAGED)
    keep = reverse("billing:deposit_keep", args=[made.drums.get().pk])
    assert client.get(keep).status_code == 200
    done = client.post(keep, {"key": key(), "reason": "Dented"}, follow=True)
    assert "The deposit of Drum 8 is kept: $40.00." in seen(done)
