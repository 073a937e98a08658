import sys
from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.views.defaults import page_not_found, server_error

from apiary_sales import __version__
from apiary_sales.accounts import queries as people_queries
from apiary_sales.accounts import roles
from apiary_sales.accounts.models import User
from apiary_sales.billing.queries import house_today, stand_today
from apiary_sales.billing.views import read_receipts
from apiary_sales.web import attention, layout, releases, set_up
from apiary_sales.web.first_hour import steps
from inventory.bottling.views import jar_pages
from inventory.shared.database_faults import SECONDS_UNTIL_BACK, is_disk_full, is_unreachable
from inventory.shared.public_pages import JARS, RECEIPTS
from inventory.stock import own_places
from inventory.stock.queries import cleaning


def today(request: HttpRequest) -> HttpResponse:
    """Show the house at a glance; who works at the stand sees the stand."""
    person = request.user
    context: dict[str, Any]
    if (
        isinstance(person, User)
        and person.has_perm(roles.SELL)
        and not own_places.has_every(person)
    ):
        context = {
            "today": stand_today.of(person),
            "cleaning": cleaning.to_do() if person.has_perm("inventory.record_cleaning") else None,
        }
        return render(request, "web/stand_today.html", context)
    assert isinstance(person, User)
    also = {**attention.questions(person), "were_jars_filled": steps.jars_filled_asked()}
    at_a_glance = house_today.today(person, also=also)
    arranged = layout.of(person)
    first_tasks, other_tasks = arranged.split(person)
    context = {
        "steps": steps.to_do(person, were_jars_filled=at_a_glance.answers["were_jars_filled"]),
        "attention": attention.of(request, at_a_glance),
        "layout": arranged,
        "first_tasks": first_tasks,
        "other_tasks": other_tasks,
        "today": at_a_glance,
    }
    return render(request, "web/today.html", context)


def what_is_new(request: HttpRequest) -> HttpResponse:
    return render(request, "web/what_is_new.html", {"releases": releases.RELEASES})


def settings_page(request: HttpRequest) -> HttpResponse:
    context = {"pages": set_up.open_to(request.user), "version": __version__}
    return render(request, "web/settings.html", context)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Say which role the person has, and whom to ask."""
    context = {"owner_names": people_queries.owner_names()}
    return render(request, "403.html", context, status=403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Say that there is no such page; below the public addresses, without a way to our own."""
    if request.path_info.startswith(JARS):
        return jar_pages.not_found(request)
    if request.path_info.startswith(RECEIPTS):
        return read_receipts.not_found(request)
    return page_not_found(request, exception)


def fault(request: HttpRequest) -> HttpResponse:
    """Say what went wrong: the disk, the database, or a mistake of ours.

    The pages are made without asking the database anything.
    """
    error = sys.exc_info()[1]
    if is_disk_full(error):
        return HttpResponse(render_to_string("507.html"), status=HTTPStatus.INSUFFICIENT_STORAGE)
    if is_unreachable(error):
        answer = HttpResponse(render_to_string("503.html"), status=HTTPStatus.SERVICE_UNAVAILABLE)
        answer.headers["Retry-After"] = str(SECONDS_UNTIL_BACK)
        return answer
    return server_error(request)
