"""A long search for the plan is kept for who asked, until the books or the figures are others."""

from urllib.parse import parse_qs, urlsplit

import pytest
from django.urls import reverse

from apiary_sales.planning import long_search
from apiary_sales.planning.asked import PlanForms
from inventory.shared.models import LongWork
from inventory.shared.services import long_work
from tests import builders
from tests.planning.test_page import bid, priced

pytestmark = pytest.mark.django_db


@pytest.fixture
def house(settings, tmp_path):
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    settings.FILES_DIR = tmp_path
    builders.lot_in(builders.place("tank-1", name="Holding tank"), 4536)
    priced(builders.product("One pound"), "stand", 950)
    bid()


@pytest.fixture
def work(house, client, owner, django_capture_on_commit_callbacks):
    client.force_login(owner)
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(reverse("planning:plan_search") + "?months=6")
    work = LongWork.objects.get()
    assert answer.url == reverse("inventory:long_work", args=[work.pk])
    return work


def programme(months="6"):
    return PlanForms.filled({"months": months}).question.programme


def test_the_answer_that_was_found_is_shown_for_the_same_figures(work, client):
    assert (work.state, work.started_by.role) == ("done", "owner")
    assert parse_qs(urlsplit(work.result_url).query) == {"months": ["6"], "kept": [str(work.pk)]}

    kept = long_search.read(work, programme())
    page = client.get(work.result_url)

    assert kept.is_proven
    assert list(kept.plan.faults()) == []
    assert page.context["found"].best.answer.plan == kept.plan
    assert "The books have changed since that search" not in page.text


def test_it_is_not_shown_once_the_books_are_others_nor_to_others(work, client):
    client.force_login(builders.person("office"))
    assert client.get(work.result_url).context["is_kept_outdated"]

    builders.lot_in(builders.place("tank-2"), 45_360)

    assert long_search.read(work, programme()) is None
    client.force_login(builders.person("owner"))
    assert "The books have changed since that search" in client.get(work.result_url).text


def test_a_search_that_was_stopped_keeps_no_answer(house, owner):
    work = long_work.begin(kind="plan", title="Bottling plan", started_by=owner)
    long_work.ask_to_stop(work)

    long_search.search.call(work.pk, {}, "en")

    work.refresh_from_db()
    assert (work.state, long_search.read(work, programme())) == ("stopped", None)
