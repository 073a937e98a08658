"""The owner looks at what did not fit, and settles what a phone gave to the office."""

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.models import HandedInSale, SaleMark, StandSale
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import handed_in, stand_marks
from tests import builders
from tests.billing.conftest import errors_in
from tests.billing.test_stand_happened import at_stand, message, priced, seller, send

__all__ = ["message", "priced", "seller"]

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    client = Client()
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def marked(seller, message):
    """A sale of more than stands there."""
    lines = [{"product": "one-pound", "pieces": 25, "unit_price": "8.0000"}]
    send(seller, message(lines=lines, payments=[{"method": "card", "cents": 20_000}]))
    return StandSale.objects.get()


@pytest.fixture
def given(message):
    """A sale of a product that is gone, given to the office."""
    body = message(lines=[{"product": "gone", "pieces": 2, "unit_price": "8.0000"}])
    return handed_in.hand_in(
        key="sale-1",
        body=body,
        text="2 × Gone: $16.00, Cash",
        reason="There is no product called gone any more.",
        handed_in_by=builders.person("stand"),
    )


def test_a_sale_with_a_mark_is_listed_until_somebody_looked_at_it(office, marked):
    listed = office.get("/stand/marks/").content.decode()
    assert str(marked.receipt) in listed
    assert "The books had 1 piece of One pound too few at Stand." in listed
    waiting = "Sales at the stand to look at: 1"
    assert waiting in office.get("/").content.decode()

    office.post(f"/stand/marks/{marked.receipt_id}/seen/", {"key": "k", "note": "Counted: right"})

    mark = SaleMark.objects.get()
    assert (mark.seen_by.username, mark.note) == ("office", "Counted: right")
    assert waiting not in office.get("/").content.decode()
    assert "Nothing to look at" in office.get("/stand/marks/").content.decode()
    assert "Counted: right" in office.get("/stand/marks/?seen=1").content.decode()


def marked_as(marked, *kinds):
    """Give a sale exactly these marks."""
    marked.marks.all().delete()
    stand_marks.keep(marked, [stand_marks.MarkFound(kind, f"It is {kind}") for kind in kinds])


@pytest.fixture
def three(seller, message):
    """Three sales: short alone, at another price alone, and both."""
    for _number in range(3):
        send(seller, message(key=builders.new_key()))
    found = list(StandSale.objects.order_by("id"))
    for sale, kinds in zip(found, (["short"], ["price"], ["short", "price"]), strict=True):
        marked_as(sale, *kinds)
    return found


def listed(office, address):
    return set(office.get(address).context["page_obj"])


def test_the_list_is_filtered_by_a_kind_of_mark_that_is_there(office, three):
    short, price, both = three

    assert listed(office, "/stand/marks/") == {short, price, both}
    assert listed(office, "/stand/marks/?kind=short") == {short, both}
    assert listed(office, "/stand/marks/?kind=price") == {price, both}
    # No mark of this kind is there: it is not offered, and an old address shows everything.
    assert listed(office, "/stand/marks/?kind=clock") == {short, price, both}
    assert dict(office.get("/stand/marks/").context["kinds"]).keys() == {"short", "price"}


def test_all_sales_of_a_page_that_were_only_short_are_looked_at_with_one_act(office, three):
    short, price, both = three
    page = office.get("/stand/marks/")
    assert page.context["only_short"] == [short]
    assert "All of these were looked at" in page.content.decode()

    # A sale with another mark stays, even where a page sends it.
    form = {"key": "k", "sales": [sale.pk for sale in three]}
    office.post("/stand/marks/short/seen/", form)

    assert listed(office, "/stand/marks/") == {price, both}
    assert short.marks.get().seen_by.username == "office"
    again = office.get("/stand/marks/").content.decode()
    assert "All of these were looked at" not in again


def test_a_page_of_the_list_has_twenty_sales_and_leads_to_the_next(office, seller, message):
    for _number in range(21):
        send(seller, message(key=builders.new_key()))
    for sale in StandSale.objects.all():
        marked_as(sale, "short")

    page = office.get("/stand/marks/?kind=short")

    assert len(page.context["page_obj"]) == len(page.context["only_short"]) == 20
    assert "Page 1 of 2" in page.content.decode()
    assert len(listed(office, "/stand/marks/?page=2")) == 1


def test_who_sells_at_the_stand_does_not_decide_about_marks(seller, marked):
    assert seller.get("/stand/marks/").status_code == 403
    assert seller.post(f"/stand/marks/{marked.receipt_id}/seen/", {"key": "k"}).status_code == 403
    short = {"key": "k", "sales": [marked.pk]}
    assert seller.post("/stand/marks/short/seen/", short).status_code == 403


def test_the_office_puts_right_what_was_given_to_it_and_books_it(office, given, priced):
    address = reverse("billing:handed_in_book", args=[given.pk])
    form = {"key": "k", "place": "stand", "product_0": "one-pound", "pieces_0": "2"}

    answer = office.post(address, {**form, "price_0": "8.00"})

    sale = StandSale.objects.get()
    assert answer["Location"] == reverse("billing:receipt", args=[sale.receipt_id])
    assert (sale.sold_by.username, sale.sent_by.username) == ("stand", "office")
    assert (sale.key, sale.total_cents, at_stand(priced)) == ("sale-1", 1_600, 22)
    given.refresh_from_db()
    assert (given.sale, given.settled_by.username) == (sale, "office")
    assert list(books.faults()) == []


def test_no_other_product_is_chosen_beforehand_for_one_that_is_not_there(office, given, priced):
    page = office.get(reverse("billing:handed_in_book", args=[given.pk]))

    chosen = page.context["form"]["product_0"]
    assert chosen.initial is None
    assert '<option value="" selected>' in str(chosen)


def test_what_the_phone_got_booked_meanwhile_is_not_booked_again(office, given, seller, message):
    send(seller, message())
    address = reverse("billing:handed_in_book", args=[given.pk])
    form = {"key": "k", "place": "stand", "product_0": "one-pound", "pieces_0": "2"}

    office.post(address, {**form, "price_0": "8.00"})

    given.refresh_from_db()
    assert given.sale == StandSale.objects.get()


def test_a_sale_is_set_aside_with_a_reason_alone(office, given):
    address = reverse("billing:handed_in_set_aside", args=[given.pk])
    assert errors_in(office.post(address, {"key": "k", "note": " "})) == [
        "Why is it not booked?: Fill this in."
    ]

    office.post(address, {"key": "k", "note": "Entered by hand as R26-00009"})

    given.refresh_from_db()
    assert given.settled_at <= timezone.now()
    assert not StandSale.objects.exists()
    assert "Entered by hand" in office.get("/stand/given/?settled=1").content.decode()
    again = office.post(address, {"key": "k2", "note": "Again"})
    assert errors_in(again) == ["Somebody has settled this sale already."]
    assert HandedInSale.objects.get().note == "Entered by hand as R26-00009"
