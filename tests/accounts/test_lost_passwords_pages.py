"""Who lost a password sets a new one by a link that works once, and nobody learns who is known."""

import re
from datetime import timedelta
from io import StringIO

import pytest
import time_machine
from django.core import mail
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from apiary_sales.accounts.models import ApiToken, HouseSession, User
from apiary_sales.accounts.services import lost_passwords, people, tokens
from inventory.shared.errors import TooManyTries
from tests import builders

pytestmark = pytest.mark.django_db

NEW = "beeswax-and-twine"
LOST = "/account/lost-password/"


@pytest.fixture
def maren(settings):
    """A person with an e-mail address, in a house whose e-mails leave it."""
    settings.EMAIL_FROM = "house@honey.example"
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    added = people.add(username="maren", name="Maren", role="office", password="old-beeswax")
    return people.set_email(person=added, email="maren@honey.example")


def link_in_the_email() -> str:
    [message] = mail.outbox
    [link] = re.findall(r"http://testserver(\S+)", message.body)
    return link


def ask_for_a_link(client, name: str):
    answer = client.post(LOST, {"name": name}, follow=True)
    for task in DBTaskResult.objects.all():
        lost_passwords.send_links.call(*task.args_kwargs["args"])
        task.delete()
    return answer


def set_by_link(client, link: str, password: str = NEW):
    page = client.get(link, follow=True)
    if not page.context["validlink"]:
        return page
    fields = {"new_password1": password, "new_password2": password}
    return client.post(page.request["PATH_INFO"], fields, follow=True)


@pytest.mark.parametrize("name", ["maren", "MAREN@honey.example"])
def test_a_link_comes_by_e_mail_and_sets_a_new_password(client, maren, name):
    ask_for_a_link(client, name)
    set_by_link(client, link_in_the_email())

    assert mail.outbox[0].to == ["maren@honey.example"]
    assert client.login(username="maren", password="old-beeswax") is False
    assert client.login(username="maren", password=NEW) is True


def test_a_link_works_once(client, maren):
    ask_for_a_link(client, "maren")
    link = link_in_the_email()
    set_by_link(client, link)

    again = set_by_link(client, link, "another-password-yet")

    assert "This link was used already, or its time is over." in again.content.decode()
    assert client.login(username="maren", password=NEW) is True


def test_a_link_works_for_four_hours(client, maren):
    link = lost_passwords.link_for(person=maren, site="")

    with time_machine.travel(timezone.localtime() + timedelta(hours=3, minutes=59)):
        assert client.get(link, follow=True).context["validlink"] is True
    client.cookies.clear()
    with time_machine.travel(timezone.localtime() + timedelta(hours=4, minutes=1)):
        assert client.get(link, follow=True).context["validlink"] is False


def test_the_answer_is_the_same_for_a_name_that_nobody_has(client, maren):
    known = ask_for_a_link(client, "maren").content
    sent = len(mail.outbox)
    unknown = ask_for_a_link(client, "nobody").content

    # Each page has another token against forged forms.
    without_tokens = [re.sub(rb"\w{64}", b"", page) for page in (known, unknown)]
    assert without_tokens[0] == without_tokens[1]
    assert b"If this name has an e-mail address, a link is on its way there." in known
    assert (sent, len(mail.outbox)) == (1, 1)


def test_nothing_in_the_queue_opens_an_account(client, maren):
    client.post(LOST, {"name": "maren"})

    [task] = DBTaskResult.objects.all()
    assert task.args_kwargs == {"args": [[maren.pk], "http://testserver", "en"], "kwargs": {}}


@pytest.mark.parametrize("name", ["maren", "nobody"])
def test_asking_too_often_has_to_wait_whatever_the_name(maren, name):
    for number in range(5):
        lost_passwords.ask(name=name, site="https://a.example", address=f"192.0.2.{number}")

    with pytest.raises(TooManyTries) as refused:
        lost_passwords.ask(name=name.upper(), site="https://a.example", address="192.0.2.9")

    assert refused.value.message == "This was asked for too often. Try again in 60 seconds."


def test_one_address_can_not_try_many_names(maren):
    for number in range(5):
        lost_passwords.ask(name=f"name-{number}", site="https://a.example", address="192.0.2.1")

    with pytest.raises(TooManyTries):
        lost_passwords.ask(name="maren", site="https://a.example", address="192.0.2.1")


def test_the_owner_gets_a_link_to_give_to_a_person(client, maren):
    client.force_login(builders.person("owner"))

    page = client.post(reverse("accounts:password_link", args=[maren.pk]))
    link = re.search(r">http://testserver(/account/new-password/[^<\s]+)<", page.content.decode())
    client.logout()
    set_by_link(client, link[1])

    assert "no-store" in page.headers["Cache-Control"]
    assert client.login(username="maren", password=NEW) is True


def test_the_owner_may_have_the_link_sent(client, maren):
    client.force_login(builders.person("owner"))

    client.post(reverse("accounts:password_link", args=[maren.pk]), {"send": "1"})

    [task] = DBTaskResult.objects.all()
    assert task.args_kwargs["args"][0] == [maren.pk]


def test_who_is_switched_off_gets_no_link(client, maren):
    builders.person("owner")
    people.switch_off(person=maren)

    ask_for_a_link(client, "maren")
    client.force_login(User.objects.get(username="owner"))
    page = client.post(reverse("accounts:password_link", args=[maren.pk]), follow=True)

    assert mail.outbox == []
    assert "Maren is switched off and can&#x27;t sign in." in page.content.decode()


def test_a_link_ends_with_being_switched_off_also_when_switched_on_again(client, maren):
    builders.person("owner")
    link = lost_passwords.link_for(person=maren, site="")
    people.switch_off(person=maren)
    off = client.get(link, follow=True).context["validlink"]

    person = people.switch_on(person=maren)
    set_by_link(client, link)

    assert off is False
    assert client.login(username="maren", password=NEW) is False
    set_by_link(client, lost_passwords.link_for(person=person, site=""))
    assert client.login(username="maren", password=NEW) is True


def test_where_no_e_mail_leaves_the_house_the_page_says_whom_to_ask(client, settings):
    builders.person("owner")
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"

    page = client.get(LOST).content.decode()

    assert "Ask the owner" in page
    assert "manage.py set_password NAME" in page
    assert "Send me a link" not in page


def test_ones_own_e_mail_address_takes_the_password(client, maren):
    client.force_login(maren)
    url = reverse("accounts:email")

    refused = client.post(url, {"email": "new@honey.example", "password": "wrong"})
    client.post(url, {"email": "new@honey.example", "password": "old-beeswax"})

    assert refused.context["form"].errors == {
        "password": ["This is not your current password. Type it again."]
    }
    maren.refresh_from_db()
    assert maren.email == "new@honey.example"


def test_the_command_sets_a_password(client, maren, monkeypatch):
    said = StringIO()
    monkeypatch.setattr("sys.stdin", StringIO(f"{NEW}\n"))

    call_command("set_password", "maren", "--stdin", stdout=said)

    assert said.getvalue() == "Maren has a new password and is signed out everywhere.\n"
    assert client.login(username="maren", password=NEW) is True


def test_the_command_refuses_a_weak_password_and_names_who_there_is(maren, monkeypatch):
    monkeypatch.setattr("sys.stdin", StringIO("12345\n"))

    with pytest.raises(CommandError):
        call_command("set_password", "maren", "--stdin")
    with pytest.raises(CommandError) as unknown:
        call_command("set_password", "mara")

    assert str(unknown.value) == "Nobody signs in as 'mara'. There are: maren"
    assert User.objects.get(username="maren").check_password("old-beeswax") is True


def test_the_command_of_django_ends_all_access_too(client, maren, monkeypatch):
    client.force_login(maren)
    tokens.make(person=maren, name="Scale", scopes="read", days=30)
    monkeypatch.setattr("getpass.getpass", lambda prompt: NEW)
    said = StringIO()

    call_command("changepassword", "maren", stdout=said)

    assert "They are signed out everywhere" in said.getvalue()
    assert not ApiToken.objects.exists()
    assert not HouseSession.objects.filter(person=maren).exists()
    assert client.login(username="maren", password=NEW) is True


def test_the_command_of_django_ends_nothing_where_the_password_is_refused(maren, monkeypatch):
    tokens.make(person=maren, name="Scale", scopes="read", days=30)
    monkeypatch.setattr("getpass.getpass", lambda prompt: "12345")

    with pytest.raises(CommandError):
        call_command("changepassword", "maren", stdout=StringIO(), stderr=StringIO())

    assert ApiToken.objects.filter(user=maren).exists()
    assert User.objects.get(username="maren").check_password("old-beeswax") is True
