"""Note on which device, and when, somebody who is signed in was last here."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from apiary_sales.accounts import rules
from apiary_sales.accounts.models import HouseSession
from apiary_sales.accounts.services import sessions
from apiary_sales.accounts.session_store import Device


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
