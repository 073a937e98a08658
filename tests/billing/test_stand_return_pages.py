"""The pages of returns: the seller's own, the one that waits, and the office's decision."""

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.models import Invoice, ReturnRequest
from apiary_sales.billing.services import return_requests
from inventory.bottling.models import ReturnedJars
from tests import builders
from tests.billing.conftest import days, errors_in, jars, queries_of, words_of
from tests.billing.stand_room import back, card, cash, check, sold

pytestmark = pytest.mark.django_db


@pytest.fixture
def seller(client):
    client.force_login(builders.person("stand"))
    return client


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


def page(name, *args):
    return reverse(f"billing:{name}", args=args)


def sent(receipt, pieces, **more):
    line = receipt.lines.get()
    return {"key": "back-1", f"back_{line.pk}": str(pieces), "reason": "Leaks", **more}


def asked(receipt):
    return return_requests.ask(
        receipt=receipt,
        lines=back(receipt, 1),
        reason="Leaks",
        asked_by=builders.person("stand"),
        key="ask-1",
    )


def yesterday(stand, *lines, **more):
    return sold(stand, *lines, sold_at=timezone.now() - days(1), **more)


def text_of(response):
    return words_of(response.content.decode())


def test_a_seller_gives_the_money_back_for_one_jar_of_today(seller, stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"))

    done = seller.post(page("receipt_return", receipt.pk), sent(receipt, 1), follow=True)

    assert "Give back $8.00 in cash. Credit note C26-00001 for $8.00 is written." in text_of(done)
    assert "Came back on Sep 10, 2026: 1" in text_of(done)
    assert "Credit note C26-00001, $8.00 given back." in text_of(done)
    assert "Undo this sale" not in text_of(done)
    assert ReturnedJars.objects.get().pieces == 1


def test_the_total_is_shown_before_the_money_is_given(seller, stand, pounds, honey_tax):
    receipt = sold(stand, jars(pounds, 3, "8.00"))

    shown = seller.post(page("receipt_return", receipt.pk), {**sent(receipt, 2), "work_out": "1"})

    assert "Give back $17.00" in text_of(shown)
    assert not Invoice.objects.filter(credits__isnull=False).exists()


def test_a_jar_that_never_left_the_counter_is_ticked(seller, stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"))
    line = receipt.lines.get()

    seller.post(page("receipt_return", receipt.pk), sent(receipt, 1, **{f"shelf_{line.pk}": "on"}))

    assert Invoice.objects.filter(credits=receipt).count() == 1
    assert not ReturnedJars.objects.exists()


def test_the_way_is_asked_where_there_were_two(seller, stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"), payments=[cash(1_000), card(1_400)])
    address = page("receipt_return", receipt.pk)

    shown = text_of(seller.get(address))
    refused = seller.post(address, sent(receipt, 1))
    done = seller.post(address, sent(receipt, 2, method="cash"), follow=True)

    assert "cash (up to $10.00)" in shown
    assert errors_in(refused) == ["Give the money back by: Choose one from the list."]
    assert "Give back $10.00 in cash. Give back $6.00 on the card reader." in text_of(done)


def test_a_check_is_given_back_after_the_tick(seller, stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"), payments=[check()])
    address = page("receipt_return", receipt.pk)

    refused = seller.post(address, sent(receipt, 1))
    done = seller.post(address, sent(receipt, 1, check_has_cleared="on"), follow=True)

    assert errors_in(refused) == [
        "The buyer's check has cleared: $8.00 of it was paid by check. Give it back once the bank "
        "says that the check has cleared, and tick that it has."
    ]
    assert "Write a check for $8.00." in text_of(done)


def test_too_many_pieces_are_refused_at_their_line(seller, stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"))

    refused = seller.post(page("receipt_return", receipt.pk), sent(receipt, 4))

    assert refused.status_code == 422
    assert errors_in(refused) == ["How many come back: Enter a quantity from 0 to 3 of One pound."]


def test_for_a_sale_of_an_older_day_the_office_is_asked(seller, stand, pounds):
    receipt = yesterday(stand, jars(pounds, 3, "8.00"))
    address = page("receipt_return", receipt.pk)

    shown = text_of(seller.get(address))
    done = seller.post(address, sent(receipt, 1), follow=True)

    assert "The office or the owner approves what comes back of a sale of an older day" in shown
    made = ReturnRequest.objects.get()
    assert done.redirect_chain[-1][0] == page("return_request", made.pk)
    assert 'hx-trigger="every 5s"' in done.content.decode()
    assert "Give back $" not in text_of(done)
    assert not Invoice.objects.filter(credits__isnull=False).exists()


def test_an_older_sale_is_not_undone_by_the_seller(seller, stand, pounds):
    receipt = yesterday(stand, jars(pounds, 3, "8.00"))
    address = page("receipt_undo", receipt.pk)

    shown = text_of(seller.get(address))
    refused = seller.post(address, {"key": "undo-1", "reason": "Typo"})

    assert "Undo and give back" not in shown
    assert refused.status_code == 422
    assert not Invoice.objects.filter(credits__isnull=False).exists()


def test_the_page_that_waits_gives_the_money_once_it_is_approved(client, stand, pounds):
    made = asked(yesterday(stand, jars(pounds, 2, "8.00")))
    client.force_login(builders.person("office"))
    decided = client.post(page("return_decide", made.pk), {"key": "d-1", "note": ""}, follow=True)
    client.force_login(builders.person("stand"))

    shown = client.get(page("return_request", made.pk))
    done = client.post(page("return_request", made.pk), {"key": "g-1"}, follow=True)

    assert "The return is approved. The stand can give the money back now." in text_of(decided)
    assert 'hx-trigger="every' not in shown.content.decode()
    assert "Office approved it. The buyer gets $8.00 . Give back $8.00 in cash." in text_of(shown)
    assert "Give back $8.00 in cash. Credit note C26-00001 for $8.00 is written." in text_of(done)


def test_the_seller_reads_why_it_is_refused(client, stand, pounds):
    made = asked(yesterday(stand, jars(pounds, 2, "8.00")))
    client.force_login(builders.person("office"))
    address = page("return_decide", made.pk)
    without = client.post(address, {"key": "d-1", "note": "", "refuse": "1"})
    client.post(address, {"key": "d-1", "note": "Lid is ours, jar is not", "refuse": "1"})
    client.force_login(builders.person("stand"))

    shown = text_of(client.get(page("return_request", made.pk)))

    assert errors_in(without) == ["Note: Say why it is refused; the stand reads it."]
    assert "Office refused it: Lid is ours, jar is not" in shown
    assert "Give back $" not in shown


def test_who_sells_does_not_open_the_decision(seller, stand, pounds):
    made = asked(yesterday(stand, jars(pounds, 2, "8.00")))

    assert seller.get(page("return_decide", made.pk)).status_code == 403
    assert "Decide" not in text_of(seller.get(page("return_request", made.pk)))


def test_without_a_receipt_the_office_names_one(client, stand, pounds):
    cheap = sold(stand, jars(pounds, 2, "7.00"))
    sold(stand, jars(pounds, 2, "8.00"))
    client.force_login(builders.person("stand"))
    form = {
        "key": "ask-1",
        "place": stand.pk,
        "product": pounds.pk,
        "pieces": "2",
        "lot_code": "",
        "price_cents": "8.50",
        "reason": "Too dark",
    }
    client.post(page("return_no_receipt"), form)
    made = ReturnRequest.objects.get()
    client.force_login(builders.person("office"))

    shown = client.get(page("return_decide", made.pk))
    chosen = shown.context["form"]["receipt"].initial
    client.post(page("return_decide", made.pk), {"key": "d-1", "note": "", "receipt": chosen})

    assert "$14.00: receipt R26-00001 of Sep 10, 2026" in text_of(shown)
    made.refresh_from_db()
    assert (made.state, made.receipt, made.price_cents) == ("approved", cheap, 850)


def test_where_there_is_no_receipt_the_page_says_what_to_do(office, stand, pounds):
    made = return_requests.ask_without_receipt(
        place=stand,
        product=pounds,
        pieces=2,
        price_cents=800,
        reason="Too dark",
        asked_by=builders.person("stand"),
        key="ask-1",
    )

    shown = text_of(office.get(page("return_decide", made.pk)))

    assert "To give money all the same, enter an expense for goodwill." in shown
    assert "Approve" not in shown


def test_a_seller_lists_their_own_and_the_office_all(client, stand, pounds):
    made = asked(yesterday(stand, jars(pounds, 2, "8.00")))
    client.force_login(builders.person("office"))

    assert page("return_decide", made.pk) in client.get(page("return_requests")).content.decode()

    client.force_login(builders.person("stand"))
    shown = client.get(page("return_requests")).content.decode()
    assert page("return_request", made.pk) in shown
    assert page("return_decide", made.pk) not in shown


def test_the_list_asks_the_database_as_often_for_many_as_for_few(office, stand, pounds):
    receipt = yesterday(stand, jars(pounds, 9, "8.00"))
    counts = []
    for number in range(3):
        return_requests.ask(
            receipt=receipt,
            lines=back(receipt, 1),
            reason="Leaks",
            asked_by=builders.person("stand"),
            key=f"ask-{number}",
        )
        counts.append(queries_of(office, page("return_requests")))

    assert counts[0] == counts[2]


def test_receipts_say_what_came_back(seller, stand, pounds):
    receipt = sold(stand, jars(pounds, 2, "8.00"))
    seller.post(page("receipt_return", receipt.pk), sent(receipt, 1))
    part = text_of(seller.get(page("receipt_list")))
    seller.post(page("receipt_return", receipt.pk), {**sent(receipt, 1), "key": "back-2"})

    assert "part came back" in part
    assert "undone" in text_of(seller.get(page("receipt_list")))
    assert "All of this sale came back already." in text_of(
        seller.get(page("receipt_return", receipt.pk))
    )
