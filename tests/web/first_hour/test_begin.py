"""The one-time code with which the first owner of an empty house begins."""

import re
from datetime import timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from django.utils import timezone

from apiary_sales.accounts.models import SetUp, User
from apiary_sales.accounts.services import first_owner
from apiary_sales.web import serve
from inventory.shared.errors import BadValue, NotAllowedNow, TooManyTries
from tests import builders
from tests.web.first_hour import walking

pytestmark = pytest.mark.django_db

MARIA = {"username": "maria", "name": "Maria Olmo", "password": walking.PASSWORD}


def test_a_right_code_makes_the_first_owner_and_is_then_forgotten():
    code = first_owner.make_code()

    owner = first_owner.add(code=code.lower().replace("-", " "), **MARIA)

    assert (owner.role, owner.is_superuser) == (User.Role.OWNER, True)
    assert SetUp.current().hashed_code == ""
    with pytest.raises(NotAllowedNow, match="Somebody can sign in already"):
        first_owner.add(code=code, **MARIA)


def test_only_a_hash_of_the_code_is_kept_and_each_start_makes_another():
    first = first_owner.make_code()
    second = first_owner.make_code()

    kept = SetUp.current().hashed_code
    assert re.fullmatch("[A-Z2-9]{4}-[A-Z2-9]{4}", second)
    assert second.replace("-", "") not in kept
    with pytest.raises(BadValue, match="This is not the code"):
        first_owner.add(code=first, **MARIA)


def test_after_five_wrong_codes_even_the_right_one_waits_a_minute():
    code = first_owner.make_code()
    for _wrong in range(4):
        with pytest.raises(BadValue):
            first_owner.add(code="AAAA-AAAA", **MARIA)

    with pytest.raises(TooManyTries, match="Try again in 1 min"):
        first_owner.add(code="AAAA-AAAA", **MARIA)
    with pytest.raises(TooManyTries):
        first_owner.add(code=code, **MARIA)
    with time_machine.travel(timezone.now() + timedelta(seconds=61)):
        assert first_owner.add(code=code, **MARIA).username == "maria"


def test_no_code_is_made_where_somebody_can_sign_in():
    builders.person("office")

    with pytest.raises(NotAllowedNow):
        first_owner.make_code()


def test_a_code_that_is_empty_opens_nothing():
    with pytest.raises(BadValue):
        first_owner.add(code="", **MARIA)


@pytest.mark.parametrize("address", ["/", "/money/", "/account/sign-in/", "/admin/"])
def test_every_page_leads_to_the_set_up_while_there_is_nobody(client, address):
    assert client.get(address)["Location"] == "/set-up/"


def test_what_programs_ask_for_answers_while_there_is_nobody(client):
    assert client.get("/api/v1/lots/").status_code == 401
    assert client.get("/stand/app.webmanifest").status_code == 200
    assert client.get("/j/no-such-code/").status_code == 404


def test_what_is_wrong_is_told_and_what_was_typed_stays(client):
    first_owner.make_code()

    page = client.post(
        "/set-up/",
        {
            "code": "WRNG-CODE",
            "name": "Maria Olmo",
            "username": "maria",
            "password": walking.PASSWORD,
            "password_again": walking.PASSWORD,
        },
    )

    assert page.status_code == 422
    assert "This is not the code." in page.text
    assert 'value="Maria Olmo"' in page.text
    assert not User.objects.exists()


def test_the_page_of_the_code_leads_on_once_there_is_a_person(client):
    builders.person("office")

    asked = client.get("/set-up/")
    client.force_login(User.objects.get())
    refused = client.get("/set-up/")
    client.force_login(builders.person("owner"))
    led_on = client.get("/set-up/")

    assert asked["Location"] == "/account/sign-in/?next=/set-up/"
    assert refused.status_code == 403
    assert led_on["Location"] == "/set-up/house/"


@pytest.mark.parametrize("role", ["bottling", "stand", "office"])
def test_only_an_owner_sets_the_house_up(client, role):
    client.force_login(builders.person(role))

    assert client.get("/set-up/tanks/").status_code == 403
    assert client.post("/set-up/house/", {"name": "Mine"}).status_code == 403
    assert client.get("/set-up/made/").status_code == 403


@pytest.fixture
def started(monkeypatch):
    """Return what `serve` says at its start, without serving."""

    class Listener:
        def __enter__(self):
            return self

        def __exit__(self, *_):
            return None

        def getsockname(self):
            return ("127.0.0.1", 8000)

    monkeypatch.setattr(serve, "prepare", lambda address, say: Listener())
    monkeypatch.setattr(serve, "run", lambda listener: None)

    def start() -> str:
        said = StringIO()
        call_command("serve", stdout=said)
        return said.getvalue()

    return start


def test_serve_tells_the_address_and_a_code_while_there_is_nobody(started):
    said = started()

    assert "Open http://127.0.0.1:8000/set-up/ and type this code: " in said
    code = re.search("[A-Z2-9]{4}-[A-Z2-9]{4}", said)[0]
    assert first_owner.add(code=code, **MARIA)


def test_serve_tells_no_code_and_ends_an_old_one_once_there_is_an_owner(started):
    first_owner.make_code()
    call_command("createsuperuser", "--noinput", "--username", "robin", "--email", "")

    said = started()

    assert "code" not in said
    assert SetUp.current().hashed_code == ""


def test_behind_a_proxy_serve_tells_the_name_that_people_type(started, settings):
    settings.HTTPS, settings.ALLOWED_HOSTS = True, ["honey.example"]

    assert "Open https://honey.example/set-up/ and" in started()
