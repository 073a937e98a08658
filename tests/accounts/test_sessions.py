"""Where people are signed in: listed, ended one by one or all, and over after a time by role."""

from datetime import timedelta

import pytest
import time_machine
from django.conf import settings
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts.models import ApiToken, HouseSession
from apiary_sales.accounts.services import lost_passwords, people, sessions, tokens
from tests import builders

pytestmark = pytest.mark.django_db

FIREFOX = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"
IPHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 "
    "(KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1"
)
ACCOUNT = "/account/"


def signed_in(role, browser=FIREFOX, address="192.0.2.7"):
    """Return a browser in which a person of this role typed name and password."""
    builders.person(role)
    client = Client(headers={"user-agent": browser}, REMOTE_ADDR=address)
    answer = client.post(reverse("accounts:sign_in"), {"username": role, "password": role})
    assert answer.status_code == 302
    return client


def is_in(client):
    return client.get(ACCOUNT).status_code == 200


def test_a_person_sees_where_they_are_signed_in():
    here = signed_in("bottling")
    signed_in("bottling", IPHONE, "192.0.2.8")
    signed_in("office")

    page = here.get(reverse("accounts:access")).content.decode()

    assert page.count("Firefox on Windows") == 1
    assert page.count("this device") == 1
    assert "192.0.2.7" in page
    assert "Safari on iPhone" in page


def test_one_device_is_signed_out_and_the_others_stay():
    here, lost, other = (signed_in("bottling") for _device in range(3))
    row = HouseSession.objects.order_by("id")[1]

    here.post(reverse("accounts:sign_out_device", args=[row.pk]))

    assert [is_in(client) for client in (here, lost, other)] == [True, False, True]


def test_all_other_devices_are_signed_out_at_once():
    here, one, two = (signed_in("bottling") for _device in range(3))

    here.post(reverse("accounts:sign_out_others"))

    assert [is_in(client) for client in (here, one, two)] == [True, False, False]


def test_nobody_but_an_owner_signs_another_person_out():
    bram, suki, owner = signed_in("bottling"), signed_in("stand"), signed_in("owner")
    row = HouseSession.objects.get(person__username="bottling")
    one = reverse("accounts:sign_out_device", args=[row.pk])

    assert suki.post(one).status_code == 404
    assert suki.post(reverse("accounts:sign_out_person", args=[row.person_id])).status_code == 403
    assert is_in(bram)
    owner.post(one)
    assert not is_in(bram)


def test_the_owner_signs_a_person_out_everywhere_and_stays_signed_in():
    bram, phone, owner = signed_in("bottling"), signed_in("bottling"), signed_in("owner")

    owner.post(reverse("accounts:sign_out_person", args=[builders.person("bottling").pk]))

    assert [is_in(client) for client in (bram, phone, owner)] == [False, False, True]


def test_the_owner_sees_everybody_on_one_page():
    owner = signed_in("owner")
    signed_in("stand", IPHONE)
    tokens.make(person=builders.person("stand"), name="Till", scopes="sell", days=5)

    page = owner.get(reverse("accounts:people_access")).content.decode()

    assert "Safari on iPhone" in page
    assert "Till" in page


def test_a_key_is_made_on_the_page_shown_once_and_revoked():
    bram = signed_in("bottling")
    made = bram.post(
        reverse("accounts:make_key"), {"name": "Scale", "scopes": "read", "days": "30"}
    )
    text = made.context["text"]
    assert text in made.content.decode()

    listed = bram.get(reverse("accounts:access")).content.decode()
    assert "Scale" in listed
    assert text[:15] not in listed
    bram.post(reverse("accounts:revoke_key", args=[made.context["token"].pk]))

    asked = Client().get("/api/v1/places/", headers={"Authorization": f"Token {text}"})
    assert asked.status_code == 401


# The idle time and the longest time of each role, in hours.
LIMITS = {"owner": (12, 168), "office": (12, 168), "bottling": (168, 720), "stand": (720, 2160)}


@pytest.mark.parametrize("role", LIMITS)
def test_who_is_away_too_long_signs_in_again(role):
    idle = timedelta(hours=LIMITS[role][0])
    start = timezone.now()
    with time_machine.travel(start, tick=False):
        client = signed_in(role)
    with time_machine.travel(start + idle - timedelta(seconds=1), tick=False):
        assert is_in(client)
        last_seen = timezone.now()
    with time_machine.travel(last_seen + idle, tick=False):
        assert not is_in(client)


@pytest.mark.parametrize("role", LIMITS)
def test_nobody_stays_signed_in_longer_than_the_role_may(role):
    idle, longest = (timedelta(hours=hours) for hours in LIMITS[role])
    start = timezone.now()
    with time_machine.travel(start, tick=False):
        client = signed_in(role)
    # Used often enough all the time.
    moment = start
    while moment + idle / 2 < start + longest:
        moment += idle / 2
        with time_machine.travel(moment, tick=False):
            assert is_in(client)
    with time_machine.travel(start + longest - timedelta(seconds=1), tick=False):
        assert is_in(client)
    with time_machine.travel(start + longest, tick=False):
        assert not is_in(client)


def test_a_page_soon_after_another_writes_nothing():
    client, start = signed_in("bottling"), timezone.now()

    def writes(after):
        with time_machine.travel(start + after), connection.execute_wrapper(note):
            written.clear()
            client.get(ACCOUNT)
        return len(written)

    written = []

    def note(execute, sql, *rest):
        if sql.startswith("UPDATE"):
            written.append(sql)
        return execute(sql, *rest)

    assert [writes(timedelta(minutes=minutes)) for minutes in (4, 6, 7, 12)] == [0, 1, 0, 1]


def test_the_database_can_not_be_used_to_sign_in():
    client = signed_in("bottling")
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value

    kept = HouseSession.objects.get().session_key
    thief = Client()
    thief.cookies[settings.SESSION_COOKIE_NAME] = kept

    assert kept != cookie
    assert not is_in(thief)


def test_changing_the_own_password_ends_all_other_sessions_for_good():
    here, other = signed_in("bottling"), signed_in("bottling")
    tokens.make(person=builders.person("bottling"), name="Scale", scopes="read", days=5)

    here.post(
        reverse("accounts:password"),
        {
            "old_password": "bottling",
            "new_password1": "clover-by-the-fence",
            "new_password2": "clover-by-the-fence",
        },
    )

    assert (is_in(here), is_in(other)) == (True, False)
    assert HouseSession.objects.count() == 1
    assert not ApiToken.objects.exists()


def test_a_link_for_a_new_password_ends_with_the_role_and_opens_nothing_for_who_is_off():
    def opens(link):
        return "new_password1" in Client().get(link, follow=True).text

    person = builders.person("stand")
    first = lost_passwords.link_for(person=person, site="")
    person = people.change_role(person=person, role="bottling")
    second = lost_passwords.link_for(person=person, site="")

    assert (opens(first), opens(second)) == (False, True)
    people.switch_off(person=person)
    assert not opens(second)


def test_a_new_password_by_a_link_ends_the_session_that_opened_the_link():
    client = signed_in("bottling")
    link = lost_passwords.link_for(person=builders.person("bottling"), site="")
    form = client.get(link, follow=True).request["PATH_INFO"]

    answer = client.post(
        form, {"new_password1": "clover-by-the-fence", "new_password2": "clover-by-the-fence"}
    )

    assert answer.status_code == 302
    assert not is_in(client)
    assert not HouseSession.objects.filter(person__isnull=False).exists()


def test_who_is_switched_off_and_on_again_signs_in_anew():
    client = signed_in("bottling")
    bram = builders.person("bottling")
    people.switch_off(person=bram)
    assert not is_in(client)
    people.switch_on(person=bram)

    assert not is_in(client)
    assert is_in(signed_in("bottling"))


def test_sessions_that_are_over_are_cleared():
    signed_in("owner")
    signed_in("stand")

    with time_machine.travel(timezone.now() + timedelta(days=2)):
        assert sessions.clear_expired() == 1
    assert HouseSession.objects.get().person.username == "stand"


def test_a_program_lists_and_ends_where_its_person_is_signed_in(client):
    bram = signed_in("bottling")
    headers = {"Authorization": builders.authorization("bottling")}

    [row] = client.get("/api/v1/sessions/", headers=headers).json()["results"]
    ended = client.post(
        f"/api/v1/sessions/{row['id']}/sign-out/", "{}", "application/json", headers=headers
    )

    assert row["browser"] == "Firefox on Windows"
    assert ended.status_code == 204
    assert not is_in(bram)
