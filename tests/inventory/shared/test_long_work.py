"""Long work: how far it is, stopping it, and what came of it."""

from datetime import timedelta

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.shared.models import LongWork
from inventory.shared.services import long_work
from tests import builders


@pytest.fixture
def work(owner):
    return long_work.begin(kind="report", title="Sales of all years", started_by=owner)


def test_work_that_ends_tells_its_result(work):
    with long_work.progress(work.pk) as progress:
        progress.advance(1, total=2)
        progress.advance(2, total=2)
        progress.result_url = "/reports/"

    work.refresh_from_db()
    assert (work.state, work.done, work.total) == ("done", 2, 2)
    assert work.result_url == "/reports/"


def test_work_stops_at_its_next_step(work):
    steps = []

    with long_work.progress(work.pk) as progress:
        steps.append("first")
        long_work.ask_to_stop(work)
        progress.advance(2, total=2)
        steps.append("second")

    work.refresh_from_db()
    assert (work.state, steps) == ("stopped", ["first"])
    with pytest.raises(NotAllowedNow):
        long_work.ask_to_stop(work)


def test_work_stopped_before_it_began_is_not_done(work):
    long_work.ask_to_stop(work)
    steps = []

    with long_work.progress(work.pk) as progress:
        progress.check_stop()
        steps.append("first")

    work.refresh_from_db()
    assert (work.state, steps) == ("stopped", [])


def test_what_the_house_refuses_is_said_and_a_fault_is_logged(work, owner, caplog):
    with long_work.progress(work.pk):
        raise BadValue("Choose a day.", parameter="day")

    work.refresh_from_db()
    assert (work.state, work.message) == ("failed", "Choose a day.")
    other = long_work.begin(kind="report", title="Stock", started_by=owner)
    with long_work.progress(other.pk):
        raise ZeroDivisionError

    other.refresh_from_db()
    assert (other.state, other.message) == ("failed", "It failed. The log says why.")
    assert "Long work failed: Stock" in caplog.text


def test_work_of_a_machine_that_stopped_is_given_up_after_a_while(work):
    LongWork.objects.update(state="working")

    assert long_work.end_lost() == 0
    with time_machine.travel(timezone.now() + timedelta(minutes=16)):
        assert long_work.end_lost() == 1

    work.refresh_from_db()
    assert work.state == "failed"


def test_its_page_says_that_it_was_lost(client, owner, work):
    LongWork.objects.update(state="working", heard_at=timezone.now() - timedelta(minutes=16))
    client.force_login(owner)

    page = client.get(reverse("inventory:long_work", args=[work.pk])).content.decode()

    assert "It was lost when the service stopped. Begin it again." in page


def test_only_who_began_it_and_the_owner_see_it(client, work):
    page = reverse("inventory:long_work", args=[work.pk])
    client.force_login(builders.person("office"))

    assert client.get(page).status_code == 404
    assert client.post(f"{page}stop/").status_code == 404


def test_its_page_asks_again_until_it_has_ended(client, owner, work):
    page = reverse("inventory:long_work", args=[work.pk])
    client.force_login(owner)

    assert 'hx-trigger="every 1s"' in client.get(page).content.decode()
    client.post(f"{page}stop/")
    ended = client.get(page).content.decode()

    assert "It was stopped before it began." in ended
    assert "every 1s" not in ended
