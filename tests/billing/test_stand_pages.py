"""The stand's pages and its message door, as a browser and the till meet them."""

import hashlib
import json
import posixpath
import re
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books
from inventory.stock.models import Balance, Lot, Shortage
from tests import builders
from tests.billing.conftest import errors_in, invoice_of, jars, queries_of

pytestmark = pytest.mark.django_db

STAND = "/stand/"
SALES = "/stand/sales/"


@pytest.fixture
def seller(client):
    client.force_login(builders.person("stand"))
    return client


@pytest.fixture
def form(pounds, quarts):
    """What the form without script sends for one pound jar, paid in cash."""
    return {
        "key": "form-1",
        "pieces_one-pound": "1",
        "pieces_three-pound": "",
        "method": "cash",
        "tendered": "10.00",
        "discount": "",
    }


@pytest.fixture
def message(pounds):
    """What the till sends for two pound jars, paid in cash."""
    return {
        "key": "sale-1",
        "place": "stand",
        "lines": [{"product": "one-pound", "pieces": 2, "unit_price": "8.0000"}],
        "method": "cash",
        "tendered_cents": 2_000,
        "discount_cents": 0,
        "sold_at": timezone.now().isoformat(),
    }


def send(client, message, **more):
    return client.post(SALES, json.dumps(message), content_type="application/json", **more)


def at_stand(product):
    return Balance.objects.get(place__code="stand", item=product.item).quantity


def test_the_page_shows_products_with_price_and_stock(seller, pounds, quarts):
    page = seller.get(STAND)

    catalogue = json.loads(page.context["data"])
    shown = {
        product["name"]: (product["breaks"][0]["piece_cents"], product["at"]["stand"]["free"])
        for product in catalogue["products"]
    }
    assert shown["One pound"] == (800, 24)
    # Without script there is a form with the same.
    text = page.content.decode()
    assert "24 here" in text
    assert "$21.00" in text


def test_the_page_asks_the_database_as_often_for_many_products_as_for_few(
    seller, pounds, quarts, stand
):
    few = queries_of(seller, STAND)
    for number in range(5):
        product = builders.product(f"Product {number}")
        builders.packed_lot(product, stand, 3)

    assert queries_of(seller, STAND) == few


def test_a_product_on_hold_is_not_for_sale(seller, pounds):
    Lot.objects.filter(code="P26-002").update(is_on_hold=True)

    assert "0 here" in seller.get(STAND).content.decode()


def test_without_a_stand_the_page_says_what_to_set_up(seller, house):
    assert "Set up a stand" in seller.get(STAND).content.decode()


def test_the_form_without_script_sells(seller, form, pounds):
    response = seller.post(STAND, form, follow=True)

    receipt = Invoice.objects.get()
    assert response.redirect_chain == [(reverse("billing:receipt", args=[receipt.pk]), 302)]
    text = response.content.decode()
    assert "Sold for $8.00. Give back $2.00." in text
    assert "Do not feed honey to infants under one year of age." in text
    assert at_stand(pounds) == 23


def test_the_form_sent_twice_sells_once(seller, form, pounds):
    seller.post(STAND, form)

    response = seller.post(STAND, form, follow=True)

    assert "This was recorded already." in response.content.decode()
    assert Invoice.objects.count() == 1
    assert at_stand(pounds) == 23


def test_each_product_is_told_what_is_wrong_with_it(seller, form):
    typed = {"pieces_one-pound": "1001", "pieces_three-pound": "1002"}

    response = seller.post(STAND, {**form, **typed})

    assert list(response.context["form"].errors) == ["pieces_one-pound", "pieces_three-pound"]


@pytest.mark.parametrize(
    ("typed", "sentences"),
    [
        ({"tendered": ""}, ["Cash given: Enter the cash that was given."]),
        (
            {"tendered": "7.99"},
            ["Cash given: The sale comes to $8.00, but $7.99 was given. Ask for $0.01 more."],
        ),
        ({"tendered": "-1"}, ["Cash given: Enter 0 or more."]),
        ({"discount": "-1"}, ["Discount: Enter 0 or more."]),
        (
            {"discount": "8.01"},
            [
                (
                    "Discount: The discount of $8.01 is more than the price of the goods, "
                    "$8.00. Enter a smaller discount."
                )
            ],
        ),
        ({"pieces_one-pound": "-1"}, ["One pound: Enter 0 or more."]),
        (
            {"pieces_one-pound": ""},
            ["The sale is empty. Choose what was sold."],
        ),
        (
            {"pieces_one-pound": "25", "tendered": "300"},
            [
                (
                    "One pound: Not enough One pound at Stand. Asked for: 25 pieces. Free: 24 "
                    "pieces. Take fewer."
                )
            ],
        ),
        (
            {"pieces_one-pound": "1001", "tendered": "9000"},
            [
                "One pound: 1,001 pieces of One pound is too much for one stand sale. "
                "Take an order instead."
            ],
        ),
    ],
)
def test_a_wrong_form_is_answered_in_words_and_changes_nothing(
    seller, form, pounds, typed, sentences
):
    response = seller.post(STAND, {**form, **typed})

    assert response.status_code == 422
    assert errors_in(response) == sentences
    assert at_stand(pounds) == 24
    assert not Invoice.objects.exists()
    assert not Payment.objects.exists()


def test_the_till_sends_a_sale(seller, message, pounds):
    response = send(seller, message)

    receipt = Invoice.objects.get()
    assert response.status_code == 200
    assert response["X-Stand"] == "1"
    told = response.json()
    assert abs(datetime.fromisoformat(told.pop("now")) - timezone.now()) < timedelta(minutes=1)
    assert told == {
        "key": message["key"],
        "marks": [],
        "number": "R26-00001",
        "text": "Sold for $16.00. Give back $4.00.",
        "total_cents": 1_600,
        "change_cents": 400,
        "receipt_url": f"/stand/receipts/{receipt.pk}/",
        "read_url": "",
    }
    assert at_stand(pounds) == 22
    assert list(books.faults()) == []


def test_the_same_sale_gets_the_same_answer(seller, message, pounds):
    first = send(seller, message)

    second = send(seller, message)

    told = second.json() | {"now": first.json()["now"]}
    assert (second.status_code, told) == (200, first.json())
    assert at_stand(pounds) == 22
    assert Payment.objects.count() == 1


def test_a_sale_kept_without_signal_is_dated_when_it_was_made(seller, message):
    yesterday = timezone.now() - timedelta(days=1)

    send(seller, {**message, "sold_at": yesterday.isoformat()})

    assert Invoice.objects.get().supplied_on == timezone.localdate(yesterday)


def test_a_sale_keeps_the_price_the_buyer_paid(seller, message, pounds):
    line = {**message["lines"][0], "unit_price": "7.5000"}

    response = send(seller, {**message, "lines": [line]})

    assert response.json()["total_cents"] == 1_500


def test_a_sale_kept_since_before_there_were_products_names_the_size(seller, message, pounds):
    line = {"size": "one-pound", "pieces": 2, "unit_price": "8.0000"}

    response = send(seller, {**message, "lines": [line]})

    assert response.json()["total_cents"] == 1_600
    assert at_stand(pounds) == 22


def test_a_sale_that_runs_short_is_booked_and_what_is_short_is_to_be_settled(
    seller, message, pounds
):
    line = {**message["lines"][0], "pieces": 25}

    response = send(seller, {**message, "lines": [line], "tendered_cents": 20_000})

    assert response.status_code == 200
    assert response.json()["marks"] == [
        "The books had 1 piece of One pound too few at Stand. It is to be settled."
    ]
    assert at_stand(pounds) == 0
    assert Shortage.objects.open().get().quantity == 1
    assert list(books.faults()) == []


UNREADABLE = "The sale could not be read. Open the stand page again."


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"key": ""}, UNREADABLE),
        ({"key": 7}, UNREADABLE),
        ({"key": "k" * 101}, UNREADABLE),
        ({"lines": "one"}, UNREADABLE),
        ({"lines": ["one"]}, UNREADABLE),
        ({"lines": []}, "The sale is empty. Choose what was sold."),
        (
            {"place": "market"},
            "There is no stand called market any more. Open the stand page again.",
        ),
        ({"tendered_cents": "20"}, UNREADABLE),
        ({"tendered_cents": 10**30}, UNREADABLE),
        ({"sold_at": "yesterday"}, UNREADABLE),
        ({"sold_at": "2026-09-10T10:00:00"}, UNREADABLE),
        ({"sold_at": "2026-13-99T10:00:00Z"}, UNREADABLE),
        ({"sold_at": "0001-01-01T00:00:00Z"}, UNREADABLE),
        ({"method": "barter"}, "Choose how it was paid: cash, card or check."),
    ],
)
def test_an_unreadable_sale_is_refused_in_words(seller, message, change, sentence):
    response = send(seller, {**message, **change})

    assert (response.status_code, response.json()["message"]) == (422, sentence)
    assert not Invoice.objects.exists()


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ({"pieces": 1.5}, UNREADABLE),
        ({"pieces": True}, UNREADABLE),
        ({"pieces": 0}, "One pound: enter 1 or more."),
        ({"unit_price": "NaN"}, UNREADABLE),
        ({"unit_price": "eight"}, UNREADABLE),
        ({"unit_price": "1e999999"}, UNREADABLE),
        ({"unit_price": "8.00001"}, UNREADABLE),
        ({"unit_price": "-1"}, "The price of One pound can't be below zero."),
        (
            {"product": "bucket"},
            "There is no product called bucket any more. Open the stand page again.",
        ),
    ],
)
def test_an_unreadable_line_is_refused_in_words(seller, message, line, sentence):
    response = send(seller, {**message, "lines": [{**message["lines"][0], **line}]})

    assert (response.status_code, response.json()["message"]) == (422, sentence)
    assert not Invoice.objects.exists()


def test_a_key_may_be_as_long_as_keys_may_be(seller, message, pounds):
    long = {**message, "key": "k" * 100}

    first, second = send(seller, long), send(seller, long)

    assert (first.status_code, second.json()) == (200, first.json())
    assert at_stand(pounds) == 22


@pytest.mark.parametrize(
    "body",
    [
        "",
        "sale",
        "[]",
        "\udcff".encode("utf-8", "surrogatepass"),
        pytest.param("[" * 100_000, id="too deep"),
    ],
)
def test_what_is_no_message_is_refused_in_words(seller, body):
    response = seller.post(SALES, body, content_type="application/json")

    assert (response.status_code, response.json()["message"]) == (422, UNREADABLE)


# What a database can't keep, in a name that the sale has no use for.
UNKEPT = ['"\\ud800"', '"a\\u0000"', "NaN", "1e999", "[" * 500 + "]" * 500]


@pytest.mark.parametrize("unkept", UNKEPT, ids=["half", "null", "no number", "infinite", "deep"])
@pytest.mark.parametrize("address", [SALES, "/stand/handed-in/", "/stand/undo/", "/stand/seller/"])
def test_a_message_that_cannot_be_kept_is_refused_in_words(seller, message, address, unkept):
    body = {"key": "k", "text": "Two jars", "body": message, **message}
    body |= {"seller": 1, "pin": "1", "device": ""}
    sent = json.dumps({"odd": "ODD", **body}).replace('"ODD"', unkept)

    response = seller.post(address, sent, content_type="application/json")

    assert response.status_code == 422
    assert "could not be read" in response.json()["message"]
    assert not Invoice.objects.exists()


def test_signed_out_the_till_is_told_to_sign_in(client, message):
    response = send(client, message)

    assert response.status_code == 401
    assert response.json()["message"] == "Sign in again to send the sales that are waiting."


def test_only_who_sells_may_send_sales(client, message):
    client.force_login(builders.person("bottling"))

    assert send(client, message).status_code == 403
    assert not Invoice.objects.exists()


def test_a_sale_sent_by_another_site_is_refused(message):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(builders.person("stand"))

    assert send(strict, message).status_code == 403
    assert not Invoice.objects.exists()


def test_the_worker_is_asked_for_the_whole_house_and_knows_its_files(seller, stand):
    response = seller.get("/stand/worker.js")

    assert response["Content-Type"] == "text/javascript"
    assert response["Service-Worker-Allowed"] == "/"
    assert response["Cache-Control"] == "private, no-store"
    assert "worker-src 'self'" in response["Content-Security-Policy"]
    files = re.findall(r'"(/static/[^"]+)": "([0-9a-f]{64})"', response.content.decode())
    assert len(files) > 10
    for address, digest in files:
        found = Path(finders.find(address.removeprefix("/static/")))
        assert hashlib.sha256(found.read_bytes()).hexdigest() == digest, address


def test_the_stand_page_says_that_it_is_ours_and_which_files_belong_to_it(seller, stand, pounds):
    page = seller.get(STAND)

    assert page["X-Stand"] == "1"
    assert f'"{page["X-Stand-Version"]}"' in seller.get("/stand/worker.js").content.decode()


def test_every_page_of_who_sells_keeps_the_stand_ready_and_no_other_does(client, stand):
    ready = "billing/stand/keep_ready.js"
    client.force_login(builders.person("stand"))
    assert ready in client.get("/").content.decode()

    client.force_login(builders.person("bottling"))
    assert ready not in client.get("/").content.decode()
    client.logout()
    assert ready not in client.get("/", follow=True).content.decode()


def test_the_worker_keeps_every_file_that_the_page_loads(seller, stand, pounds):
    page = seller.get(STAND).content.decode()
    worker = seller.get("/stand/worker.js").content.decode()
    kept = set(re.findall(r'"(/static/[^"]+)"', worker))
    loaded = set(re.findall(r'(?:src|href)="(/static/[^"]+\.(?:js|css))"', page))

    waiting = list(loaded)
    while waiting:
        script = waiting.pop()
        source = Path(finders.find(script.removeprefix("/static/"))).read_text(encoding="utf-8")
        imports = re.findall(r'^(?:import|\}) .*from "(\..+)";$', source, re.MULTILINE)
        found = {posixpath.normpath(f"{posixpath.dirname(script)}/{name}") for name in imports}
        waiting += found - loaded
        loaded |= found

    assert {"/static/web/typed.js", "/static/billing/stand/store.js"} <= loaded <= kept


def test_the_stand_can_be_put_on_a_telephone(client):
    manifest = client.get("/stand/app.webmanifest")

    assert manifest["Content-Type"] == "application/manifest+json"
    told = manifest.json()
    assert (told["id"], told["start_url"], told["scope"]) == (STAND, STAND, "/")
    assert [icon["sizes"] for icon in told["icons"]] == ["192x192", "512x512"]
    for icon in told["icons"]:
        assert finders.find(icon["src"].removeprefix("/static/"))


def test_a_sale_is_undone_from_its_receipt(seller, message, pounds):
    send(seller, message)
    receipt = Invoice.objects.get()
    address = reverse("billing:receipt_undo", args=[receipt.pk])
    asked = seller.get(address).content.decode()

    response = seller.post(address, {"key": "undo-1", "reason": "Jar leaked"}, follow=True)

    assert "P26-002" in asked
    text = response.content.decode()
    assert (
        "The sale is undone. Give back $16.00. Credit note C26-00001. The goods are back in stock."
    ) in text
    assert "Jar leaked" in text
    assert at_stand(pounds) == 24
    assert list(books.faults()) == []


def test_an_undo_without_a_reason_is_refused(seller, message, pounds):
    send(seller, message)
    address = reverse("billing:receipt_undo", args=[Invoice.objects.get().pk])

    response = seller.post(address, {"key": "undo-1", "reason": " "})

    assert response.status_code == 422
    assert errors_in(response) == ["Why?: Fill this in."]
    assert at_stand(pounds) == 22


def test_receipts_are_listed_in_a_constant_number_of_queries(seller, message):
    send(seller, message)
    one = queries_of(seller, "/stand/receipts/")
    for number in range(4):
        send(seller, {**message, "key": f"more-{number}"})

    assert queries_of(seller, "/stand/receipts/") == one


def test_a_receipt_is_no_way_into_other_bills(seller, shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 1))

    assert seller.get(reverse("billing:receipt", args=[invoice.pk])).status_code == 404
    assert seller.get(reverse("billing:receipt_undo", args=[invoice.pk])).status_code == 404


@pytest.mark.parametrize("name", ["receipt", "receipt_pdf", "receipt_undo"])
def test_only_who_sells_sees_receipts(client, seller, message, name):
    send(seller, message)
    address = reverse(f"billing:{name}", args=[Invoice.objects.get().pk])
    client.force_login(builders.person("bottling"))

    assert client.get(address).status_code == 403


def test_the_receipt_is_a_pdf(seller, message):
    send(seller, message)

    response = seller.get(reverse("billing:receipt_pdf", args=[Invoice.objects.get().pk]))

    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == 'inline; filename="Receipt R26-00001.pdf"'
    assert response.content.startswith(b"%PDF-")


def test_pieces_beyond_counting_are_refused_at_their_product(seller, form):
    response = seller.post(STAND, form | {"pieces_one-pound": "9" * 30})

    assert response.status_code == 422
    assert response.context["form"].errors == {
        "pieces_one-pound": ["That is far too much. Check the figure."]
    }
    assert Invoice.objects.count() == 0


@pytest.mark.parametrize("name", ["key", "place"])
def test_a_sale_with_a_null_character_is_unreadable(seller, message, name):
    response = send(seller, message | {name: "a\x00b"})

    assert response.status_code == 422
    assert response.json()["message"] == "The sale could not be read. Open the stand page again."
    assert Invoice.objects.count() == 0


def test_too_few_jars_are_said_at_the_product_that_is_short(seller, form, pounds):
    response = seller.post(STAND, {**form, "pieces_one-pound": "25", "tendered": "300"})

    assert response.context["form"].errors == {
        "pieces_one-pound": [
            ("Not enough One pound at Stand. Asked for: 25 pieces. Free: 24 pieces. Take fewer.")
        ]
    }
