"""The short PIN with which a person says at a shared phone that they are the seller.

The waits (five tries, one minute, doubled up to an hour) are what the house has decided.
"""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts import queries
from apiary_sales.accounts.models import SellerPin
from apiary_sales.accounts.services import people, pins
from inventory.shared.errors import BadValue, NotAllowedNow, TooManyTries
from tests import builders

pytestmark = pytest.mark.django_db

EASY = "Choose a PIN that is harder to guess."


@pytest.fixture
def suki():
    return people.add(username="suki", name="Suki", role="stand", password="beeswax-and-twine")


@pytest.fixture
def owner():
    return builders.person("owner")


def later(monkeypatch, **how_much):
    now = timezone.now() + timedelta(**how_much)
    monkeypatch.setattr(pins.timezone, "now", lambda: now)


def tries_wrong(person, asked_by, times, **more):
    for _try in range(times):
        with pytest.raises(BadValue):
            pins.check_pin(person=person, pin="0000", asked_by=asked_by, **more)


@pytest.mark.parametrize(
    ("pin", "message"),
    [
        ("483", "Use 4 to 6 digits."),
        ("4831957", "Use 4 to 6 digits."),
        ("48a1", "Use 4 to 6 digits."),
        ("٤٨٣١", "Use 4 to 6 digits."),
        ("7777", f"All digits are the same. {EASY}"),
        ("1234", f"The digits follow each other. {EASY}"),
        ("7890", f"The digits follow each other. {EASY}"),
        ("654321", f"The digits follow each other. {EASY}"),
    ],
)
def test_a_pin_that_is_easy_to_guess_is_refused(suki, pin, message):
    with pytest.raises(BadValue) as refused:
        pins.set_pin(person=suki, pin=pin, set_by=suki)

    assert (refused.value.parameter, refused.value.message) == ("pin", message)
    assert not SellerPin.objects.exists()


@pytest.mark.parametrize("pin", ["4831", "483195", "1123"])
def test_four_to_six_digits_are_a_pin_of_which_only_the_hash_is_kept(suki, pin):
    pins.set_pin(person=suki, pin=pin, set_by=suki)

    assert pin not in SellerPin.objects.get().hashed
    assert pins.check_pin(person=suki, pin=pin, asked_by=suki) == suki


def test_a_wrong_pin_is_told(suki, owner):
    pins.set_pin(person=suki, pin="4831", set_by=suki)

    with pytest.raises(BadValue) as refused:
        pins.check_pin(person=suki, pin="4832", asked_by=owner)

    assert refused.value.message == "This is not the PIN of Suki. Type it again."


def test_after_five_wrong_ones_even_the_right_one_waits_a_minute(suki, owner, monkeypatch):
    pins.set_pin(person=suki, pin="4831", set_by=suki)
    tries_wrong(suki, owner, 4)

    with pytest.raises(TooManyTries) as fifth:
        pins.check_pin(person=suki, pin="0000", asked_by=owner)
    with pytest.raises(TooManyTries):
        pins.check_pin(person=suki, pin="4831", asked_by=owner)

    assert fifth.value.wait_seconds == 60
    assert fifth.value.message == "The PIN was wrong too often. Try again in 60 seconds."
    later(monkeypatch, seconds=61)
    assert pins.check_pin(person=suki, pin="4831", asked_by=owner) == suki


def test_each_further_wrong_one_doubles_the_wait_up_to_an_hour(suki, owner, monkeypatch):
    pins.set_pin(person=suki, pin="4831", set_by=suki)
    tries_wrong(suki, owner, 4)

    waits = []
    for hours in range(9):
        later(monkeypatch, hours=2 * hours)
        with pytest.raises(TooManyTries) as refused:
            pins.check_pin(person=suki, pin="0000", asked_by=owner)
        waits.append(refused.value.wait_seconds)

    assert waits == [60, 120, 240, 480, 960, 1920, 3600, 3600, 3600]


def test_a_right_one_begins_the_count_again(suki, owner):
    pins.set_pin(person=suki, pin="4831", set_by=suki)
    tries_wrong(suki, owner, 4)

    pins.check_pin(person=suki, pin="4831", asked_by=owner)

    tries_wrong(suki, owner, 4)
    assert pins.check_pin(person=suki, pin="4831", asked_by=owner) == suki


def test_who_asks_is_held_back_whoever_they_want_to_be(suki, owner):
    office = builders.person("office")
    for person in (suki, owner):
        pins.set_pin(person=person, pin="4831", set_by=person)
    tries_wrong(suki, office, 4)

    with pytest.raises(TooManyTries):
        pins.check_pin(person=owner, pin="0000", asked_by=office)

    assert pins.check_pin(person=suki, pin="4831", asked_by=owner) == suki


def test_a_device_is_held_back_whoever_is_signed_in(suki, owner):
    office = builders.person("office")
    for person in (suki, owner):
        pins.set_pin(person=person, pin="4831", set_by=person)
    tries_wrong(suki, office, 2, device="phone-1")
    tries_wrong(owner, owner, 2, device="phone-1")

    with pytest.raises(TooManyTries):
        pins.check_pin(person=owner, pin="0000", asked_by=suki, device="phone-1")

    assert pins.check_pin(person=owner, pin="4831", asked_by=suki, device="phone-2") == owner


def test_nobody_takes_over_without_a_pin_but_who_is_signed_in(suki, owner):
    with pytest.raises(NotAllowedNow) as refused:
        pins.check_pin(person=suki, pin="4831", asked_by=owner)

    assert refused.value.message == ("Suki has no PIN yet. It is set on the page “Your account”.")
    assert pins.check_pin(person=owner, pin="", asked_by=owner) == owner


def test_who_left_or_does_not_sell_is_no_seller(suki, owner):
    cellar = builders.person("bottling")
    pins.set_pin(person=suki, pin="4831", set_by=suki)
    people.switch_off(person=suki)
    suki.refresh_from_db()

    with pytest.raises(NotAllowedNow) as gone:
        pins.check_pin(person=suki, pin="4831", asked_by=owner)
    with pytest.raises(NotAllowedNow) as elsewhere:
        pins.set_pin(person=cellar, pin="4831", set_by=owner)

    assert gone.value.message == "Suki no longer works here."
    assert elsewhere.value.message == (
        "Bottling may not sell at the stand. The owner can change the role."
    )
    assert [(row.name, row.has_pin) for row in queries.sellers()] == [("Owner", False)]


def test_sellers_are_told_in_one_question(suki, owner, django_assert_num_queries):
    pins.set_pin(person=suki, pin="4831", set_by=owner)
    builders.person("office")

    with django_assert_num_queries(1):
        found = queries.sellers()

    assert [(row.name, row.has_pin) for row in found] == [
        ("Office", False),
        ("Owner", False),
        ("Suki", True),
    ]


def test_people_set_their_own_pin_with_their_password(client, suki):
    client.force_login(suki)
    typed = {"password": "beeswax-and-twine", "pin": "4831", "pin_again": "4831"}

    unlike = client.post(reverse("accounts:pin"), typed | {"pin_again": "4832"})
    stranger = client.post(reverse("accounts:pin"), typed | {"password": "guessed"})
    easy = client.post(reverse("accounts:pin"), typed | {"pin": "5555", "pin_again": "5555"})

    assert unlike.context["form"].errors == {"pin_again": ["The two PINs differ. Type both again."]}
    assert stranger.context["form"].errors == {
        "password": ["This is not your current password. Type it again."]
    }
    assert list(easy.context["form"].errors) == ["pin"]
    assert not SellerPin.objects.exists()
    assert client.post(reverse("accounts:pin"), typed).status_code == 302
    assert pins.check_pin(person=suki, pin="4831", asked_by=suki) == suki


def test_who_manages_people_sets_the_pin_of_another_and_no_page_shows_it(client, suki, owner):
    client.force_login(owner)

    client.post(
        reverse("accounts:person_pin", args=[suki.pk]), {"pin": "4831", "pin_again": "4831"}
    )

    page = client.get(reverse("accounts:person", args=[suki.pk])).content.decode()
    assert "by Owner" in page
    assert "4831" not in page
    assert SellerPin.objects.get().hashed not in page
    client.force_login(suki)
    answer = client.get(reverse("accounts:person_pin", args=[owner.pk]))
    assert answer.status_code == 403
