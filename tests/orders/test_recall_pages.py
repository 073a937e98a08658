"""The pages of a recall: find, answer, hold, start, finish, print and download."""

import csv
import io
from copy import deepcopy

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apiary_sales.billing.models import Invoice, InvoiceLine
from apiary_sales.billing.services import invoices
from apiary_sales.orders.models import FulfilmentLine, Recall
from apiary_sales.orders.queries import trace
from apiary_sales.orders.services import orders
from apiary_sales.orders.views import lists
from inventory.shared.templatetags.honey import minutes_and_seconds
from inventory.stock.models import Lot
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def sell(owner, key, jar_line):
    def make(customer, pieces, price="6.50"):
        order = orders.take(
            customer=customer,
            channel="shop",
            lines=[jar_line(pieces, price)],
            created_by=owner,
            key=key(),
        )
        return orders.fulfil(order=order, filled_by=owner, key=key())

    return make


def at(name, *arguments):
    return reverse(f"recall:{name}", args=arguments)


def cells(answer):
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    return list(csv.reader(io.StringIO(text)))


def test_a_whole_code_leads_straight_to_its_recall(office, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48, code="L26200-1")

    answer = office.get(at("home"), {"code": "l26200-1"})

    assert answer.status_code == 302
    assert answer["Location"] == f"{at('answer', lot.pk)}?code=l26200-1"
    assert "Recall l26200-1" in office.get(answer["Location"]).text


def test_of_several_lots_those_that_are_ticked_are_recalled(office, jars, shelf):
    lots = [builders.packed_lot(jars, shelf, 10, code=f"L26200-{n}") for n in (1, 2, 3)]

    page = office.get(at("home"), {"code": "L262"})
    chosen = office.get(at("home"), {"code": "L262", "lot": [lots[0].pk, lots[2].pk]})

    assert "Which lots are meant?" in page.text
    assert [lot.code in page.text for lot in lots] == [True] * 3
    assert chosen["Location"].startswith(at("answer", f"{lots[0].pk}-{lots[2].pk}"))
    answer = office.get(chosen["Location"])
    assert [lot.code for lot in answer.context["answer"].asked] == ["L26200-1", "L26200-3"]


def test_empty_pages_say_so(office, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 10)

    home = office.get(at("home"), {"code": "XYZ"}).text
    answer = office.get(at("answer", lot.pk)).text

    assert "No lot or drum has “XYZ” in its code." in home
    assert "No recall was started yet." in home
    assert "No buyer with a name has bought any of it." in answer
    assert "Nothing went into it" in answer


def test_an_order_and_an_invoice_lead_to_the_lots_on_them(office, jars, shelf, sell, owner):
    lot = builders.packed_lot(jars, shelf, 48)
    done = sell(builders.customer("Hilltop Deli"), 12)
    bill = invoices.issue(order=done.order, issued_by=owner, key="bill")

    for number in (done.order.number, str(bill)):
        answer = office.get(at("home"), {"code": number})
        assert answer["Location"].startswith(at("answer", lot.pk))


def test_the_page_names_the_right_one_of_two_lots_with_one_code(office, jars, shelf):
    other = builders.product("Two pound", code="2lb")
    lots = [builders.packed_lot(each, shelf, 5, code="L26200-1") for each in (jars, other)]

    page = office.get(at("answer", lots[1].pk)).text

    assert reverse("inventory:lot_detail", args=["L26200-1", "2lb"]) in page
    assert reverse("inventory:lot_detail", args=["L26200-1", "1lb"]) not in page


@pytest.mark.parametrize("keys", ["0", "x", "1-x", "1-999999", "99999999999999999999"])
def test_lots_that_are_not_there_are_not_found(office, jars, shelf, keys):
    builders.packed_lot(jars, shelf, 10)

    for name in ("answer", "answer_csv", "start", "hold"):
        assert office.get(at(name, keys)).status_code == 404


def test_the_answer_shows_buyers_places_and_the_balance(office, jars, shelf, sell):
    lot = builders.packed_lot(jars, shelf, 48)
    sell(builders.customer("Hilltop Deli", phone="555 0199"), 12)

    page = office.get(at("answer", lot.pk))

    assert "Hilltop Deli" in page.text
    assert 'href="tel:5550199"' in page.text
    assert page.context["answer"].place_count == 1
    assert "does not balance" not in page.text


def test_a_long_list_of_buyers_has_pages(office, jars, shelf, sell):
    lot = builders.packed_lot(jars, shelf, 300)
    for number in range(51):
        sell(builders.customer(f"Shop {number:02d}"), 1)

    first = office.get(at("answer", lot.pk))
    all_of_them = office.get(at("answer", lot.pk), {"show": "buyers"})
    last = office.get(at("answer", lot.pk), {"show": "buyers", "page": 2})

    assert ("Shop 19" in first.text, "Shop 20" in first.text) == (True, False)
    assert "show=buyers" in first.text
    assert ("Shop 49" in all_of_them.text, "Shop 50" in all_of_them.text) == (True, False)
    assert ("Shop 49" in last.text, "Shop 50" in last.text) == (False, True)
    pages = [*all_of_them.context["rows"]["buyers"], *last.context["rows"]["buyers"]]
    assert [row.buyer.name for row in pages] == [f"Shop {number:02d}" for number in range(51)]
    assert sum(row.pieces_out for row in pages) == all_of_them.context["answer"].pieces_out == 51


def test_a_buyer_of_many_sales_is_one_row_with_sums_and_has_pages_of_their_own(
    office, jars, shelf, sell
):
    lot = builders.packed_lot(jars, shelf, 300)
    often, once = builders.customer("Daily Deli"), builders.customer("Zebra Shop")
    for pieces in (1, 2, 4, 8, 16):
        sell(often, pieces)
    sell(once, 32)
    office.post(at("start", lot.pk), {"key": "k", "kind": "mock", "reason": "Yearly"})
    numbers = [order.number for order in often.orders.order_by("pk")]

    for address in (at("answer", lot.pk), at("record", Recall.objects.get().pk)):
        page = office.get(address)
        own = office.get(address, {"show": "buyers", "buyer": often.pk})

        sums = [(row.buyer.name, row.pieces_sold, row.sales_left) for row in shown(page)]
        assert sums == [("Daily Deli", 31, 2), ("Zebra Shop", 32, 0)]
        assert f"buyer={often.pk}" in page.text
        assert [number for number in numbers if number in page.text] == numbers[2:]
        [row] = shown(own)
        assert [sale.order for sale in row.sales] == numbers[::-1]
        assert "Zebra Shop" not in own.text
        assert "31" in own.text
        nobody = office.get(address, {"show": "buyers", "buyer": 999_999})
        assert (nobody.status_code, shown(nobody)) == (200, [])


def test_the_page_of_a_lot_has_its_buyers_once_each(office, jars, shelf, sell, monkeypatch):
    lot = builders.packed_lot(jars, shelf, 300)
    often = builders.customer("Daily Deli")
    for buyer in (often, often, builders.customer("Yard"), builders.customer("Zebra Shop")):
        sell(buyer, 1)
    monkeypatch.setattr(lists, "PAGE_SIZE", 2)

    page = office.get(reverse("orders:lot_buyers", args=[lot.pk]))

    assert [row.sales_count for row in page.context["buyers"]] == [2, 1]
    assert "1 more row is not shown here." in page.text


def shown(page):
    return page.context["rows"]["buyers"]


def test_the_answer_takes_the_same_number_of_queries_however_many_bought(office, jars, shelf, sell):
    lot = builders.packed_lot(jars, shelf, 300)
    sell(builders.customer("Shop"), 1)
    office.get(at("answer", lot.pk))

    with CaptureQueriesContext(connection) as few:
        office.get(at("answer", lot.pk))
        of_few = len(few)
    for number in range(4):
        buyer = builders.customer(f"Shop {number}")
        sell(buyer, 1)
        sell(buyer, 1)
    with CaptureQueriesContext(connection) as many:
        office.get(at("answer", lot.pk))
        of_many = len(many)

    assert of_many == of_few
    assert of_few > 0


def test_more_bills_than_a_question_takes_keys_are_in_the_file_and_the_record(
    office, jars, shelf, sell, owner
):
    lot = builders.packed_lot(jars, shelf, 300)
    done = sell(builders.customer("Daily Deli"), 1)
    bill = invoices.issue(order=done.order, issued_by=owner, key="bill")
    bills = 1_001
    copy(Invoice, bill.pk, bills, lambda n: {"number": 1_000 + n, "idempotency_key": f"b{n}"})
    copy(FulfilmentLine, done.lines.get().pk, bills, lambda _n: {})
    sold = FulfilmentLine.objects.order_by("pk")[1:]
    billed = list(zip(Invoice.objects.order_by("pk")[1:], sold, strict=True))
    copy(
        InvoiceLine,
        bill.lines.get().pk,
        bills,
        lambda n: {"invoice": billed[n][0], "fulfilment_line": billed[n][1]},
    )

    _heading, *rows = cells(office.get(at("answer_csv", lot.pk)))
    office.post(at("start", lot.pk), {"key": "k", "kind": "mock", "reason": "Yearly"})

    numbers = {row[6] for row in rows if row[0] == "sold"}
    assert len(numbers) == 1 + bills
    assert len(Recall.objects.get().answer["sales"]) == 1 + bills


def copy(model, key, times, changes):
    """Add copies of a row, each with its own changes."""
    rows = []
    for number in range(times):
        row = model.objects.get(pk=key) if not rows else deepcopy(rows[0])
        row.pk = None
        for name, value in changes(number).items():
            setattr(row, name, value)
        rows.append(row)
    model.objects.bulk_create(rows)


def test_the_file_is_sent_in_portions_and_has_everybody_once(
    office, jars, shelf, sell, monkeypatch
):
    lot = builders.packed_lot(jars, shelf, 300)
    for number in range(5):
        sell(builders.customer(f"Shop {number}"), 1)
    monkeypatch.setattr(trace, "CHUNK", 2)

    answer = office.get(at("answer_csv", lot.pk))

    assert answer.streaming
    named = [row[1] for row in cells(answer) if row[0] == "sold"]
    assert named == [f"Shop {number}" for number in range(5)]


def test_the_file_has_everybody_and_no_formula(office, jars, shelf, stand, sell, jar_line, owner):
    lot = builders.packed_lot(jars, shelf, 48, code="L26200-1")
    builders.packed_lot(jars, stand, 5)
    sell(builders.customer("=cmd()", phone="+1 555 0199"), 12)

    heading, sold, there = cells(office.get(at("answer_csv", lot.pk)))

    assert heading[:4] == ["What", "Buyer or place", "Contact person", "Telephone"]
    assert (sold[0], sold[1], sold[3]) == ("sold", "'=cmd()", "'+1 555 0199")
    assert sold[-4:] == ["pieces", "12", "0", "12"]
    assert (there[0], there[1], there[8], there[-3]) == ("in the house", "Shelf", "L26200-1", "36")


def test_a_mock_recall_is_started_finished_listed_and_printed(office, jars, shelf, sell):
    lot = builders.packed_lot(jars, shelf, 48, code="L26200-1")
    sell(builders.customer("Hilltop Deli"), 12)
    address = f"{at('start', lot.pk)}?code=L26200-1"

    begun = office.post(address, {"key": "k", "kind": "mock", "reason": "Yearly"}, follow=True)
    record = Recall.objects.get()
    while_it_runs = office.get(at("answer", lot.pk)).text
    ended = office.post(
        at("finish", record.pk), {"key": "f", "notes": "Counted the shelf."}, follow=True
    )
    sell(builders.customer("Came later"), 1)

    assert "The clock runs." in begun.text
    assert "still running" in begun.text
    assert "The recall that runs" in while_it_runs
    assert "Counted the shelf." in ended.text
    assert (record.code, record.kind, record.started_by.username) == ("L26200-1", "mock", "office")
    assert "L26200-1" in office.get(at("home")).text
    page = office.get(at("record", record.pk)).text
    assert ("Hilltop Deli" in page, "Came later" in page) == (True, False)
    assert office.get(at("record_pdf", record.pk)).content[:5] == b"%PDF-"
    rows = cells(office.get(at("record_csv", record.pk)))
    assert [row[1] for row in rows[1:]] == ["Hilltop Deli", "Shelf"]


def test_a_start_without_a_reason_is_refused_at_the_field(office, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)

    page = office.post(at("start", lot.pk), {"key": "k", "kind": "mock", "reason": " "})

    assert page.status_code == 422
    assert list(page.context["form"].errors) == ["reason"]
    assert not Recall.objects.exists()


def test_all_is_held_and_released_from_the_answer(office, jars, shelf, take_order):
    lot = builders.packed_lot(jars, shelf, 48)
    order = take_order(10)

    before = office.get(at("hold", lot.pk)).text
    held = office.post(at("hold", lot.pk), {"key": "h", "reason": "Odd smell."}, follow=True).text
    freed = office.post(at("release", lot.pk), {"key": "r", "reason": "Fine."}, follow=True).text

    assert "1 order or quote names these goods." in before
    assert order.number in held
    assert "1 lot is on hold now. Nobody can sell, bottle or mix it." in held
    assert "1 lot may be sold again." in freed
    assert not Lot.objects.get(pk=lot.pk).is_on_hold


@pytest.fixture
def take_order(shop, owner, key, jar_line):
    def make(pieces):
        return orders.take(
            customer=shop,
            channel="shop",
            lines=[jar_line(pieces)],
            created_by=owner,
            key=key(),
        )

    return make


@pytest.mark.parametrize(
    ("role", "sees", "holds", "releases"),
    [
        ("owner", 200, 200, 200),
        ("office", 200, 200, 200),
        ("bottling", 200, 200, 403),
        ("stand", 403, 403, 403),
    ],
)
def test_who_may_see_hold_and_release(client, jars, shelf, role, sees, holds, releases):
    lot = builders.packed_lot(jars, shelf, 48)
    client.force_login(builders.person(role))

    def status(name):
        return client.get(at(name, lot.pk)).status_code

    assert client.get(at("home")).status_code == sees
    assert [status("answer"), status("answer_csv"), status("start")] == [sees] * 3
    assert (status("hold"), status("release")) == (holds, releases)


def test_the_ways_to_a_recall(office, jars, shelf, full_drum):
    drum = full_drum(1)
    lot = builders.packed_lot(jars, shelf, 48)

    assert at("answer", lot.pk) in office.get(f"/honey/lots/{lot.code}/").text
    assert f"{at('home')}?code={drum.code}" in office.get(f"/honey/places/{drum.code}/").text
    for address in ("/honey/", "/honey/lots/", "/help/hold-and-recall/"):
        assert f'href="{at("home")}"' in office.get(address).text


@pytest.mark.parametrize(
    ("seconds", "said"), [(0, "0 s"), (59, "59 s"), (60, "1 min 0 s"), (3725, "1 h 2 min 5 s")]
)
def test_how_long_it_took_is_said_in_hours_minutes_and_seconds(seconds, said):
    assert minutes_and_seconds(seconds) == said
