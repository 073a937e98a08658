"""The pages, the paper and the API of a stand's day, and who may use them."""

import json
from functools import partial

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from apiary_sales.billing import papers_stand
from apiary_sales.billing.models import StandCash, StandDay, StandDayClose
from apiary_sales.billing.queries import books
from apiary_sales.billing.queries.stand_takings import TakingsAsked
from apiary_sales.billing.services import stand, stand_days
from inventory.shared import documents
from tests import builders
from tests.billing.conftest import TODAY, errors_in, queries_of, words_of
from tests.billing.stand_drawer import at, sell_jars

pytestmark = pytest.mark.django_db

LIST = "/stand/days/"
TAKINGS = "/stand/takings/"


def signed_in(role):
    client = Client()
    client.force_login(builders.person(role))
    return client


@pytest.fixture
def seller(house):
    return signed_in("stand")


@pytest.fixture
def office(house):
    return signed_in("office")


@pytest.fixture
def sell(stand, pounds):
    return partial(sell_jars, pounds, place=stand)


@pytest.fixture
def opened(stand):
    with time_machine.travel(at(8), tick=False):
        return stand_days.open_day(
            place=stand, float_cents=10_000, opened_by=builders.person("stand"), key="open"
        )


def closed(stand_day, counted_cents, note=""):
    return stand_days.close(
        stand_day=stand_day,
        counted_cents=counted_cents,
        note=note,
        closed_by=builders.person("stand"),
        key=builders.new_key(),
    )


def test_a_day_is_opened_by_coins_and_notes(seller, stand):
    here = reverse("billing:stand_day_open")
    form = {"key": "k", "place": "stand", "day": "2026-09-10", "amount": "80.00", "note": ""}

    page = seller.get(here)
    answer = seller.post(here, form | {"coin-25": "8", "note-500": "3"}, follow=True)

    assert "Count it by coins and notes instead" in words_of(page.content.decode())
    # 8 quarters and 3 fives; the sum is for those who count no coins
    assert StandDay.objects.get().float_cents == 200 + 1_500
    assert "open with a float of $17.00" in words_of(answer.content.decode())
    again = seller.post(here, form | {"key": "other"})
    assert errors_in(again) == ["Day: The day was opened already: Stand, Sep 10, 2026."]


def test_what_is_expected_is_told_after_the_count_alone(seller, opened, sell):
    sell(2)
    here = reverse("billing:stand_day_close", args=[opened.pk])
    form = {"key": "k", "amount": "115.00", "note": "", "shown": ""}

    before = words_of(seller.get(here).content.decode())
    day = words_of(seller.get(opened.get_absolute_url()).content.decode())
    counted = seller.post(here, form)
    refused = seller.post(here, form | {"shown": "11500:11600"})

    assert "116.00" not in before + day
    assert "16.00" not in before + day
    shown = words_of(counted.content.decode())
    assert "Expected $116.00 Over or short −$1.00" in shown
    assert not StandDayClose.objects.exists()
    assert errors_in(refused) == [
        "Note: $1.00 is missing. Count again, or say what you know about it."
    ]

    done = seller.post(here, form | {"shown": "11500:11600", "note": "Fell down"}, follow=True)
    assert "closed; the difference is −$1.00" in words_of(done.content.decode())
    assert list(books.faults()) == []


def test_a_count_is_shown_again_where_a_sale_came_in_between(seller, opened, sell):
    here = reverse("billing:stand_day_close", args=[opened.pk])
    form = {"key": "k", "amount": "100.00", "note": "", "shown": "10000:10000"}
    sell(1)

    answer = seller.post(here, form)

    assert "Expected $108.00" in words_of(answer.content.decode())
    assert not StandDayClose.objects.exists()


def test_cash_is_put_in_taken_out_and_undone(seller, opened):
    here = reverse("billing:stand_day_cash", args=[opened.pk])
    form = {"key": "k", "kind": "spent", "amount": "7.50", "text": "", "payee": "", "category": ""}

    refused = seller.post(here, form)
    seller.post(here, form | {"payee": "Corner Hardware", "category": "supplies"})
    cash = StandCash.objects.get()
    undone = seller.post(
        reverse("billing:stand_cash_undo", args=[cash.pk]), {"key": "u", "reason": "By card"}
    )

    assert errors_in(refused) == [
        "Paid to: Enter who was paid.",
        "Category: Choose what it was for.",
    ]
    assert undone.status_code == 302
    cash.refresh_from_db()
    assert (cash.cents, cash.is_off) == (750, True)


def test_a_closed_day_keeps_its_figures_and_tells_what_came_later(seller, opened, sell):
    closed(opened, 10_800, note="A sale is missing")
    with time_machine.travel(at(18), tick=False):
        sell(1, sold_at=at(11))

    page = words_of(seller.get(opened.get_absolute_url()).content.decode())
    paper = words_of(
        documents.render_html("documents/stand_day.html", papers_stand.stand_day_context(opened))
    )

    for text in (page, paper):
        assert "Expected $100.00 Counted $108.00 Over or short $8.00" in text
        assert "Came in afterwards: 1 sale, $8.00" in text
        assert "over or short was $8.00 , and is $0.00 with these sales." in text
        assert "0 sales, with tax $0.00" in text


def test_a_closed_day_is_printed(seller, opened):
    address = reverse("billing:stand_day_pdf", args=[opened.pk])

    before = seller.get(address)
    closed(opened, 10_000)
    after = seller.get(address)

    assert before.status_code == 404
    assert (after.status_code, after.content[:5]) == (200, b"%PDF-")


def test_who_closed_a_day_opens_it_again_on_that_day_and_the_office_later(seller, office, opened):
    closed(opened, 9_900, note="No idea")
    here = reverse("billing:stand_day_open_again", args=[opened.pk])

    assert seller.get(here).status_code == 200
    with time_machine.travel(at(12).replace(day=11), tick=False):
        assert seller.get(here).status_code == 403
        # The office signs in each day.
        office.force_login(builders.person("office"))
        answer = office.post(here, {"key": "u", "reason": "A note stuck"}, follow=True)

    text = words_of(answer.content.decode())
    assert "is open again. Count the drawer once more." in text
    assert "An earlier close with $99.00 counted, over or short −$1.00 , was undone." in text
    assert "Office, Sep 11, 2026: A note stuck" in text


def test_who_sells_at_the_stand_sees_no_other_places(seller, office, shelf):
    day = stand_days.open_day(
        place=shelf, float_cents=100, opened_by=builders.person("office"), key="shelf"
    )

    assert [client.get(day.get_absolute_url()).status_code for client in (seller, office)] == [
        403,
        200,
    ]
    listed = [words_of(client.get(LIST).content.decode()) for client in (seller, office)]
    assert ["Packing shelf" in text for text in listed] == [False, True]
    assert signed_in("bottling").get(LIST).status_code == 403


# ------------------------------------------------------------------ takings


def test_takings_add_up_by_method_person_hour_and_product(office, stand, pounds, sell, owner):
    with time_machine.travel(at(9), tick=False):
        sell(2, discount_cents=100)
        sell(1, method="card", sold_by=owner, on_top_cents=50)
    undone = sell(3)
    take_back(undone, owner)

    takings = papers_stand.takings_context(TakingsAsked(TODAY, TODAY))["takings"]

    # 16.00 less 1.00, and 8.00; the third sale was undone
    assert (takings.count, takings.cents, takings.discount_cents) == (2, 2_300, 100)
    assert (takings.undone_count, takings.undone_cents) == (1, 2_400)
    assert takings.on_top_cents == 50
    assert [(row.name, row.count, row.cents) for row in takings.by_method] == [
        ("cash", 1, 1_500),
        ("card", 1, 800),
    ]
    assert [(row.name, row.cents) for row in takings.by_person] == [
        ("Owner", 800),
        ("Stand", 1_500),
    ]
    assert [(row.name, row.count) for row in takings.by_hour] == [("09:00–10:00", 2)]
    assert [(row.name, row.quantity, row.cents) for row in takings.by_product] == [
        ("One pound", "3", 2_300)
    ]


def take_back(sale, person):
    stand.take_back(receipt=sale.receipt, taken_by=person, key="back", reason="Broken lid")


def test_the_stand_sees_her_own_takings_and_the_office_all(seller, office, sell, owner):
    sell(1)
    sell(2, sold_by=owner)

    own = words_of(seller.get(TAKINGS).content.decode())
    everything = words_of(office.get(TAKINGS).content.decode())
    tried = words_of(seller.get(TAKINGS, {"person": owner.pk}).content.decode())
    of_owner = words_of(office.get(TAKINGS, {"person": owner.pk}).content.decode())

    assert "My takings" in own
    assert "1 sale, with tax $8.00" in own
    assert "2 sales, with tax $24.00" in everything
    assert "1 sale, with tax $8.00" in tried
    assert "1 sale, with tax $16.00" in of_owner


def test_takings_of_several_days_as_table_and_paper(office, sell):
    sell(1)
    days = {"since": "2026-09-01", "until": "2026-09-10"}

    table = office.get(reverse("billing:stand_takings_csv"), days).content.decode("utf-8-sig")
    paper = office.get(reverse("billing:stand_takings_pdf"), days)
    before = office.get(TAKINGS, {"since": "2026-09-01", "until": "2026-09-09"})

    rows = table.splitlines()
    assert rows[0] == "From,2026-09-01,Up to,2026-09-10"
    assert "Paid by,cash,1,8.00" in rows
    assert "Product,One pound,1,8.00" in rows
    assert paper.content[:5] == b"%PDF-"
    assert "Nothing was sold on these days." in words_of(before.content.decode())


def test_lists_take_the_same_few_questions_however_long_they_are(office, stand, sell, opened):
    sell(1)
    few = [queries_of(office, address) for address in (LIST, TAKINGS)]
    for _number in range(3):
        sell(1)
    stand_days.open_day(
        place=stand,
        day=TODAY.replace(day=9),
        float_cents=0,
        opened_by=builders.person("stand"),
        key="nine",
    )

    assert [queries_of(office, address) for address in (LIST, TAKINGS)] == few


# ------------------------------------------------------------------ API


def test_a_day_is_kept_through_the_api(seller, stand, sell):
    def send(path, body):
        answer = seller.post(
            f"/api/v1/{path}",
            json.dumps(body),
            content_type="application/json",
            headers={"Idempotency-Key": builders.new_key()},
        )
        return answer.status_code, answer.json()

    _status, day = send("stand-days/", {"place": "stand", "float_pieces": {"note-500": 4}})
    here = f"stand-days/{day['id']}/"
    sell(1)
    _status, cash = send(f"{here}cash/", {"kind": "to_box", "cents": 500})
    send(f"stand-cash/{cash['id']}/undo/", {"reason": "Stayed here"})
    refused, problem = send(f"{here}close/", {"counted_cents": 2_700})
    _status, closing = send(f"{here}close/", {"counted_cents": 2_700, "note": "No idea"})

    # 20.00 and a jar for 8.00
    assert (day["float_cents"], closing["expected_cents"]) == (2_000, 2_800)
    assert closing["difference_cents"] == -100
    assert (refused, problem["errors"][0]["field"]) == (422, "note")
    assert seller.get(f"/api/v1/{here}").json()["closing"]["id"] == closing["id"]
    status, undone = send(f"stand-day-closes/{closing['id']}/undo/", {"reason": "Found it"})
    assert (status, undone["undone_reason"]) == (201, "Found it")
    assert list(books.faults()) == []
