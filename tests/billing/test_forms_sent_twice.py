"""A form that comes again is known before it is checked: its act may have used up its choices."""

import json
from datetime import timedelta

import pytest
from django.apps import apps
from django.db import IntegrityError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.models import Payment
from apiary_sales.keeping import tidying
from apiary_sales.orders.models import Order
from inventory.bottling.models import BottlingRun
from inventory.shared.models import SentForm
from inventory.stock.models import Balance, Place, Posting
from tests import builders
from tests.billing.conftest import errors_in, filled_in, invoice_of, jars, order_of, pay
from tests.inventory.pages import said, signed_in

pytestmark = pytest.mark.django_db

SAID = "This was recorded already."


@pytest.fixture
def me():
    return signed_in("owner")


@pytest.fixture
def cellar(house):
    """Honey in two tanks and a drum; one tank and one drum are empty."""
    for number in (1, 2, 3):
        builders.place(f"tank-{number}", name=f"Tank {number}")
    for number in (1, 2):
        builders.place(f"drum-{number}", Place.Kind.DRUM, name=f"Drum {number}", tare_grams=17_600)
    builders.lot_in(Place.objects.get(code="tank-1"))
    builders.lot_in(Place.objects.get(code="tank-2"))
    builders.lot_in(Place.objects.get(code="drum-2"), 100_000)


def records() -> list[list[tuple]]:
    """Return every row that an act has written under a key, and what is there by the books."""
    keyed = [
        model
        for model in apps.get_models()
        if any(field.name == "idempotency_key" for field in model._meta.get_fields())
    ]
    return [list(model.objects.order_by("pk").values_list()) for model in (*keyed, Balance)]


def send_twice(client: Client, address: str, **typed: object) -> None:
    """Send a form as its page filled it in; its answer is lost, and it is sent again."""
    form = filled_in(client.get(address)) | typed | {"key": builders.new_key()}
    before = records()
    first = client.post(address, form)
    after = records()
    assert first.status_code == 302, (address, errors_in(first))
    assert after != before, address

    again = client.post(address, form, follow=True)

    assert (again.status_code, len(again.redirect_chain)) == (200, 1), address
    assert said(again)[-1:] == [SAID] or SAID in again.content.decode(), address
    assert records() == after, address


def stock_at(place: Place) -> Balance:
    return Balance.objects.get(place=place, quantity__gt=0, lot__isnull=False)


def test_acts_with_honey_and_stock_that_use_up_their_choices(me, cellar, pounds, shelf, stand):
    def at(name: str, *args: object) -> str:
        return reverse(f"inventory:{name}", args=args)

    everything = {"everything": "on", "weight": ""}
    send_twice(me, at("transfer"), source="tank-1", target="tank-3", **everything)
    send_twice(me, at("drum_fill"), tank="tank-3", drum="drum-1", everything="on", gross="500")
    send_twice(me, at("drain"), source="drum-2", target="tank-1")
    send_twice(
        me,
        at("blend"),
        source_1="tank-1",
        weight_1="",
        source_2="tank-2",
        weight_2="",
        target="tank-3",
    )
    send_twice(me, at("write_off"), place="tank-3", reason="spoilage", **everything)
    send_twice(me, at("stock_transfer"), stock=stock_at(stand).pk, pieces="24", target=shelf.code)
    carried = Posting.objects.latest("pk")
    send_twice(me, at("posting_reverse", carried.pk), reason="It was another shelf")
    send_twice(me, at("stock_write_off"), stock=stock_at(stand).pk, pieces="24", reason="breakage")
    send_twice(me, at("count_now", "shelf"), row_0="95")


def test_acts_of_the_office_that_use_up_their_choices(me, shop, pounds):
    owed = invoice_of(shop, jars(pounds, 10, "6.00"))
    order = order_of(shop, jars(pounds, 5, "6.00"), fill=False)
    dropped = order_of(shop, jars(pounds, 5, "6.00"), fill=False)

    send_twice(me, f"{reverse('billing:payment_create')}?invoice={owed.pk}", method="check")
    send_twice(me, reverse("billing:payment_undo", args=[Payment.objects.get().pk]), reason="Bad")
    send_twice(me, reverse("orders:order_fulfil", args=[order.number]))
    send_twice(me, reverse("billing:invoice_create", args=[order.number]))
    send_twice(me, reverse("orders:order_cancel", args=[dropped.number]), reason="They called")
    pay(shop, 9_000)
    pay(shop, 2_000)
    send_twice(
        me, reverse("billing:pay_back", args=[shop.pk]), amount="20", method="check", reference=""
    )
    assert Order.objects.get(pk=dropped.pk).status == Order.Status.CANCELLED


def test_a_planned_run_that_is_cancelled(me, cellar, pounds, shelf):
    send_twice(
        me,
        reverse("inventory:run_plan"),
        product=pounds.pk,
        source="tank-1",
        target=shelf.pk,
        pieces="12",
    )
    run = BottlingRun.objects.get(status=BottlingRun.Status.PLANNED)
    send_twice(me, reverse("inventory:run_cancel", args=[run.number]), reason="No jars")


@pytest.fixture
def poured(me, cellar):
    """The form that poured all of a tank, and the address of its page."""
    address = reverse("inventory:transfer")
    form = {"key": "poured", "source": "tank-1", "target": "tank-3", "everything": "on"}
    assert me.post(address, form).status_code == 302
    return address, form


def test_the_key_of_another_person_tells_nothing(poured):
    address, form = poured

    as_it_was = signed_in("bottling").post(address, form)
    other = signed_in("bottling").post(address, form | {"source": "tank-2"})

    assert (as_it_was.status_code, other.status_code) == (422, 422)
    assert errors_in(other) == [
        "Nothing was recorded: this form was used for something else before. Open the page again, "
        "and enter it there."
    ]
    assert SAID not in as_it_was.content.decode() + other.content.decode()


def test_the_key_of_another_act_is_refused_and_records_nothing(me, poured):
    before = records()

    other = me.post(
        reverse("inventory:drain"), {"key": "poured", "source": "drum-2", "target": "tank-1"}
    )

    assert other.status_code == 422
    assert errors_in(other)[0].startswith("Nothing was recorded: this form was used for something")
    assert records() == before


def test_an_act_that_is_refused_does_not_use_the_key_up(me, cellar):
    address = reverse("inventory:transfer")
    form = {"key": "k", "source": "tank-1", "target": "tank-3", "weight": "9999999"}
    refused = me.post(address, form)

    response = me.post(address, form | {"weight": "10", "weight_unit": "lb"})

    assert (refused.status_code, response.status_code) == (422, 302)
    assert said(response) != [SAID]


def test_the_form_is_kept_with_its_act_or_neither(me, cellar, monkeypatch):
    def fail(*args: object, **kwargs: object) -> None:
        raise IntegrityError

    monkeypatch.setattr(SentForm, "save", fail)
    before = records()

    with pytest.raises(IntegrityError):
        me.post(
            reverse("inventory:transfer"),
            {"key": "k", "source": "tank-1", "target": "tank-3", "everything": "on"},
        )

    assert records() == before


def test_a_key_that_no_form_has_is_looked_up_nowhere(me, cellar):
    for key in ("k" * 101, "k\x00", ""):
        assert me.post(reverse("inventory:transfer"), {"key": key}).status_code in (404, 422)


def test_what_was_kept_long_enough_is_forgotten_at_night(me, poured):
    kept = SentForm.objects.all()
    kept.update(sent_at=timezone.now() - timedelta(days=89))
    tidying.tidy_all()
    assert kept.exists()

    kept.update(sent_at=timezone.now() - timedelta(days=91))
    tidying.tidy_all()

    assert not kept.exists()


def test_the_api_answers_a_payment_for_a_paid_invoice_as_it_did_first(shop, pounds):
    owed = invoice_of(shop, jars(pounds, 10, "6.00"))

    def send():
        return Client().post(
            "/api/v1/payments/",
            json.dumps(
                {
                    "customer": shop.pk,
                    "amount_cents": 6_000,
                    "method": "check",
                    "allocations": [{"invoice": owed.pk, "amount_cents": 6_000}],
                }
            ),
            content_type="application/json",
            headers={"Authorization": builders.authorization(), "Idempotency-Key": "p-1"},
        )

    first, again = send(), send()

    assert (first.status_code, again.status_code) == (201, 201), first.content
    assert again.content == first.content
    assert Payment.objects.count() == 1
