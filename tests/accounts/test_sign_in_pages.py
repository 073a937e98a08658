import pytest
from django.urls import reverse

from tests import builders

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("address", ["/", "/help/", "/settings/", "/honey/", "/account/"])
def test_every_page_asks_to_sign_in_first_and_comes_back(client, address):
    builders.person("owner")

    page = client.get(address)

    assert page.status_code == 302
    assert page.url == f"/account/sign-in/?next={address}"


def test_signing_in_leads_to_where_one_was_going(client):
    builders.person("office")

    page = client.post(
        "/account/sign-in/?next=/help/",
        {"username": "office", "password": "office", "next": "/help/"},
    )

    assert page.status_code == 302
    assert page.url == "/help/"
    assert client.get("/help/").status_code == 200


def test_signing_in_never_leads_to_another_house(client):
    builders.person("office")

    page = client.post(
        "/account/sign-in/",
        {"username": "office", "password": "office", "next": "https://elsewhere.example/"},
    )

    assert page.url == "/"


@pytest.mark.parametrize("after", ["help", "web:help", "-1", "🍯"])
@pytest.mark.parametrize(
    "address", ["/account/sign-in/", "/account/sign-in/passkey/", "/admin/login/"]
)
def test_a_next_address_that_is_none_is_no_fault(client, address, after):
    client.post("/account/sign-in/", {"username": builders.person("owner"), "password": "owner"})

    page = client.get(address, {"next": after})

    assert page.status_code == 302


def test_signing_in_with_a_next_address_that_is_none_is_no_fault(client):
    builders.person("office")

    page = client.post(
        "/account/sign-in/", {"username": "office", "password": "office", "next": "help"}
    )

    assert (page.status_code, page.url) == (302, "help")


def test_a_wrong_password_is_refused_in_plain_words(client):
    builders.person("office")

    page = client.post("/account/sign-in/", {"username": "office", "password": "honey"})

    assert (
        "The name or the password is wrong. Check the capital letters and try again, or "
        "ask the owner for a new password."
    ) in page.text
    assert client.get("/").status_code == 302


def test_signing_out_ends_the_session(client):
    client.force_login(builders.person("stand"))

    page = client.post(reverse("accounts:sign_out"))

    assert page.url == "/account/signed-out/"
    assert page.headers["Clear-Site-Data"] == '"cache"'
    assert client.get("/").status_code == 302


def test_signing_out_needs_a_button_not_a_link(client):
    client.force_login(builders.person("stand"))

    assert client.get(reverse("accounts:sign_out")).status_code == 405


def test_the_language_can_be_chosen_before_signing_in(client):
    builders.person("owner")

    page = client.post(
        reverse("accounts:language"), {"language": "es", "next": "/account/sign-in/"}
    )

    assert page.url == "/account/sign-in/"
    assert '<html lang="es"' in client.get("/account/sign-in/").text


def test_a_person_changes_their_own_password(client):
    client.force_login(builders.person("stand"))

    page = client.post(
        reverse("accounts:password"),
        {
            "old_password": "stand",
            "new_password1": "beeswax-and-twine",
            "new_password2": "beeswax-and-twine",
        },
        follow=True,
    )

    assert "Your password is changed." in page.text
    assert builders.person("stand").check_password("beeswax-and-twine") is True


def test_a_wrong_present_password_changes_nothing(client):
    client.force_login(builders.person("stand"))

    page = client.post(
        reverse("accounts:password"),
        {"old_password": "x", "new_password1": "beeswax-and-twine", "new_password2": "twine"},
    )

    assert page.context["form"].errors == {
        "old_password": ["This is not your current password. Type it again."],
        "new_password2": ["The two new passwords differ. Type both again."],
    }
    assert builders.person("stand").check_password("stand") is True
