"""What holds for everybody who is signed in: where they were seen, an own password, a busy hour."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts import rules
from apiary_sales.accounts.models import HouseSession
from apiary_sales.accounts.services import sessions, sign_ins
from apiary_sales.accounts.session_store import Device
from inventory.shared.errors import TooBusy


class SeenMiddleware:
    """Tell a session of which browser it is, and write every few minutes that it was used.

    It reads nothing of its own: what a page did not load of the session is not noted.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        longest = HouseSession._meta.get_field("browser").max_length
        browser = request.headers.get("User-Agent", "").replace("\x00", "")[:longest]
        request.session.device = Device(browser, request.META.get("REMOTE_ADDR", ""))
        response = self.get_response(request)
        if response.status_code < 500 and _is_to_be_noted(request.session.row):
            sessions.note_seen(session=request.session.row, device=request.session.device)
        return response


def _is_to_be_noted(row: HouseSession | None) -> bool:
    if row is None or row.person_id is None:
        return False
    return timezone.now() - row.last_seen_at >= rules.SEEN_AGAIN_AFTER


class OwnPasswordMiddleware:
    """Lead a person whose password the owner has set to the page that changes it, and nowhere else.

    The API refuses such a person by itself, in its own shape.
    """

    # By the names of their addresses: where one may go all the same.
    OPEN = ("accounts:password", "accounts:sign_out", "accounts:language")

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], *_arguments: Any
    ) -> HttpResponse | None:
        match = request.resolver_match
        is_open = not getattr(view, "login_required", True) or (
            match is not None and match.view_name in self.OPEN
        )
        if is_open or not getattr(request.user, "must_change_password", False):
            return None
        messages.warning(request, sign_ins.why_choose())
        return HttpResponseRedirect(reverse("accounts:password"))


class TooBusyMiddleware:
    """Say that too many passwords are being checked, where a page has not said so itself."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, TooBusy):
            return None
        answer = render(
            request,
            "accounts/too_busy.html",
            {"sentence": error.message},
            status=HTTPStatus.SERVICE_UNAVAILABLE,
        )
        answer.headers["Retry-After"] = str(error.wait_seconds)
        return answer
