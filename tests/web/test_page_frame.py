import re

import pytest
from django.contrib import messages
from django.contrib.auth.models import AnonymousUser
from django.contrib.messages.storage.base import Message
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.template.loader import render_to_string
from django.urls import resolve, reverse

from apiary_sales.web import doors, set_up, tasks, views
from tests import builders

pytestmark = pytest.mark.django_db

DOORS = {
    "owner": ["Today", "Honey", "Bottling", "Selling", "Money"],
    "bottling": ["Today", "Honey", "Bottling", "Selling"],
    "stand": ["Today", "Honey", "Stand"],
    "office": ["Today", "Honey", "Bottling", "Selling", "Money"],
}


def doors_of(html: str) -> list[str]:
    nav = re.search(r'<nav class="doors".*?</nav>', html, re.DOTALL).group(0)
    return re.findall(r"<span>(.*?)</span>", nav)


@pytest.mark.parametrize("role", DOORS)
def test_each_role_has_the_doors_of_its_work(client, role):
    client.force_login(builders.person(role))

    page = client.get("/")

    assert page.status_code == 200
    assert doors_of(page.text) == DOORS[role]


@pytest.mark.parametrize("role", DOORS)
@pytest.mark.parametrize(
    "name", ["web:today", "web:help", "web:what_is_new", "web:settings", "accounts:account"]
)
def test_the_shared_pages_render_for_every_role(client, role, name):
    client.force_login(builders.person(role))

    page = client.get(reverse(name))

    assert page.status_code == 200
    assert page.text.count("<h1>") == 1
    assert '<a class="skip" href="#main">' in page.text
    assert 'aria-current="page"' in page.text


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("/", "today"),
        ("/honey/tanks/3/", "honey"),
        ("/bottling/", "bottling"),
        ("/stand/", "selling"),
        ("/customers/3/", "selling"),
        ("/reports/", "money"),
        ("/help/", ""),
        ("/honeycomb/", ""),
    ],
)
def test_an_address_is_behind_its_door(path, name):
    assert doors.behind(path) == name


def test_a_person_who_is_not_signed_in_sees_no_doors(client):
    builders.person("owner")

    page = client.get("/account/sign-in/")

    assert page.status_code == 200
    assert 'class="doors"' not in page.text


def test_today_offers_only_what_the_role_may_do():
    stand = tasks.of(builders.person("stand"))
    office = tasks.of(builders.person("office"))

    assert [str(task.label) for task in stand] == ["Stand sale", "Market day"]
    assert "Stand sale" in [str(task.label) for task in office]


def test_every_task_and_setting_leads_to_a_page():
    for link in (*tasks.TASKS, *set_up.PAGES):
        assert resolve(link.url)


def test_settings_show_each_role_what_it_may_set_up():
    owner = [str(page.label) for page in set_up.open_to(builders.person("owner"))]
    stand = [str(page.label) for page in set_up.open_to(builders.person("stand"))]

    assert {"People", "Back office"} <= set(owner)
    assert stand == []


def test_settings_say_so_when_there_is_nothing_to_set_up(client):
    client.force_login(builders.person("stand"))

    assert "There are no settings for you here." in client.get("/settings/").text


def test_a_refusal_names_the_role_and_whom_to_ask(client):
    builders.person("owner")
    client.force_login(builders.person("stand"))

    page = client.get(reverse("accounts:people"))

    assert page.status_code == 403
    assert "You are signed in as Stand, role: Stand." in page.text
    assert "Ask one of these people to change that: Owner." in page.text


def test_a_refusal_works_before_anyone_is_signed_in(rf):
    request = rf.get("/")
    request.user = AnonymousUser()

    page = views.forbidden(request, PermissionDenied())

    assert page.status_code == 403
    assert "You are not signed in, and nothing was changed." in page.content.decode()


def test_a_missing_page_says_so_in_plain_words(client):
    client.force_login(builders.person("stand"))

    page = client.get("/nowhere/")

    assert page.status_code == 404
    assert "There is no such page" in page.text


def test_a_breakdown_has_a_page_that_needs_nothing():
    assert "Something went wrong here" in render_to_string("500.html")


def test_a_stale_form_is_explained(client):
    client.force_login(builders.person("owner"))
    strict = type(client)(enforce_csrf_checks=True)

    page = strict.post("/account/sign-in/", {"username": "x", "password": "x"})

    assert page.status_code == 403
    assert "Nothing was changed." in page.text


def test_a_message_with_an_undo_shows_the_way_back():
    notes = [
        Message(messages.SUCCESS, "Filled 96 jars.", extra_tags="/honey/postings/7/undo/"),
        Message(messages.WARNING, "<b>Low</b>"),
    ]

    html = render_to_string("_messages.html", {"messages": notes})

    assert '<a class="undo" href="/honey/postings/7/undo/">Undo</a>' in html
    assert html.count("Undo") == 1
    assert "&lt;b&gt;Low&lt;/b&gt;" in html


def test_pages_of_a_list_keep_the_filters(rf):
    request = rf.get("/x/?state=open&page=2")

    html = render_to_string(
        "_pagination.html", {"page": Paginator(range(30), 10).page(2)}, request=request
    )

    assert 'href="?state=open&amp;page=1"' in html
    assert 'href="?state=open&amp;page=3"' in html
    assert "Page 2 of 3" in html


def test_a_list_of_one_page_has_no_page_links(rf):
    page = Paginator(range(3), 10).page(1)

    assert "<nav" not in render_to_string("_pagination.html", {"page": page}, request=rf.get("/"))


def test_a_tank_is_drawn_to_its_level_and_says_it_in_words():
    html = render_to_string(
        "_tank.html", {"name": "Tank 1", "fraction": 0.62, "colour": "Light Amber"}
    )

    # The shell is 140 high: 0.62 × 140 = 86.8.
    assert 'height="86.80"' in html
    assert "honey-light-amber" in html
    assert 'aria-label="Tank 1: 62 % full"' in html


def test_a_drum_shows_its_colour_as_a_mark_and_an_empty_one_as_a_dash():
    full = render_to_string("_drum.html", {"number": "D-04", "colour": "Extra Light Amber"})
    empty = render_to_string("_drum.html", {"number": "D-05", "colour": ""})

    assert '<text x="30" y="36">ELA</text>' in full
    assert '<text x="30" y="36">–</text>' in empty


def test_jars_that_run_low_say_so_in_a_word():
    jars = [
        {"label": "One pound", "pieces": 3, "fraction": 0.1, "state": "low"},
        {"label": "Two pound", "pieces": 0, "fraction": 0, "state": "out"},
        {"label": "Quart", "pieces": 40, "fraction": 1, "state": ""},
    ]

    html = render_to_string("_jar_wall.html", {"jars": jars})

    assert re.findall(r'<span class="tag.*?">(.*?)</span>', html) == ["low", "all gone"]


@pytest.mark.parametrize("kind", ["infants", "drums", "hot", "scales", "labels", "tax", "ferment"])
def test_every_caution_has_its_words(kind):
    html = render_to_string("_caution.html", {"kind": kind})

    assert len(re.search(r"<p>(.*?)</p>", html, re.DOTALL).group(1)) > 30


def test_help_holds_every_caution(client):
    client.force_login(builders.person("stand"))

    page = client.get("/help/").text

    for words in (
        "infants under one year",
        "Never lift or tip one alone",
        "Warm honey burns",
        "legal for trade",
        "Your state or country sets what must be on a label",
        "Local law sets the tax rates and who is exempt",
        "makes a copy every day",
    ):
        assert words in page
