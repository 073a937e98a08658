"""A line of the log for each request: who asked for what, from where, and how long it took.

Neither what a form or a query string says is written, nor an address that opens something for
whoever knows it: of a receipt and of a link for a new password, the pattern is written instead.
"""

import logging
import time
import uuid
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.functional import LazyObject

from apiary_sales.keeping import log_files
from inventory.shared.public_pages import RECEIPTS

logger = logging.getLogger(log_files.REQUESTS)

# Whoever watches the service asks every few seconds, and a page brings a dozen files along.
QUIET = ("/health/", "/static/")
HEADER = "X-Request-ID"
PATH_MAX = 300


class RequestLogMiddleware:
    """Number each request, and write a line when it is answered."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        token = log_files.request_id.set(uuid.uuid4().hex[:12])
        began = time.perf_counter()
        try:
            response = self.get_response(request)
            response.headers[HEADER] = log_files.request_id.get()
            self._note(request, response.status_code, time.perf_counter() - began)
            return response
        finally:
            log_files.request_id.reset(token)

    def _note(self, request: HttpRequest, status: int, seconds: float) -> None:
        path = shown_path(request)
        level = logging.DEBUG if status < 400 and path.startswith(QUIET) else logging.INFO
        if not logger.isEnabledFor(level):
            return
        facts = {
            "person": person(request),
            # `manage.py serve` has put the visitor's address here, where TRUSTED_PROXY asked.
            "address": request.META.get("REMOTE_ADDR", ""),
            "method": request.method,
            "path": path,
            "status": status,
            "ms": round(seconds * 1000, 1),
        }
        logger.log(level, "request", extra={"facts": facts})


def shown_path(request: HttpRequest) -> str:
    """Return the path without its query, and without what opens something for whoever knows it."""
    match = request.resolver_match
    if match is not None and ("token" in match.kwargs or request.path_info.startswith(RECEIPTS)):
        return f"/{match.route}"
    if request.path_info.startswith(RECEIPTS):
        return f"{RECEIPTS}…"
    return request.path_info[:PATH_MAX]


def person(request: HttpRequest) -> str:
    """Return the name of who is signed in, as far as the answer needed it; it asks for nothing."""
    user: Any = request.__dict__.get("user")
    if isinstance(user, LazyObject):
        user = request.__dict__.get("_cached_user")
    return getattr(user, "username", "")
