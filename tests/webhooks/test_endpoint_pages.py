"""The owner's pages of the programs that are told."""

import re
from datetime import UTC, datetime

import pytest
from django.urls import reverse
from django.utils import timezone
from standardwebhooks import Webhook

from apiary_sales.webhooks.models import Endpoint
from tests import builders
from tests.mailing import worker

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(client, owner):
    client.force_login(owner)
    return client


def text_of(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_a_program_is_added_tested_and_its_message_sent_again(page, program):
    added = page.post(
        reverse("webhooks:add"),
        {
            "name": "Web shop",
            "url": program.url,
            "kinds": ["order.placed"],
            "is_in_own_network": "on",
        },
    )
    secret = re.search(r"whsec_[A-Za-z0-9+/=]+", added.content.decode()).group()
    endpoint = Endpoint.objects.get()
    shown = reverse("webhooks:endpoint", args=[endpoint.pk])
    assert secret not in page.get(shown).content.decode()

    page.post(reverse("webhooks:test", args=[endpoint.pk]))
    worker.do_all()

    [(_path, headers, body)] = program.got
    assert Webhook(secret).verify(body, headers)["type"] == "test"
    assert "a test" in text_of(page.get(shown))
    message = endpoint.deliveries.get()
    seen = text_of(page.get(reverse("webhooks:delivery", args=[message.pk])))
    assert message.event.event_id in seen
    page.post(reverse("webhooks:again", args=[message.pk]))
    worker.do_all()
    assert len(program.got) == 2


def test_what_is_wrong_is_said_at_its_field_and_nothing_is_added(page):
    answer = page.post(
        reverse("webhooks:add"), {"name": "Shop", "url": "http://shop.example/", "kinds": []}
    )

    assert answer.status_code == 422
    assert answer.context["form"].errors == {"kinds": ["Choose what the program is told of."]}
    answer = page.post(
        reverse("webhooks:add"),
        {"name": "Shop", "url": "http://shop.example/", "kinds": ["order.placed"]},
    )
    assert answer.context["form"].errors == {
        "url": ["Begin with https:// so that nobody else reads it on the way."]
    }
    assert not Endpoint.objects.exists()


def test_a_program_is_changed_switched_off_and_on_and_its_secret_renewed(page, endpoint):
    for name, is_on in (("off", False), ("on", True)):
        page.post(reverse(f"webhooks:{name}", args=[endpoint.pk]))
        endpoint.refresh_from_db()
        assert endpoint.is_on is is_on
    page.post(
        reverse("webhooks:change", args=[endpoint.pk]),
        {"name": "Shop", "url": "https://shop.example/", "kinds": ["lot.held", "order.placed"]},
    )
    renewed = page.post(reverse("webhooks:renew", args=[endpoint.pk]))

    endpoint.refresh_from_db()
    assert (endpoint.name, endpoint.url) == ("Shop", "https://shop.example/")
    assert endpoint.kinds == ["order.placed", "lot.held"]
    assert endpoint.old_secret_until > timezone.now()
    assert "whsec_" in renewed.content.decode()


def test_the_owner_sees_on_the_first_page_that_a_program_was_switched_off(page, endpoint):
    notice = "“Web shop” is told no more: it took no message for five days."
    assert notice not in text_of(page.get(reverse("web:today")))

    Endpoint.objects.update(is_on=False, given_up_at=timezone.now())

    assert notice in text_of(page.get(reverse("web:today")))
    page.force_login(builders.person("office"))
    assert notice not in text_of(page.get(reverse("web:today")))


def test_the_example_of_the_help_is_right(page):
    shown = page.get(reverse("web:help_topic", args=["programs-that-are-told"])).content.decode()
    secret = re.search(r"whsec_[A-Za-z0-9+/=]{8,}", shown).group()
    at = datetime.fromtimestamp(1_789_041_600, UTC)

    signature = Webhook(secret).sign("evt_1", at, "told")

    for each in ("evt_1", "1789041600", "told", signature):
        assert f"<code>{each}</code>" in shown
