"""A passkey is added and signed in with, in Chromium with an authenticator of its own."""

import re

import pytest
from django.utils import timezone

from apiary_sales.accounts.second_step_models import Passkey
from apiary_sales.accounts.services import people, second_steps
from tests import builders
from tests.accounts.code_app import KEY, code_at
from tests.browser.conftest import PHONE

# The page itself, not one that leads there.
HONEY = re.compile(r"^http://[^/]+/honey/$")


def authenticator(page, *, knows_person: bool = True) -> tuple:
    """Give the page's browser an authenticator; `knows_person` is a finger that it knows."""
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    made = session.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasResidentKey": True,
                "hasUserVerification": True,
                "isUserVerified": knows_person,
                "automaticPresenceSimulation": True,
            }
        },
    )
    return session, made["authenticatorId"]


@pytest.fixture
def office(sign_in):
    """The office's phone with a passkey, signed out."""
    page = sign_in("office", PHONE)
    page.authenticator = authenticator(page)
    page.goto("/account/")
    page.get_by_role("link", name="Add a passkey").click()
    page.get_by_label("Name of the passkey").fill("My phone")
    page.get_by_label("Your password").fill("office")
    page.get_by_role("button", name="Add a passkey").click()
    page.get_by_text("You can sign in with this passkey now.").wait_for()
    page.get_by_role("button", name="Sign out").click()
    return page


def use_passkey(page) -> None:
    page.goto("/account/sign-in/?next=/honey/")
    page.get_by_role("link", name="Sign in with a passkey").click()
    # Until it is loaded, its script does not hear of the button.
    page.wait_for_url("**/account/sign-in/passkey/**")
    page.get_by_role("button", name="Use a passkey").click()


def test_a_passkey_signs_in_without_name_password_and_code(office, axe, django_user_model):
    person = django_user_model.objects.get(username="office")
    second_steps.set_up(person=person, key=KEY, code=code_at(timezone.now()))
    second_steps.require(required_for="owners_and_office")
    office.goto("/account/sign-in/passkey/")
    axe(office)

    use_passkey(office)

    office.wait_for_url(HONEY)
    office.goto("/account/")
    office.get_by_text("My phone").wait_for()
    axe(office)
    passkey = Passkey.objects.get()
    assert (passkey.person, passkey.name, passkey.sign_count) == (person, "My phone", 2)
    assert passkey.used_at is not None


def test_a_removed_passkey_and_one_of_a_switched_off_person_sign_nobody_in(office):
    person = Passkey.objects.get().person
    people.switch_off(person=person)
    use_passkey(office)
    office.get_by_text("This passkey is not known here.").wait_for()

    people.switch_on(person=person)
    use_passkey(office)
    office.wait_for_url(HONEY)
    office.goto("/account/")
    office.once("dialog", lambda dialog: dialog.accept())
    office.get_by_role("button", name="Remove").click()
    office.get_by_text("The passkey My phone is removed.").wait_for()
    office.get_by_role("button", name="Sign out").click()
    use_passkey(office)

    office.get_by_text("This passkey is not known here.").wait_for()
    office.goto("/help/")
    assert "/account/sign-in/" in office.url


def test_a_device_that_does_not_know_the_person_signs_nobody_in(office):
    session, made = office.authenticator
    session.send("WebAuthn.setUserVerified", {"authenticatorId": made, "isUserVerified": False})

    use_passkey(office)

    office.get_by_text("No passkey was used. Try again").wait_for()
    assert Passkey.objects.get().used_at is None


def test_an_answer_is_taken_once(office):
    """What was seen on its way is sent again: the text that it signed is asked for no more."""
    sent = []
    office.on("request", lambda request: sent.append(request) if request.post_data else None)
    use_passkey(office)
    office.wait_for_url(HONEY)
    [answer] = [each.post_data for each in sent if "answer=" in each.post_data]
    office.goto("/account/")
    office.get_by_role("button", name="Sign out").click()
    office.goto("/account/sign-in/passkey/")

    office.evaluate(
        """(answer) => {
          const form = document.querySelector("form[data-passkey]");
          form.elements.answer.value = new URLSearchParams(answer).get("answer");
          form.submit();
        }""",
        answer,
    )

    office.get_by_text("The passkey was not accepted. Try again.").wait_for()


def test_nobody_adds_a_passkey_with_a_wrong_password(sign_in):
    page = sign_in("owner")
    authenticator(page)
    page.goto("/account/passkeys/add/")
    page.get_by_label("Name of the passkey").fill("Another phone")
    page.get_by_label("Your password").fill("honey")
    page.get_by_role("button", name="Add a passkey").click()

    page.get_by_text("This is not your current password. Type it again.").first.wait_for()
    assert not Passkey.objects.filter(person=builders.person("owner")).exists()
