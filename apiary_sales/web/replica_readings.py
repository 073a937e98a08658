"""Which readings may be of the replica, where one is set, and for whom not yet.

Lists, reports, search, recall and the API's readings are; forms, Today, selling at the stand, and
who may sign in never are. Who has recorded something reads the primary until the replica has it:
the browser carries in a cookie how far the log of the primary was then, and with a key of the API
it is kept with the key.
"""

import logging
from collections.abc import Callable, Iterable
from typing import Any, cast

from django.conf import settings
from django.core.exceptions import MiddlewareNotUsed
from django.db import DatabaseError, InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase

from apiary_sales.accounts import queries as accounts
from apiary_sales.accounts.services import tokens
from inventory.shared import conventions, public_pages, replica

logger = logging.getLogger(__name__)

READS = ("GET", "HEAD")
COOKIE, COOKIE_SECONDS = f"{settings.COOKIE_PREFIX}recorded", 24 * 60 * 60
# In the cookie where the primary was lost before it could say how far its log is.
UNKNOWN = "unknown"
# Where in the log nobody is who has recorded something at a place that is not known.
NEVER = 2**63

# Pages, by the names of their addresses.
LISTS = ("_list", "_list_csv", "_list_pdf")
APPS = ("finding", "reports")
PAGES = {
    *("recall:home", "recall:answer", "recall:answer_csv", "recall:record", "recall:record_csv"),
    *("inventory:honey_flow", "inventory:honey_flow_entries", "inventory:honey_flow_csv"),
    *("inventory:cleaning_log", "inventory:cleaning_log_csv"),
    *("customers:list", "orders:customer_orders", "orders:lot_buyers", "orders:late_costings"),
    *("billing:drum_register", "billing:drum_register_csv", "billing:drum_history"),
    *("billing:cash_book", "billing:cash_book_csv", "billing:adjustments", "billing:owed_on"),
    *("billing:tax_documents", "billing:exempt_sales", "billing:exempt_sales_csv"),
    *("billing:supplier_balances", "billing:supplier_balances_csv", "billing:bill_list_csv"),
    *("billing:supplier_payments_csv", "billing:expense_months_csv", "billing:customer_account"),
}
# Lists of what is to be done now, and of who may do what.
NOT_LISTS = ("accounts", "keeping", "imports", "webhooks", "admin")

# What the API must say as it is now, by the names of its addresses.
API_NOW = {
    *("today", "me", "token", "tokens", "sessions", "sign-ins", "people", "person"),
    *("stand-catalogue", "stock-for-sale", "product-for-sale", "pickups", "pickup"),
    *("set-up", "imports", "import", "import-bad-rows", "work", "work-file"),
    *("system", "backups", "backup", "backup-file", "exports", "export", "export-file"),
}


def is_reading(request: HttpRequest) -> bool:
    """Tell whether a request reads only what may be some seconds old."""
    match = request.resolver_match
    if request.method not in READS or match is None or match.url_name is None:
        return False
    if match.app_name == "api":
        return match.url_name not in API_NOW
    if match.app_name in NOT_LISTS:
        return False
    is_list = match.url_name.endswith(LISTS)
    return is_list or match.app_name in APPS or match.view_name in PAGES


class ReplicaMiddleware:
    """Let readings be of the replica, and remember how far who records something has to wait.

    It is the last one, so that all others, the session among them, ask the primary.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        if replica.ALIAS not in settings.DATABASES:
            raise MiddlewareNotUsed
        self.get_response = get_response
        self.replica = replica.Replica()

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        try:
            response = self.get_response(request)
            if isinstance(response, StreamingHttpResponse) and replica.is_read():
                # All is answered by threads here: nothing is made asynchronously.
                content = cast(Iterable[Any], response.streaming_content)
                response.streaming_content = replica.streamed(content)
        finally:
            replica.end()
        if request.method not in (*READS, "OPTIONS"):
            _remember(request, response)
        return response

    def process_view(self, request: HttpRequest, *_arguments: Any) -> None:
        if not is_reading(request):
            return
        # Read before, since a session, and what the process keeps, are of the primary.
        request.user.is_authenticated  # noqa: B018
        conventions.current()
        if self.replica.is_in_time() and self.replica.has(_recorded_up_to(request)):
            replica.begin()

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Read anew from the primary what the replica could not answer."""
        if not replica.is_read() or not isinstance(error, DatabaseError | InterfaceError):
            return None
        replica.end()
        if isinstance(error, OperationalError | InterfaceError):
            self.replica.lose(error)
        else:
            logger.error("%s can't be read from the replica.", request.path_info, exc_info=error)
        view, arguments, named = request.resolver_match  # type: ignore[misc]
        response: HttpResponse = view(request, *arguments, **named)
        return response


def _recorded_up_to(request: HttpRequest) -> int:
    """Return how far the replica has to be for who asks."""
    if text := _key_of_a_program(request):
        return accounts.recorded_up_to(text) or 0
    # It only keeps who sends it from the replica, so it needs no signature.
    place = request.COOKIES.get(COOKIE, "0")
    return int(place) if place.isdecimal() and len(place) < len(str(NEVER)) else NEVER


def _remember(request: HttpRequest, response: HttpResponseBase) -> None:
    """Let who asked read from the primary until the replica has all that is recorded by now."""
    if request.path_info.startswith(public_pages.ADDRESSES):
        return
    text, place = _key_of_a_program(request), UNKNOWN
    try:
        place = str(replica.place_of_the_primary())
        if text:
            tokens.note_recorded(text=text, up_to=int(place))
    except (DatabaseError, InterfaceError) as error:
        # What was done is done, and its answer is given.
        logger.warning("It was not noted how far somebody recorded something.", exc_info=error)
    if not text:
        response.set_cookie(
            COOKIE,
            place,
            max_age=COOKIE_SECONDS,
            secure=settings.SESSION_COOKIE_SECURE,
            httponly=True,
            samesite="Lax",
        )


def _key_of_a_program(request: HttpRequest) -> str:
    return request.headers.get("Authorization", "").partition(" ")[2].strip()
