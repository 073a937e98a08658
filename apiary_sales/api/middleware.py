"""What holds for every request to the API: each refusal is a problem, whoever refuses."""

import json
import sys
from collections.abc import Callable
from typing import Any

from django.core.signals import got_request_exception
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse, HttpResponsePermanentRedirect
from django.urls import is_valid_path
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.api.problem_contents import CONTENT_TYPE, problem_content
from inventory.shared.database_faults import SECONDS_UNTIL_BACK, is_disk_full, is_unreachable
from inventory.shared.errors import TooBusy

API = "/api/"
READS = ("GET", "HEAD", "OPTIONS")

# What is said of a refusal by its status, where it was not the API itself that refused.
SAID: dict[int, tuple[str, str | Promise]] = {
    400: ("bad_request", gettext_lazy("This request can't be read.")),
    401: ("not_authenticated", gettext_lazy("Sign in, or send a token.")),
    403: ("permission_denied", gettext_lazy("You are not allowed to do this.")),
    404: ("not_found", gettext_lazy("There is nothing at this address.")),
    405: ("method_not_allowed", gettext_lazy("This address does not take this method.")),
    413: ("too_long", gettext_lazy("This is too much to send at once.")),
    415: ("unsupported_media_type", gettext_lazy("Send JSON in UTF-8.")),
    429: ("throttled", gettext_lazy("You asked too often. Wait, and ask again.")),
    500: (
        "server_error",
        gettext_lazy(
            "Something went wrong here, and was noted. Send the request again later, with the same "
            "Idempotency-Key: what was recorded is not recorded twice."
        ),
    ),
    503: (
        "unavailable",
        gettext_lazy(
            "The database can't be reached. Send the request again, with the same "
            "Idempotency-Key: what was recorded is not recorded twice."
        ),
    ),
    507: (
        "disk_full",
        gettext_lazy(
            "Nothing was recorded: the disk of the service is full. Tell the owner, and send the "
            "request again, with the same Idempotency-Key, once there is room."
        ),
    ),
}
OTHERWISE = ("error", gettext_lazy("This request was refused."))


@receiver(got_request_exception, dispatch_uid="api-fault")
def note_fault(request: HttpRequest | None = None, **kwargs: Any) -> None:
    """Remember what went wrong: of that, the answer says only what the disk or database lacks."""
    if request is not None:
        request.fault = sys.exc_info()[1]  # type: ignore[attr-defined]


class ApiProblemsMiddleware:
    """Answer each refusal under /api/ as problem details, also those of Django and the server.

    A redirect would lose the body of an act, so an act that was sent to the wrong address is told
    the right one.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if not request.path_info.startswith(API):
            return response
        if response.status_code in (301, 302) and request.method not in READS:
            return moved(response.headers["Location"], HttpResponse())
        if response.status_code < 400 or response.headers.get("Content-Type") == CONTENT_TYPE:
            return response
        fault = getattr(request, "fault", None)
        if isinstance(fault, TooBusy):
            status, detail = response.status_code, fault.message
            return _filled(response, problem_content(status=status, code=fault.code, detail=detail))
        if is_disk_full(fault):
            return as_problem(response, 507)
        if is_unreachable(fault):
            response.headers["Retry-After"] = str(SECONDS_UNTIL_BACK)
            return as_problem(response, 503)
        return as_problem(response, response.status_code)


class ApiRequestMiddleware:
    """Refuse what no view of the API reads: an address without its slash, text that is no UTF-8."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        path = request.path_info
        if not path.startswith(API):
            return self.get_response(request)
        charset = (request.content_params or {}).get("charset", "utf-8")
        if charset.lower() not in ("utf-8", "utf8"):
            return as_problem(HttpResponse(), 415)
        if not path.endswith("/") and not is_valid_path(path) and is_valid_path(f"{path}/"):
            address = request.get_full_path(force_append_slash=True)
            if request.method in READS:
                return HttpResponsePermanentRedirect(address, preserve_request=True)
            return moved(address, HttpResponse())
        return self.get_response(request)


def moved(address: str, response: HttpResponse) -> HttpResponse:
    """Turn an answer into the problem that an act was sent to the wrong address."""
    detail = _("Nothing was done: this address is %(address)s. Send it there.")
    return _filled(
        response,
        problem_content(
            status=404, code="moved", detail=detail % {"address": address}, address=address
        ),
    )


def as_problem(response: HttpResponse, status: int) -> HttpResponse:
    """Turn an answer into a problem of this status; its headers stay, such as Allow."""
    code, detail = SAID.get(status, OTHERWISE)
    return _filled(response, problem_content(status=status, code=code, detail=str(detail)))


def _filled(response: HttpResponse, content: dict[str, Any]) -> HttpResponse:
    response.status_code = content["status"]
    response.content = json.dumps(content, ensure_ascii=False).encode()
    response.headers["Content-Type"] = CONTENT_TYPE
    for name in ("Content-Length", "Content-Encoding", "Content-Disposition"):
        response.headers.pop(name, None)
    return response
