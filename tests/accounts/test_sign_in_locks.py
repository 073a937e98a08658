"""Wrong passwords lock a name and an address for a while, and every try is noted."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.contrib.auth import hashers
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts import locks
from apiary_sales.accounts.models import SignIn, User
from apiary_sales.accounts.services import sign_ins
from tests import builders

pytestmark = pytest.mark.django_db

HOME, ELSEWHERE = "203.0.113.7", "198.51.100.9"
FIREFOX = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"


def sign_in(client, username: str, password: str, address: str = HOME, **more):
    return client.post(
        "/account/sign-in/",
        {"username": username, "password": password},
        REMOTE_ADDR=address,
        **more,
    )


def wrong(client, username: str, times: int, address: str = HOME) -> list[int]:
    """Type so many wrong passwords; return how each was answered."""
    return [sign_in(client, username, f"x{time}", address).status_code for time in range(times)]


@pytest.fixture
def hashed(monkeypatch):
    """Return the list of what was hashed since."""
    made = []

    encode = hashers.MD5PasswordHasher.encode

    def noting(self, password, salt):
        made.append(password)
        return encode(self, password, salt)

    monkeypatch.setattr(hashers.MD5PasswordHasher, "encode", noting)
    return made


def test_the_fifth_wrong_password_locks_the_name_there_for_a_quarter_of_an_hour(client):
    builders.person("office")

    assert wrong(client, "office", 5) == [200, 200, 200, 200, 429]
    locked = sign_in(client, "office", "office")

    assert locked.status_code == 429
    assert "A wrong password was typed too often. Try again in 15 minutes." in locked.text
    assert 890 <= int(locked.headers["Retry-After"]) <= 900
    assert client.get("/").status_code == 302


def test_a_lock_ends_by_itself(client):
    builders.person("office")
    noon = datetime(2026, 8, 3, 12, tzinfo=UTC)
    with time_machine.travel(noon, tick=False):
        wrong(client, "office", 5)
    with time_machine.travel(noon + timedelta(minutes=14, seconds=59), tick=False):
        before = sign_in(client, "office", "office")
    with time_machine.travel(noon + timedelta(minutes=15), tick=False):
        after = sign_in(client, "office", "office")

    assert (before.status_code, before.headers["Retry-After"]) == (429, "1")
    assert after.status_code == 302


def test_others_sign_in_from_the_same_address_meanwhile(client):
    builders.person("office")
    builders.person("stand")
    wrong(client, "office", 8)

    assert sign_in(client, "stand", "stand").status_code == 302


def test_one_may_sign_in_from_elsewhere_meanwhile(client):
    builders.person("office")
    wrong(client, "office", 8)

    assert sign_in(client, "office", "office", ELSEWHERE).status_code == 302


def test_the_right_password_begins_the_count_again(client):
    builders.person("office")
    wrong(client, "office", 4)
    sign_in(client, "office", "office")
    client.post(reverse("accounts:sign_out"))

    assert wrong(client, "office", 4) == [200, 200, 200, 200]


def test_the_own_password_gives_no_further_tries_for_that_of_another(client):
    builders.person("owner")
    builders.person("stand")
    wrong(client, "owner", 4)
    sign_in(client, "stand", "stand")
    client.post(reverse("accounts:sign_out"))

    assert wrong(client, "owner", 1) == [429]


def test_who_tries_many_names_locks_the_address(client):
    builders.person("stand")
    answers = [wrong(client, f"name-{number}", 1)[0] for number in range(20)]

    assert answers == [200] * 19 + [429]
    assert sign_in(client, "stand", "stand").status_code == 429
    assert sign_in(client, "stand", "stand", ELSEWHERE).status_code == 302


def test_who_tries_one_name_from_many_addresses_locks_the_name(client):
    builders.person("owner")
    answers = [wrong(client, "owner", 1, f"192.0.2.{number}")[0] for number in range(20)]

    assert answers == [200] * 19 + [429]
    assert sign_in(client, "owner", "owner").status_code == 429


def test_a_browser_that_has_signed_in_is_let_in_while_the_name_is_tried_elsewhere(client):
    builders.person("owner")
    sign_in(client, "owner", "owner")
    client.post(reverse("accounts:sign_out"))
    guesser = type(client)()
    for number in range(21):
        wrong(guesser, "owner", 1, f"192.0.2.{number}")

    assert sign_in(guesser, "owner", "owner", ELSEWHERE).status_code == 429
    assert sign_in(client, "owner", "owner").status_code == 302


def test_the_addresses_of_one_ipv6_network_count_together(client):
    builders.person("owner")
    for number in range(5):
        wrong(client, "owner", 1, f"2001:db8:1:2::{number + 1}")

    assert sign_in(client, "owner", "owner", "2001:db8:1:2::ffff").status_code == 429
    assert sign_in(client, "owner", "owner", "2001:db8:1:3::1").status_code == 302


def test_an_unknown_name_is_answered_like_a_known_one(client):
    builders.person("office")

    known = [sign_in(client, "office", f"x{time}") for time in range(6)]
    unknown = [sign_in(client, "nobody", f"x{time}") for time in range(6)]

    def told(pages):
        return [(page.status_code, page.context["form"].non_field_errors()) for page in pages]

    assert told(known) == told(unknown)


def test_no_password_is_hashed_while_the_name_is_locked(client, hashed):
    builders.person("office")
    wrong(client, "office", 5)
    hashed.clear()

    wrong(client, "office", 3)

    assert hashed == []


def test_a_known_and_an_unknown_name_cost_one_hash_each(client, hashed):
    builders.person("office")
    hashed.clear()

    wrong(client, "office", 1)
    wrong(client, "nobody", 1)

    assert len(hashed) == 2


def test_no_forwarded_address_is_believed_here(client):
    """`manage.py serve` puts the visitor's address where it belongs, if the proxy is trusted."""
    builders.person("office")
    for number in range(5):
        sign_in(client, "office", "x", HTTP_X_FORWARDED_FOR=f"192.0.2.{number}")

    assert sign_in(client, "office", "office").status_code == 429


def test_nothing_that_was_typed_is_kept_with_the_counts(client):
    builders.person("office")
    sign_in(client, "my-secret-password", "another-secret")

    rows = [str(row) for row in locks.AccessAttempt.objects.values_list()]

    assert len(rows) == 1
    assert "secret" not in rows[0]


def test_sign_ins_are_noted_with_person_address_browser_and_what_came_of_it(client):
    office = builders.person("office")
    browser = {"HTTP_USER_AGENT": FIREFOX}
    wrong(client, "office", 1)
    sign_in(client, "office", "office", **browser)
    client.post(reverse("accounts:sign_out"), REMOTE_ADDR=HOME, **browser)

    rows = list(SignIn.objects.order_by("id").values_list("person", "address", "outcome"))

    assert rows == [
        (office.pk, HOME, "wrong_password"),
        (office.pk, HOME, "in"),
        (office.pk, HOME, "signed_out"),
    ]


def test_a_name_that_nobody_has_is_noted_by_a_mark_alone(client):
    builders.person("office")
    wrong(client, "my-secret-password", 2)

    first, second = SignIn.objects.all()

    assert first.person is None
    assert first.mark == second.mark
    assert len(first.mark) == 8
    assert "secret" not in str(SignIn.objects.values_list())


def test_tries_while_locked_are_one_row(client):
    builders.person("office")
    wrong(client, "office", 9)

    rows = list(SignIn.objects.order_by("id").values_list("outcome", "times"))

    assert rows == [("wrong_password", 1)] * 5 + [("locked", 4)]


def test_old_sign_ins_are_deleted_and_no_more_than_a_limit_is_kept(rf, monkeypatch):
    now, ask = timezone.now(), rf.get("/")
    made = [sign_ins.record(ask, None, SignIn.Outcome.IN) for _time in range(4)]
    SignIn.objects.filter(pk=made[0].pk).update(at=now - timedelta(days=180, seconds=1))
    SignIn.objects.filter(pk=made[1].pk).update(at=now - timedelta(days=179))
    monkeypatch.setattr(sign_ins, "ROWS_KEPT", 2)

    assert sign_ins.prune(now=now) == 2
    assert set(SignIn.objects.values_list("pk", flat=True)) == {made[2].pk, made[3].pk}


def test_the_owner_sees_sign_ins_and_unlocks_a_name(client):
    builders.person("office")
    wrong(client, "office", 6)
    client.force_login(builders.person("owner"))

    page = client.get(reverse("accounts:sign_ins"))
    lock = page.context["locked"][0]
    done = client.post(
        reverse("accounts:unlock"), {"mark": lock.mark, "address": lock.address}, follow=True
    )

    assert (lock.who, lock.address, lock.wrong) == ("Office", HOME, 5)
    assert "It is unlocked: the next try counts as the first." in done.text
    assert done.context["locked"] == []
    assert sign_in(type(client)(), "office", "office").status_code == 302


def test_sign_ins_are_narrowed_to_a_person_an_outcome_and_days(client):
    builders.person("office")
    wrong(client, "office", 1)
    wrong(client, "nobody", 1)
    client.force_login(builders.person("owner"))

    def shown(**asked) -> list[tuple[str, str]]:
        page = client.get(reverse("accounts:sign_ins"), asked)
        return [(row.who, row.outcome) for row in page.context["rows"]]

    assert shown(person="office") == [("Office", "wrong password")]
    assert [outcome for _who, outcome in shown(outcome="wrong_password")] == ["wrong password"] * 2
    assert shown(first="2100-01-01") == []


def test_only_the_owner_sees_sign_ins(client):
    client.force_login(builders.person("office"))

    assert client.get(reverse("accounts:sign_ins")).status_code == 403
    assert client.post(reverse("accounts:unlock"), {"address": HOME}).status_code == 403


@pytest.mark.parametrize(("tries", "is_told"), [(14, False), (15, True)])
def test_the_first_page_tells_the_owner_of_many_wrong_passwords(client, tries, is_told):
    owner = builders.person("owner")
    for number in range(tries):
        wrong(client, f"name-{number}", 1)
    client.force_login(owner)

    page = client.get("/")

    assert (f"{tries} wrong passwords were typed since yesterday." in page.text) is is_told


def test_the_present_password_is_counted_wherever_it_is_asked_for(client):
    client.force_login(builders.person("stand"))
    pages = [
        (reverse("accounts:password"), {"old_password": "x"}),
        (reverse("accounts:email"), {"password": "x", "email": "suki@house.example"}),
        (reverse("accounts:pin"), {"password": "x", "pin": "4831", "pin_again": "4831"}),
    ]
    for address, fields in [*pages, *pages][:5]:
        client.post(address, fields)

    page = client.post(pages[1][0], pages[1][1] | {"password": "stand"})

    assert "A wrong password was typed too often. Try again in 15 minutes." in page.text
    assert User.objects.get(username="stand").email == ""


def test_the_back_office_sends_to_the_same_door(client):
    builders.person("owner")

    assert client.get("/admin/login/?next=/admin/").url == "/account/sign-in/?next=/admin/"
    assert (
        client.post("/admin/login/", {"username": "owner", "password": "owner"}).status_code == 302
    )
    assert client.get("/").status_code == 302

    client.force_login(builders.person("stand"))
    assert client.get("/admin/login/").status_code == 403


def ask_token(client, password: str):
    return client.post(
        "/api/v1/token/",
        {"username": "office", "password": password},
        content_type="application/json",
        REMOTE_ADDR=HOME,
    )


def test_a_program_that_asks_for_a_token_is_locked_with_a_problem(client):
    builders.person("office")

    answers = [ask_token(client, "x").status_code for _time in range(5)]
    locked = ask_token(client, "office")

    assert answers == [400, 400, 400, 400, 429]
    assert locked.status_code == 429
    assert locked.headers["Content-Type"] == "application/problem+json"
    assert locked.json()["code"] == "too_many_tries"
    assert 890 <= int(locked.headers["Retry-After"]) <= 900


def test_a_token_that_is_given_is_noted(client):
    office = builders.person("office")

    assert ask_token(client, "office").status_code == 200
    assert list(SignIn.objects.values_list("person", "outcome")) == [(office.pk, "token")]


def test_a_program_of_the_owner_reads_sign_ins_and_unlocks(client):
    builders.person("office")
    wrong(client, "office", 5)
    headers = {"HTTP_AUTHORIZATION": builders.authorization("owner")}

    rows = client.get("/api/v1/sign-ins/", **headers).json()["results"]
    answer = client.post(
        "/api/v1/sign-ins/unlock/",
        {"person": "office"},
        content_type="application/json",
        **headers,
    )

    assert (rows[0]["person"], rows[0]["outcome"]) == ("Office", "wrong_password")
    assert answer.json() == {"forgotten": 1}
    assert sign_in(client, "office", "office").status_code == 302
