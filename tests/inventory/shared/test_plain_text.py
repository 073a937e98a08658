"""Text that comes in has no marks that nobody sees, by whichever door."""

import pytest
from django.urls import reverse

from apiary_sales.customers.models import Customer
from inventory.shared.plain_text import plain
from tests import builders
from tests.inventory.pages import signed_in

# The name as it is seen, and ways to send what looks the same.
SEEN = "Café Mill"
SENT = ["Cafe\u0301 Mill", "\u202eCafé Mill", "Café\u200e Mill", "\ufeffCafé M\x07ill"]


@pytest.mark.parametrize("sent", SENT)
def test_what_looks_the_same_is_the_same(sent):
    assert plain(sent) == SEEN


@pytest.mark.parametrize(
    "text", ["two\r\nlines\tand a tab", "miel de azahar", "👩‍🌾 bees", "a\x00b"]
)
def test_other_texts_stay_as_they_are(text):
    assert plain(text) == text


@pytest.mark.parametrize("sent", SENT)
@pytest.mark.django_db
def test_a_form_keeps_the_name_that_is_seen(sent):
    body = {"name": sent, "kind": "shop", "tier": "shop", "terms_days": "30", "language": "en"}
    body["invoice_format"] = "pdf"

    signed_in("office").post(reverse("customers:create"), body)

    assert list(Customer.objects.values_list("name", flat=True)) == [SEEN]


@pytest.mark.parametrize("sent", SENT)
@pytest.mark.django_db
def test_a_program_sends_the_name_that_is_seen(client, sent):
    answer = client.post(
        "/api/v1/customers-added/",
        {"name": sent, "kind": "shop", "tier": "shop"},
        content_type="application/json",
        headers={
            "Authorization": builders.authorization("office"),
            "Idempotency-Key": builders.new_key(),
        },
    )

    assert answer.status_code == 201, answer.content
    assert answer.json()["name"] == SEEN


@pytest.mark.django_db
def test_a_password_is_taken_as_it_was_typed(client):
    person = builders.person("office")
    person.set_password("Cafe\u0301-at-the-mill-7")
    person.save()

    typed = {"username": person.username, "password": "Cafe\u0301-at-the-mill-7"}
    answer = client.post(reverse("accounts:sign_in"), typed)

    assert answer.status_code == 302
