"""The second step at sign-in: asked after the password, never gone around, and never a dead end."""

import re
from datetime import timedelta
from io import StringIO

import pytest
import time_machine
from auditlog.models import LogEntry
from django.conf import settings as house_settings
from django.contrib.auth.signals import user_login_failed
from django.core.management import CommandError, call_command
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts import locks, sign_in_codes
from apiary_sales.accounts.models import ApiToken, User
from apiary_sales.accounts.second_step_models import RecoveryCode, SecondStep, SecondStepRule
from apiary_sales.accounts.services import people, second_steps, sessions
from inventory.shared.errors import BadValue, NotAllowedNow, TooManyTries
from tests import builders
from tests.accounts.code_app import KEY, START, STEP, code_at, key_of

pytestmark = pytest.mark.django_db

SIGN_IN = "/account/sign-in/"
CODE = "/account/sign-in/code/"
SET_UP = "/account/second-step/"


@pytest.fixture(autouse=True)
def _fast_hashes(monkeypatch):
    """Hash recovery codes fast: how slow that is in a house is not what these tests are about."""
    monkeypatch.setattr(sign_in_codes, "HASH_COST", 2)


@pytest.fixture
def clock():
    """The time stands still; it moves by `clock.shift`."""
    with time_machine.travel(START, tick=False) as traveller:
        yield traveller


@pytest.fixture
def odile(clock):
    """An owner with an app, set up a step ago."""
    person = builders.person("owner")
    second_steps.set_up(person=person, key=KEY, code=code_at(START))
    clock.shift(STEP)
    return person


def now_code(key=KEY) -> str:
    return code_at(timezone.now(), key)


def give_password(client, person="owner", **more):
    return client.post(SIGN_IN, {"username": person, "password": person, **more})


def give_code(client, code, **more):
    return client.post(CODE, {"code": code, **more})


def is_in(client) -> bool:
    return client.get("/help/").status_code == 200


def wrong(code: str) -> str:
    return f"{(int(code) + 1) % 10**6:06}"


# ---- setting it up


def test_the_page_gives_the_key_and_takes_the_first_code(client, clock):
    client.force_login(builders.person("office"))
    page = client.get(SET_UP)
    written = re.search(r"<code>([A-Z2-7 ]+)</code>", page.text).group(1)
    key = key_of(written)

    shown = client.post(SET_UP, {"code": now_code(key), "password": "office"})

    codes = re.findall(r"<code>([A-Z0-9-]+)</code>", shown.text)
    assert len(key) == 20
    assert re.fullmatch(r"([A-Z2-7]{4} ){7}[A-Z2-7]{4}", written)
    assert 'src="data:image/svg+xml' in page.text
    assert len(set(codes)) == 10
    assert "no-store" in shown.headers["Cache-Control"]
    assert written not in client.get(SET_UP).text
    client.logout()
    clock.shift(STEP)
    assert give_password(client, "office").url == CODE
    assert give_code(client, now_code(key)).url == "/"
    assert is_in(client)


@pytest.mark.parametrize(
    ("typed", "password", "told"),
    [
        ("wrong", "office", "This is not the code that the app shows now."),
        ("right", "honey", "This is not your current password."),
    ],
)
def test_it_is_not_set_up_by_a_wrong_code_or_password(client, clock, typed, password, told):
    client.force_login(builders.person("office"))
    key = key_of(re.search(r"<code>([A-Z2-7 ]+)</code>", client.get(SET_UP).text).group(1))
    code = now_code(key) if typed == "right" else wrong(now_code(key))

    page = client.post(SET_UP, {"code": code, "password": password})

    assert page.status_code == 422
    assert told in page.text
    assert not SecondStep.objects.exists()


def test_neither_the_key_nor_a_recovery_code_is_in_the_database(clock):
    person = builders.person("owner")
    codes = second_steps.set_up(person=person, key=KEY, code=now_code())

    kept = str(list(SecondStep.objects.values()) + list(RecoveryCode.objects.values()))

    assert KEY.decode() not in kept
    assert KEY.hex() not in kept
    assert "GEZDGNBVGY3TQOJQ" not in kept
    assert not any(code in kept or code.replace("-", "") in kept for code in codes)


# ---- signing in


def test_the_password_alone_opens_nothing(client, odile):
    page = give_password(client, next="/honey/")

    assert page.url == f"{CODE}?next=%2Fhoney%2F"
    for address in ("/", "/help/", "/account/", "/settings/", "/admin/", SET_UP):
        assert client.get(address, follow=True).redirect_chain[-1][0].startswith(SIGN_IN)
    assert client.get("/api/v1/stock/").status_code in (401, 403)
    assert list(client.session.keys()) == ["password_given", "_session_expiry"]


def test_the_code_lets_in_and_leads_to_where_one_was_going(client, odile):
    give_password(client)

    page = give_code(client, f" {now_code()[:3]} {now_code()[3:]}", next="/honey/")

    assert page.url == "/honey/"
    assert is_in(client)


def test_the_code_never_leads_to_another_house(client, odile):
    give_password(client)

    assert give_code(client, now_code(), next="https://elsewhere.example/").url == "/"


def test_the_session_is_another_one_after_each_step(client, odile):
    client.get("/account/second-step/")
    keys = []
    give_password(client)
    keys.append(client.session.session_key)
    give_code(client, now_code())
    keys.append(client.session.session_key)

    assert len(set(keys)) == 2
    assert not client.session.exists(keys[0])


@pytest.mark.parametrize(("seconds", "gets_in"), [(299, True), (301, False)])
def test_the_code_is_asked_for_within_five_minutes(client, odile, clock, seconds, gets_in):
    give_password(client)
    clock.shift(timedelta(seconds=seconds))

    give_code(client, now_code())

    assert is_in(client) is gets_in


def test_a_code_works_once(client, odile):
    give_password(client)
    give_code(client, now_code())
    other = Client()
    give_password(other)

    page = give_code(other, now_code())

    assert page.status_code == 422
    assert "This code is wrong or was used before." in page.text
    assert not is_in(other)


def test_the_code_of_the_set_up_is_used_too(clock):
    person = builders.person("owner")
    second_steps.set_up(person=person, key=KEY, code=now_code())

    with pytest.raises(BadValue):
        second_steps.check(person=person, code=now_code())


def test_nobody_gets_in_with_the_code_of_another(client, odile):
    builders.person("office")
    second_steps.set_up(
        person=User.objects.get(username="office"), key=KEY[::-1], code=now_code(KEY[::-1])
    )
    give_password(client, "office")

    assert give_code(client, now_code()).status_code == 422
    assert not is_in(client)


def test_a_switched_off_person_gets_no_further(client, odile):
    builders.person("office")
    people.change_role(person=builders.person("office"), role="owner")
    give_password(client)
    people.switch_off(person=odile)

    assert give_code(client, now_code()).url == SIGN_IN
    assert not is_in(client)


def test_after_five_wrong_codes_even_the_right_one_waits_a_minute(client, odile, clock):
    give_password(client)
    for _try in range(5):
        page = give_code(client, wrong(now_code()))
    waiting = give_code(client, now_code())
    assert "The code was wrong too often. Try again in 60 seconds." in page.text
    assert waiting.status_code == 422
    assert not is_in(client)

    clock.shift(timedelta(seconds=61))

    give_code(client, now_code())
    assert is_in(client)


def test_recovery_codes_and_codes_of_the_app_are_counted_together(odile):
    for code in ("ABCD-EFGH-JKMN", wrong(now_code()), "short", wrong(now_code())):
        with pytest.raises(BadValue):
            second_steps.check(person=odile, code=code)

    with pytest.raises(TooManyTries):
        second_steps.check(person=odile, code="ABCD-EFGH-JKMN")


def test_whoever_counts_failed_sign_ins_is_told_of_a_wrong_code(client, odile):
    told = []

    def note(sender, credentials, request, **_more):
        told.append((credentials["username"], request.path))

    user_login_failed.connect(note)
    try:
        give_password(client)
        give_code(client, wrong(now_code()))
    finally:
        user_login_failed.disconnect(note)

    assert told == [("owner", CODE)]


# ---- recovery codes


def test_a_recovery_code_lets_in_once_however_it_is_typed(client, odile):
    codes = second_steps.renew_codes(person=odile, code=now_code())
    give_password(client)

    page = client.post(CODE, {"recovery_code": codes[3].lower().replace("-", " ")})

    assert page.url == "/"
    assert "9 of ten are left" in client.get(SET_UP).text
    with pytest.raises(BadValue):
        second_steps.check(person=odile, code=codes[3])


def test_new_recovery_codes_end_those_before(client, odile, clock):
    before = second_steps.renew_codes(person=odile, code=now_code())
    clock.shift(STEP)
    give_password(client)
    give_code(client, now_code())
    clock.shift(STEP)

    page = client.post("/account/second-step/codes/", {"code": now_code()})

    after = re.findall(r"<code>([A-Z0-9-]+)</code>", page.text)
    assert len(after) == 10
    with pytest.raises(BadValue):
        second_steps.check(person=odile, code=before[0])
    second_steps.check(person=odile, code=after[0])


def test_another_secret_key_ends_the_app_and_not_the_recovery_codes(odile, clock):
    codes = second_steps.renew_codes(person=odile, code=now_code())
    clock.shift(STEP)

    with override_settings(SECRET_KEY="another-secret-key-of-a-machine-that-came-after"):
        with pytest.raises(NotAllowedNow, match="another secret key"):
            second_steps.check(person=odile, code=now_code())
        second_steps.check(person=odile, code=codes[0])


# ---- remembered devices


def remembered(client, clock):
    give_password(client)
    give_code(client, now_code(), remember="on")
    client.post(reverse("accounts:sign_out"))
    clock.shift(STEP)
    return client


@pytest.mark.parametrize(("days", "asked"), [(29, False), (31, True)])
def test_a_remembered_device_is_not_asked_for_30_days(client, odile, clock, days, asked):
    remembered(client, clock)
    clock.shift(timedelta(days=days))

    give_password(client)

    assert is_in(client) is not asked


def test_the_cookie_of_a_device_is_out_of_reach_of_scripts(client, odile, clock):
    remembered(client, clock)

    cookie = client.cookies[f"{house_settings.SESSION_COOKIE_NAME}_remembered_{odile.pk}"]

    assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "Lax", "/account/")


def new_password(person):
    people.reset_password(person=person, password="owner")


def off_and_on(person):
    people.change_role(person=builders.person("office"), role="owner")
    people.switch_off(person=person)
    people.switch_on(person=person)


def forget(person):
    second_steps.forget_devices(person=person)


def signed_out_everywhere(person):
    sessions.sign_out_others(person=person, but=None)


def set_up_again(person):
    second_steps.remove(person=person, removed_by=None)
    second_steps.set_up(person=person, key=KEY, code=now_code())


@pytest.mark.parametrize(
    "end", [new_password, off_and_on, forget, signed_out_everywhere, set_up_again]
)
def test_a_device_is_forgotten(client, odile, clock, end):
    remembered(client, clock)

    end(odile)

    assert give_password(client).url == CODE
    assert not is_in(client)


def test_a_browser_in_which_the_code_was_given_is_known_to_the_locks(client, odile, clock):
    give_password(client)
    assert locks.COOKIE not in client.cookies

    give_code(client, now_code())

    assert client.cookies[locks.COOKIE].value


def test_a_device_is_remembered_for_its_person_alone(client, odile, clock):
    office = builders.person("office")
    second_steps.set_up(person=office, key=KEY[::-1], code=now_code(KEY[::-1]))
    remembered(client, clock)
    name = f"{house_settings.SESSION_COOKIE_NAME}_remembered_"
    client.cookies[f"{name}{office.pk}"] = client.cookies[f"{name}{odile.pk}"].value

    assert give_password(client, "office").url == CODE


# ---- changing it


def signed_in_twice(client, clock):
    give_password(client)
    give_code(client, now_code())
    clock.shift(STEP)
    return client


def test_it_is_switched_off_with_password_and_code(client, odile, clock):
    signed_in_twice(client, clock)
    off = "/account/second-step/off/"

    assert client.post(off, {"password": "honey", "code": now_code()}).status_code == 422
    assert client.post(off, {"password": "owner", "code": "000000"}).status_code == 422
    assert SecondStep.objects.exists()
    assert client.post(off, {"password": "owner", "code": now_code()}).url == "/account/"

    assert not RecoveryCode.objects.exists()
    other = Client()
    give_password(other)
    assert is_in(other)


def test_who_must_have_it_cannot_switch_it_off(client, odile, clock):
    second_steps.require(required_for="owners")
    signed_in_twice(client, clock)

    page = client.post("/account/second-step/off/", {"password": "owner", "code": now_code()})

    assert "The house requires a second step of your role" in page.text
    assert SecondStep.objects.exists()


def test_a_new_phone_takes_over_with_a_code_of_the_old_one(client, odile, clock):
    signed_in_twice(client, clock)
    address = "/account/second-step/new-phone/"
    new = key_of(re.search(r"<code>([A-Z2-7 ]+)</code>", client.get(address).text).group(1))
    sent = {"password": "owner", "code": now_code(new)}

    assert client.post(address, {**sent, "code_before": now_code(new)}).status_code == 422
    page = client.post(address, {**sent, "code_before": now_code()})

    assert len(re.findall(r"<code>([A-Z0-9-]+)</code>", page.text)) == 10
    clock.shift(STEP)
    with pytest.raises(BadValue):
        second_steps.check(person=odile, code=now_code())
    second_steps.check(person=odile, code=now_code(new))


# ---- who must have it


@pytest.mark.parametrize(
    ("rule", "bound"),
    [("nobody", []), ("owners", ["owner"]), ("owners_and_office", ["owner", "office"])],
)
def test_who_must_have_one_is_led_to_it_and_can_do_nothing_else(client, rule, bound):
    second_steps.require(required_for=rule)

    for role in User.Role.values:
        builders.person(role)
        client.logout()
        give_password(client, role)
        pages = [client.get(address) for address in ("/", "/help/", "/honey/", "/account/")]
        if role in bound:
            assert {page.url for page in pages} == {SET_UP}
            assert client.get("/api/v1/stock/").status_code == 403
            assert "set it up to go on" in client.get(SET_UP).text
            assert client.get("/account/password/").status_code == 200
        else:
            assert {page.status_code for page in pages} == {200}


def test_the_rest_opens_once_it_is_set_up(client, clock):
    second_steps.require(required_for="owners")
    builders.person("owner")
    give_password(client)
    key = key_of(re.search(r"<code>([A-Z2-7 ]+)</code>", client.get(SET_UP).text).group(1))

    client.post(SET_UP, {"code": now_code(key), "password": "owner"})

    assert is_in(client)


def test_a_session_of_the_password_alone_ends_where_both_steps_are_needed(client, clock):
    person = builders.person("owner")
    give_password(client)
    second_steps.set_up(person=person, key=KEY, code=now_code())
    assert is_in(client)

    second_steps.require(required_for="owners")

    assert client.get("/help/").url == SIGN_IN
    assert client.get("/help/").url == "/account/sign-in/?next=/help/"


def test_the_owner_says_who_must_have_it_and_the_trail_keeps_it(client):
    client.force_login(builders.person("owner"))

    client.post("/account/second-step/rule/", {"required_for": "owners_and_office"})

    assert SecondStepRule.current().required_for == "owners_and_office"
    client.post("/account/second-step/rule/", {"required_for": "everybody"})
    assert SecondStepRule.current().required_for == "owners_and_office"
    [entry] = LogEntry.objects.get_for_model(SecondStepRule)
    assert entry.actor.username == "owner"


def test_nobody_but_the_owner_says_so_or_removes_one(client, odile):
    client.force_login(builders.person("office"))

    assert client.post("/account/second-step/rule/", {"required_for": "nobody"}).status_code == 403
    removal = reverse("accounts:remove_second_step", args=[odile.pk])
    assert client.post(removal).status_code == 403
    assert SecondStep.objects.exists()


# ---- who lost it


def test_another_owner_removes_it_and_the_trail_keeps_who(client, odile):
    other = people.change_role(person=builders.person("office"), role="owner")
    client.force_login(other)

    client.post(reverse("accounts:remove_second_step", args=[odile.pk]))

    assert not SecondStep.objects.exists()
    assert not RecoveryCode.objects.exists()
    removal = LogEntry.objects.get_for_model(SecondStep).get(action=LogEntry.Action.DELETE)
    assert removal.actor == other
    assert "sealed_key" not in removal.changes
    shown = client.get("/account/changes/").text
    assert "Second step at sign-in" in shown


def test_an_owner_cannot_remove_ones_own_without_a_code(client, odile, clock):
    signed_in_twice(client, clock)

    page = client.post(reverse("accounts:remove_second_step", args=[odile.pk]), follow=True)

    assert "Switch your own second step off under Your account; it takes a code." in page.text
    assert SecondStep.objects.exists()


def test_a_command_on_the_server_removes_it(odile):
    out = StringIO()

    call_command("remove_second_step", "owner", stdout=out)

    assert "Owner signs in with the password alone now" in out.getvalue()
    assert not SecondStep.objects.exists()
    with pytest.raises(CommandError, match="Owner has no second step and no passkey"):
        call_command("remove_second_step", "owner")
    with pytest.raises(CommandError, match=r"Nobody signs in as 'odlie'\. There are: owner"):
        call_command("remove_second_step", "odlie")


# ---- no way around it


def test_the_back_office_has_no_sign_in_of_its_own(client, odile):
    answer = client.post("/admin/login/?next=/admin/", {"username": "owner", "password": "owner"})

    assert answer.url == "/account/sign-in/?next=/admin/"
    assert client.get("/admin/").status_code == 302
    give_password(client, next="/admin/")
    assert client.get("/admin/").status_code == 302
    give_code(client, now_code())
    assert client.get("/admin/").status_code == 200


def test_who_may_not_open_the_back_office_is_told_so(client):
    client.force_login(builders.person("office"))

    assert client.get("/admin/", follow=True).status_code == 403


def test_a_new_password_by_a_link_still_asks_for_the_code(client, odile):
    people.reset_password(person=odile, password="owner")

    assert give_password(client).url == CODE


def ask_for_token(client, **more):
    return client.post(
        "/api/v1/token/",
        {"username": "owner", "password": "owner", **more},
        content_type="application/json",
    )


def test_a_program_gives_a_code_for_its_token(client, odile):
    without = ask_for_token(client)
    wrongly = ask_for_token(client, otp=wrong(now_code()))
    assert [without.status_code, wrongly.status_code] == [400, 400]
    [told] = without.json()["errors"]
    assert told["field"] == "otp"
    assert "Give the code of the second step too" in told["detail"]
    assert not ApiToken.objects.exists()

    assert ask_for_token(client, otp=now_code()).status_code == 200
    assert ask_for_token(client, otp=now_code()).status_code != 200


def test_wrong_codes_of_programs_are_counted(client, odile):
    for _try in range(5):
        ask_for_token(client, otp=wrong(now_code()))

    assert ask_for_token(client, otp=now_code()).status_code != 200


def test_who_must_have_one_and_has_none_gets_no_token(client):
    builders.person("owner")
    second_steps.require(required_for="owners")

    assert "must set up the second step" in ask_for_token(client).json()["detail"]
    assert not ApiToken.objects.exists()


# ---- what ends with it


@pytest.mark.parametrize("end", [new_password, off_and_on, signed_out_everywhere])
def test_a_sign_in_that_stands_half_way_ends_with_what_ends_all_others(client, odile, clock, end):
    give_password(client)

    end(odile)
    answer = give_code(client, now_code())

    assert answer.url == reverse("accounts:sign_in")
    assert not is_in(client)


def test_sessions_of_the_password_alone_end_when_a_second_step_is_set_up(client, clock):
    owner = builders.person("owner")
    here, elsewhere = Client(), Client()
    here.force_login(owner)
    elsewhere.force_login(owner)
    page = here.get(reverse("accounts:second_step"))
    key = key_of(re.search(r"<code>([A-Z2-7 ]+)</code>", page.text).group(1))

    here.post(reverse("accounts:second_step"), {"code": now_code(key), "password": "owner"})

    assert is_in(here)
    assert not is_in(elsewhere)
