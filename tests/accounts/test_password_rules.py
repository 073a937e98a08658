"""What a password may be, that hashing is bounded, and that a set one is changed first."""

import threading

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher, check_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.urls import reverse

from apiary_sales.accounts import browsers, hashing
from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import people
from apiary_sales.api import urls as api_urls
from apiary_sales.api.permissions import SignedIn
from inventory.shared.errors import TooBusy
from inventory.shared.models import House
from tests import builders

pytestmark = pytest.mark.django_db

OWN = "smoke-veil-ladder"


@pytest.fixture
def thistlemere(db):
    House.objects.update_or_create(pk=1, defaults={"name": "Thistlemere Honey House"})
    people.add(username="odile", name="Odile Marchetti", role="owner", password="x")
    people.add(username="bram", name="Bram Okafor", role="bottling", password="x")


@pytest.mark.parametrize(
    "password",
    [
        "Thistlemere2026!",
        "thistlemere-honey-house",
        "HoneyHouse-2026",
        "odile-marchetti",
        "Bram&Odile-99",
        "okafor12345",
        "OdÍle-marchetti-1",
    ],
)
def test_a_password_of_names_is_refused(thistlemere, password):
    with pytest.raises(ValidationError) as refused:
        validate_password(password)

    assert "password_of_names" in [error.code for error in refused.value.error_list]


@pytest.mark.parametrize("password", ["clover-and-comb", "bram-buys-ladders", OWN])
def test_a_long_password_that_is_more_than_names_is_taken(thistlemere, password):
    assert validate_password(password) is None


@pytest.mark.parametrize(
    ("password", "code"),
    [
        ("nine-char", "password_too_short"),
        ("1234567890", "password_too_common"),
        ("qwertyuiop", "password_too_common"),
    ],
)
def test_short_and_common_passwords_are_refused(password, code):
    with pytest.raises(ValidationError) as refused:
        validate_password(password)

    assert code in [error.code for error in refused.value.error_list]


def test_ten_characters_are_enough():
    assert validate_password("tin-roof-7") is None


def test_the_names_of_the_person_to_be_added_count_too(thistlemere):
    with pytest.raises(ValidationError):
        validate_password("wrenna-solbakk", User(username="wrenna", last_name="Solbakk"))


def test_a_hash_that_was_made_before_goes_on(settings):
    settings.PASSWORD_HASHERS = ["apiary_sales.accounts.hashing.BoundedPasswordHasher"]
    kept = PBKDF2PasswordHasher().encode(OWN, "salt", 1_000)

    assert check_password(OWN, kept) is True
    assert check_password("x", kept) is False


def test_one_hashes_some_wait_and_the_next_is_told_to_try_again():
    turns = hashing.Turns(at_once=1, waiting=1, wait_seconds=30)
    begun, may_end, waits = threading.Event(), threading.Event(), threading.Event()

    def hash_long():
        with turns.taken():
            begun.set()
            may_end.wait(30)

    def hash_after():
        waits.set()
        with turns.taken():
            pass

    first = threading.Thread(target=hash_long)
    first.start()
    begun.wait(30)
    second = threading.Thread(target=hash_after)
    second.start()
    waits.wait(30)
    # It has said that it will wait; until it does, there is a place.
    while turns.has_place():
        pass
    with pytest.raises(TooBusy) as refused, turns.taken():
        pass
    may_end.set()
    first.join()
    second.join()

    assert refused.value.wait_seconds > 0
    with turns.taken():
        pass


def test_who_waits_too_long_is_told_to_try_again():
    turns = hashing.Turns(at_once=1, waiting=1, wait_seconds=0)

    with turns.taken(), pytest.raises(TooBusy), turns.taken():
        pass

    with turns.taken():
        pass


@pytest.fixture
def busy(monkeypatch):
    """Let as many passwords be checked as can be."""

    def refuse(*_arguments, **_more):
        raise TooBusy("Several passwords are being checked.", wait_seconds=2)

    monkeypatch.setattr("apiary_sales.accounts.services.sign_ins.authenticate", refuse)


def test_a_busy_service_says_so_and_counts_nothing(client, busy):
    builders.person("office")

    page = client.post("/account/sign-in/", {"username": "office", "password": "x"})
    answer = client.post(
        "/api/v1/token/",
        {"username": "office", "password": "x"},
        content_type="application/json",
    )

    assert (page.status_code, page.headers["Retry-After"]) == (503, "2")
    assert "Several passwords are being checked." in page.text
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "2")
    assert answer.json()["code"] == "too_busy"


@pytest.fixture
def suki(db):
    return people.add(
        username="suki",
        name="Suki",
        role="stand",
        password="set-by-owner",
        must_change_password=True,
    )


def test_who_was_given_a_password_chooses_another_first(client, suki):
    client.post("/account/sign-in/", {"username": "suki", "password": "set-by-owner"})

    away = [client.get(address).url for address in ("/", "/stand/", "/account/", "/help/")]
    page = client.get(reverse("accounts:password"))
    fields = {"old_password": "set-by-owner", "new_password1": OWN, "new_password2": OWN}
    done = client.post(reverse("accounts:password"), fields)

    assert away == [reverse("accounts:password")] * 4
    assert "The owner has set your password. Choose your own, which nobody else knows." in page.text
    assert done.status_code == 302
    assert client.get("/").status_code == 200
    assert User.objects.get(username="suki").must_change_password is False


def test_the_password_that_the_owner_set_is_no_own_one(client, suki):
    client.force_login(suki)
    fields = dict.fromkeys(("old_password", "new_password1", "new_password2"), "set-by-owner")

    page = client.post(reverse("accounts:password"), fields)

    assert "This is the password that the owner has set. Choose one of your own." in page.text
    assert User.objects.get(username="suki").must_change_password is True


def test_a_program_gets_no_token_before_and_is_told_why(client, suki):
    fields = {"username": "suki", "password": "set-by-owner"}

    answer = client.post("/api/v1/token/", fields, content_type="application/json")

    assert answer.status_code == 409
    assert answer.json()["detail"] == (
        "The owner has set this password. Sign in on the page and choose your own first."
    )


def test_a_program_that_has_one_is_refused_and_told_why(client):
    header = builders.authorization("office")
    User.objects.filter(username="office").update(must_change_password=True)

    answer = client.get("/api/v1/lots/", HTTP_AUTHORIZATION=header)

    assert answer.status_code == 403
    assert answer.json()["detail"] == (
        "The owner has set this password. Sign in on the page and choose your own first."
    )


def test_every_address_of_the_api_asks_for_an_own_password():
    views = {
        entry.name: getattr(entry.callback, "cls", None) or entry.callback.view_class
        for entry in api_urls.urlpatterns
        # The pages about the API are for people, who are led to choose a password by every page.
        if not entry.name.startswith("docs")
    }
    open_to_all = {
        name
        for name, view in views.items()
        if not any(issubclass(each, SignedIn) for each in view.permission_classes)
    }

    assert len(views) > 100
    assert open_to_all == {"schema", "token"}


def test_the_owner_sets_a_password_that_is_changed_and_ones_own_that_is_not(client):
    owner = builders.person("owner")
    other = builders.person("stand")
    client.force_login(owner)

    client.post(reverse("accounts:reset_password", args=[other.pk]), {"password": OWN})
    page = client.get(reverse("accounts:person", args=[other.pk]))
    client.post(reverse("accounts:reset_password", args=[owner.pk]), {"password": OWN})

    assert "chooses a new password at the next sign-in" in page.text
    other.refresh_from_db()
    owner.refresh_from_db()
    assert (other.must_change_password, owner.must_change_password) == (True, False)


def test_a_person_that_the_owner_adds_chooses_a_password_first(client):
    client.force_login(builders.person("owner"))

    client.post(
        reverse("accounts:add_person"),
        {"username": "wren", "name": "Wren Tal", "role": "stand", "password": OWN},
    )

    assert User.objects.get(username="wren").must_change_password is True


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (
            "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0",
            "Firefox on Linux",
        ),
        (
            "Mozilla/5.0 (Windows NT 10.0) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0 "
            "Safari/537.36 Edg/140.0",
            "Edge on Windows",
        ),
        (
            "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 "
            "(KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1",
            "Safari on iPhone",
        ),
        ("honey-scale/2.1 (north yard)", "honey-scale/2.1"),
        ("", "unknown browser"),
    ],
)
def test_a_browser_is_called_by_plain_words(said, words):
    assert browsers.in_words(said) == words
