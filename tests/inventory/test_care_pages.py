"""The pages and papers of the warming log and the cleaning log."""

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from inventory.stock import papers
from inventory.stock.models import Cleaning, CleaningTask, Place, Warming
from inventory.stock.services import cleaning, warmings
from tests import builders
from tests.inventory.pages import errors, said, signed_in, text

AUGUST = date(2026, 8, 1)
DAYS = {"since": "2026-08-01", "until": "2026-08-01"}


@pytest.fixture
def tank(owner):
    return builders.place("tank-1", name="Tank 1")


@pytest.fixture
def floor(owner):
    return cleaning.save_task(name="Floor", kind="room", schedule="days", every_days=7)


@pytest.fixture
def hot(tank, owner):
    """A lot that was warmed above the limit of the house."""
    lot = builders.lot_in(tank)
    warmings.record(
        place=tank,
        started_on=AUGUST,
        ended_on=AUGUST,
        hours=Decimal("6.5"),
        highest_celsius=Decimal(45),
        above_limit_confirmed=True,
        warmed_by="Bram",
        recorded_by=owner,
        key="hot",
    )
    return lot


def sent_warming(**fields) -> dict[str, str]:
    return {
        "key": "w",
        "place": "tank-1",
        "started_on": "2026-08-01",
        "ended_on": "2026-08-01",
        "hours": "6.5",
        "highest": "113",
        "highest_unit": "F",
        "warmed_by": "Bram",
        **fields,
    }


def words_of(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


# ------------------------------------------------------------------ warming


def test_a_warming_above_the_limit_is_asked_about_once_more_and_then_shown(tank):
    lot = builders.lot_in(tank)
    client, add = signed_in(), reverse("inventory:warming_add")
    assert "above_limit_confirmed" not in client.get(add).text

    refused = client.post(add, sent_warming())

    assert "113 °F (45 °C) is above the house's limit of 100 °F (38 °C)." in text(refused)
    assert list(errors(refused)) == ["above_limit_confirmed"]
    assert 'name="above_limit_confirmed"' in refused.text
    assert not Warming.objects.exists()
    done = client.post(add, sent_warming(above_limit_confirmed="on"), follow=True)
    assert f"Recorded for Tank 1: lot {lot.code}." in text(done)
    again = client.post(add, sent_warming(above_limit_confirmed="on"), follow=True)
    assert "This was recorded already." in text(again)
    assert Warming.objects.get().highest_celsius == 45
    log = text(client.get(reverse("inventory:warming_list"), DAYS))
    assert "113 °F (45 °C) above the limit limit 100 °F (38 °C), confirmed" in log
    assert lot.code in log


def test_the_vessel_of_an_address_is_chosen_and_an_empty_one_is_told(tank):
    client = signed_in()
    page = client.get(reverse("inventory:warming_add"), {"place": "tank-1"})
    assert page.context["form"]["place"].value() == "tank-1"

    answer = client.post(reverse("inventory:warming_add"), sent_warming(highest="", hours=""))

    assert said(answer) == [
        "Recorded for Tank 1. The books have no honey in it on these days, so no lot is named."
    ]
    made = Warming.objects.get()
    assert (made.highest_celsius, made.hours) == (None, None)
    assert "not measured" in text(client.get(reverse("inventory:warming_list"), DAYS))


def test_the_page_of_a_lot_and_of_its_jars_shows_the_warming(hot, owner):
    jars = builders.packed_lot(
        builders.size(), builders.place("shelf", Place.Kind.SHELF), parent=hot
    )
    client = signed_in()

    for lot in (hot, jars):
        page = text(client.get(reverse("inventory:lot_detail", args=[lot.code])))
        assert "Warmed above the house's limit 1 time." in page
        assert "113 °F (45 °C)" in page
        assert "6.5 hours" in page


def test_the_certificate_names_the_warmings(hot):
    html = render_to_string(papers.CERTIFICATE, papers.certificate_context(hot))

    assert "113 °F (45 °C) above the limit of 100 °F (38 °C), confirmed" in words_of(html)


def test_a_lot_that_was_not_warmed_says_nothing_of_it(tank):
    lot = builders.lot_in(tank)

    page = text(signed_in().get(reverse("inventory:lot_detail", args=[lot.code])))
    html = render_to_string(papers.CERTIFICATE, papers.certificate_context(lot))

    assert "Warmed" not in page
    assert "Warmed" not in words_of(html)


def test_a_removed_warming_stays_in_the_log_with_who_removed_it(hot):
    client = signed_in()
    remove = reverse("inventory:warming_remove", args=[Warming.objects.get().pk])
    assert "Tank 1, Aug 1, 2026" in text(client.get(remove))

    answer = client.post(remove, {"key": "r"})

    assert said(answer) == ["The warming is removed."]
    log = text(client.get(reverse("inventory:warming_list"), DAYS))
    assert re.search(r"removed on \w+ \d+, \d+ by Bottling", log)
    assert "Warmed" not in text(client.get(reverse("inventory:lot_detail", args=[hot.code])))


# ------------------------------------------------------------------ cleaning


def test_a_schedule_is_set_up_changed_and_refused_where_it_can_not_be(owner):
    client, add = signed_in(), reverse("inventory:cleaning_task_add")
    told = {"name": "Filler", "kind": "line", "schedule": "after_use", "is_active": "on"}

    refused = client.post(add, told)
    done = client.post(add, {**told, "used_for": "bottling"}, follow=True)

    assert list(errors(refused)) == ["used_for"]
    assert "Saved Filler." in text(done)
    made = CleaningTask.objects.get()
    edit = reverse("inventory:cleaning_task_edit", args=[made.pk])
    assert client.get(edit).context["form"]["used_for"].value() == "bottling"
    client.post(edit, {"name": "Filler", "kind": "line", "schedule": "days", "every_days": "14"})
    made.refresh_from_db()
    assert (made.schedule, made.every_days, made.is_active) == ("days", 14, False)
    assert "off the schedule" in text(client.get(reverse("inventory:cleaning")))


def test_what_is_due_is_on_today_until_it_is_marked_as_cleaned(floor):
    client = signed_in("stand")
    mark = reverse("inventory:cleaning_record", args=[floor.pk])
    assert mark in client.get(reverse("web:today")).text
    assert client.get(mark).context["form"]["cleaned_by"].value() == "Stand"

    today = timezone.localdate()
    sent = {"key": "c", "cleaned_on": today, "cleaned_by": "Suki", "cleaned_with": "hot water"}
    answer = client.post(mark, sent)
    repeat = client.post(mark, sent)

    assert answer.url == reverse("inventory:cleaning")
    assert said(repeat)[-1] == "This was recorded already."
    made = Cleaning.objects.get()
    assert (made.cleaned_by, made.cleaned_with, made.cleaned_on) == ("Suki", "hot water", today)
    assert mark not in client.get(reverse("web:today")).text
    assert "clean, next on" in text(client.get(reverse("inventory:cleaning")))


def test_a_cleaning_is_not_marked_without_who_and_with_what(floor):
    mark = reverse("inventory:cleaning_record", args=[floor.pk])

    refused = signed_in().post(mark, {"key": "c", "cleaned_on": "2026-08-01"})

    assert set(errors(refused)) == {"cleaned_by", "cleaned_with"}
    assert not Cleaning.objects.exists()


@pytest.fixture
def cleaned(floor, owner):
    return cleaning.record(
        task=floor,
        cleaned_on=AUGUST,
        cleaned_by="Suki",
        cleaned_with="hot water",
        recorded_by=owner,
        key="c",
    )


def test_a_removed_cleaning_stays_in_the_log_with_who_removed_it(cleaned):
    client = signed_in("stand")

    answer = client.post(reverse("inventory:cleaning_remove", args=[cleaned.pk]), {"key": "r"})

    assert said(answer) == ["The cleaning is removed."]
    log = text(client.get(reverse("inventory:cleaning_log"), DAYS))
    assert re.search(r"Floor room Aug 1, 2026 Suki hot water removed on .* by Stand", log)


# ------------------------------------------------------------------ for an inspector


@pytest.mark.parametrize("name", ["warming_list", "cleaning_log"])
def test_a_log_is_printed_and_saved_of_the_days_that_are_shown(hot, cleaned, name):
    client = signed_in()
    page = client.get(reverse(f"inventory:{name}"), DAYS)
    assert f"{reverse(f'inventory:{name}_pdf')}?since=2026-08-01&amp;until=2026-08-01" in page.text

    pdf = client.get(reverse(f"inventory:{name}_pdf"), DAYS)
    csv = client.get(reverse(f"inventory:{name}_csv"), DAYS)
    later = client.get(reverse(f"inventory:{name}_csv"), {"since": AUGUST + timedelta(days=1)})

    assert pdf.content[:5] == b"%PDF-"
    assert "2026-08-01.pdf" in pdf["Content-Disposition"]
    assert csv["Content-Type"] == "text/csv; charset=utf-8"
    assert csv.text.count("2026-08-01") >= 1
    assert len(csv.text.splitlines()) == len(later.text.splitlines()) + 1


@pytest.mark.parametrize(
    ("template", "name"),
    [
        ("documents/warming_log.html", "warming_list_pdf"),
        ("documents/cleaning_log.html", "cleaning_log_pdf"),
    ],
)
def test_the_paper_says_the_period_and_what_was_done_and_removed(
    hot, cleaned, owner, template, name
):
    warmings.remove(warming=Warming.objects.get(), removed_by=owner)
    cleaning.remove(cleaning=cleaned, removed_by=owner)

    answer = signed_in().get(reverse(f"inventory:{name}"), DAYS)

    assert template in [each.name for each in answer.templates]
    context = answer.context[-1] if isinstance(answer.context, list) else answer.context
    html = words_of(render_to_string(template, context.flatten()))
    assert "From Aug 1, 2026 To Aug 1, 2026" in html
    assert re.search(r"removed on \w+ \d+, \d+ by Owner", html)
    expected = "113 °F (45 °C)" if "warming" in template else "hot water"
    assert expected in html


@pytest.mark.parametrize("ending", ["", "_pdf", "_csv"])
@pytest.mark.parametrize("name", ["warming_list", "cleaning_log"])
def test_days_in_the_wrong_order_are_told(owner, name, ending):
    days = {"since": "2026-08-02", "until": "2026-08-01"}

    answer = signed_in().get(reverse(f"inventory:{name}{ending}"), days)

    assert errors(answer) == {"since": ["This day is after the last one. Choose an earlier day."]}


# ------------------------------------------------------------------ who may


@pytest.mark.parametrize(
    ("role", "name", "status"),
    [
        ("bottling", "warming_list", 200),
        ("office", "warming_add", 200),
        ("stand", "warming_list", 403),
        ("stand", "warming_add", 403),
        ("stand", "cleaning", 200),
        ("stand", "cleaning_log", 200),
        ("office", "cleaning", 200),
        ("office", "cleaning_task_add", 403),
        ("stand", "cleaning_task_add", 403),
        ("bottling", "cleaning_task_add", 200),
    ],
)
def test_each_role_opens_what_it_needs(owner, role, name, status):
    assert signed_in(role).get(reverse(f"inventory:{name}")).status_code == status
