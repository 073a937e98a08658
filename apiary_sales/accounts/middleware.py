"""What holds for who is signed in: where they were seen, both steps, an own password, no store."""

import logging
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY, logout
from django.contrib.auth.middleware import AuthenticationMiddleware, get_user
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db import Error as DatabaseFault
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext as _

from apiary_sales.accounts import rules, signing_in
from apiary_sales.accounts.models import HouseSession, User
from apiary_sales.accounts.second_step_models import SecondStep, SecondStepRule
from apiary_sales.accounts.services import sessions, sign_ins
from apiary_sales.accounts.session_store import Device, store_of
from inventory.shared.errors import TooBusy

logger = logging.getLogger(__name__)

API = "/api/"
# What a person may do before the second step is set up.
OPEN = {"accounts:language", "accounts:password", "accounts:second_step", "accounts:sign_out"}


class SeenMiddleware:
    """Tell a session of which browser it is, and write every few minutes that it was used.

    It reads nothing of its own: what a page did not load of the session is not noted.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        longest = HouseSession._meta.get_field("browser").max_length
        browser = request.headers.get("User-Agent", "").replace("\x00", "")[:longest]
        store = store_of(request)
        store.device = Device(browser, request.META.get("REMOTE_ADDR", ""))
        response = self.get_response(request)
        if response.status_code < 500 and _is_to_be_noted(store.row):
            try:
                sessions.note_seen(session=store.row, device=store.device)
            except DatabaseFault as error:
                # What the page did is done, whether or not this can be written behind it.
                logger.warning("It was not noted that a session was used.", exc_info=error)
        return response


def _is_to_be_noted(row: HouseSession | None) -> bool:
    if row is None or row.person_id is None:
        return False
    return timezone.now() - row.last_seen_at >= rules.SEEN_AGAIN_AFTER


class PersonMiddleware(AuthenticationMiddleware):
    """Say who is signed in, with the person who was read together with the session."""

    def process_request(self, request: HttpRequest) -> None:
        super().process_request(request)
        # Read once a page asks for it; it stands for the person.
        request.user = SimpleLazyObject(lambda: _person_of(request))  # type: ignore[assignment]


def _person_of(request: HttpRequest) -> User | AnonymousUser:
    if not hasattr(request, "_cached_user") and (person := _person_of_session(request)):
        # By this name Django keeps who it read.
        request._cached_user = person  # type: ignore[attr-defined]
    return get_user(request)


def _person_of_session(request: HttpRequest) -> User | None:
    """Return the person of a session that is plainly theirs, by the password of today.

    None where it is not: then Django decides, which reads the person once more.
    """
    session = request.session
    key, mark = session.get(SESSION_KEY), session.get(HASH_SESSION_KEY, "")
    row = store_of(request).row
    person = row.person if row is not None else None
    is_theirs = (
        person is not None
        and person.is_active
        and key == str(person.pk)
        and session.get(BACKEND_SESSION_KEY) in settings.AUTHENTICATION_BACKENDS
        and constant_time_compare(mark, person.get_session_auth_hash())
    )
    return person if is_theirs else None


class PrivateAnswersMiddleware:
    """Let no browser or proxy store what somebody who is signed in, or a program, was answered.

    Public pages and static files have nobody who is signed in, and keep their own headers.
    """

    # Also refusals there may tell what is in the house.
    PRIVATE = ("/api/",)

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        # A page that did not ask who is there shows nothing of anybody.
        is_theirs = request.session.accessed and request.user.is_authenticated
        if is_theirs or request.path_info.startswith(self.PRIVATE):
            response.headers["Cache-Control"] = "private, no-store"
        return response


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
        return too_busy(request, error)


def too_busy(request: HttpRequest, error: TooBusy) -> HttpResponse:
    """Answer with a page that asks to wait, and say so to programs too."""
    answer = render(
        request,
        "accounts/too_busy.html",
        {"sentence": error.message},
        status=HTTPStatus.SERVICE_UNAVAILABLE,
    )
    answer.headers["Retry-After"] = str(error.wait_seconds)
    return answer


class SecondStepMiddleware:
    """Keep a session of the password alone from the house where its person needs a second step.

    Who has none sets it up first; who has one signs in again. It asks the database only for who
    signed in by the password alone. Programs with a token gave their code for the token.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], *_arguments: Any
    ) -> HttpResponse | None:
        is_of_api = request.path_info.startswith(API)
        is_of_the_house = is_of_api or getattr(view, "login_required", True)
        person = request.user
        if (
            not is_of_the_house
            or not isinstance(person, User)
            or signing_in.BOTH_STEPS in request.session
            or _name(request) in OPEN
            or not _rule(request).binds(person)
        ):
            return None
        if is_of_api:
            raise PermissionDenied(_("Set up the second step at sign-in first, on the pages."))
        if SecondStep.objects.filter(person=person).exists():
            logout(request)
            return redirect("accounts:sign_in")
        return redirect("accounts:second_step")


def _rule(request: HttpRequest) -> SecondStepRule:
    """Return the rule about the second step, as it was read with the session where that was."""
    row = store_of(request).row
    if not hasattr(row, "second_step_for"):
        return SecondStepRule.current()
    return SecondStepRule(required_for=row.second_step_for or SecondStepRule.For.NOBODY)


def _name(request: HttpRequest) -> str:
    return request.resolver_match.view_name if request.resolver_match else ""
