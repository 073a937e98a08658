"""What holds for every page: its address, how much it is sent, what it may load and use."""

import logging
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.sessions.exceptions import SessionInterrupted
from django.contrib.sessions.middleware import SessionMiddleware
from django.db import Error as DatabaseFault
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware
from django.urls import reverse
from django.utils.translation import gettext as _
from whitenoise.middleware import WhiteNoiseMiddleware

from apiary_sales.accounts.middleware import too_busy
from apiary_sales.accounts.models import User
from apiary_sales.web.lanes import IS_ONE_TOO_MANY
from inventory.shared import plain_text, public_pages, static_files
from inventory.shared.errors import TooBusy
from inventory.shared.people import person_of
from inventory.shared.queries import sent_forms
from inventory.shared.row_keys import KEY_MAX

logger = logging.getLogger(__name__)

# Everything comes from this server; no script or style is written into a page.
CONTENT_SECURITY_POLICY = "; ".join(
    [
        "default-src 'self'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "font-src 'self'",
        "worker-src 'self'",
        "manifest-src 'self'",
        "object-src 'none'",
        "base-uri 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    ]
)
PERMISSIONS_POLICY = "camera=(), geolocation=(), microphone=(), payment=(), usb=()"


class ContentSecurityPolicyMiddleware:
    """Say what an answer may load, use and be used by, unless the view has said so itself."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if settings.DEBUG and response.status_code in (404, 500):
            # Django's own error pages for developers carry their script and style in the page.
            return response
        response.headers.setdefault("Content-Security-Policy", CONTENT_SECURITY_POLICY)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS_POLICY)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response


class StaticFilesMiddleware(WhiteNoiseMiddleware):
    """Answer static files; those with a digest in their name compressed, and kept for a year."""

    FOREVER = 365 * 24 * 60 * 60

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        super().__init__(get_response)
        if folder := static_files.storage().folder:
            self.add_files(str(folder), prefix=self.static_prefix)


class CompressedPagesMiddleware(GZipMiddleware):
    """Compress pages for browsers that take it.

    Who can see only the length of a compressed page, and have text of his own put into it, could
    guess a secret in it letter by letter over many requests. The one secret that pages repeat, the
    token against forged requests, is masked anew in each; other codes and tokens are shown once;
    and a length is blurred by up to a hundred random bytes. Nothing but pages is compressed:
    answers of the API keep their strong ETag, which If-Match needs, and a page that is streamed is
    not held back.
    """

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        is_page = response.headers.get("Content-Type", "").startswith("text/html")
        if response.streaming or not is_page:
            return response
        return super().process_response(request, response)


class PublicPagesMiddleware:
    """Answer public pages alike to everybody: no cookie is read, none is set.

    So a page that was kept for one visitor may be given to the next one, and the house's own people
    see what strangers see.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.path_info.startswith(public_pages.ADDRESSES):
            return self.get_response(request)
        request.COOKIES = {}
        response = self.get_response(request)
        # Others look for the person who asks, find nobody, and say that the page depends on it.
        response.headers["Vary"] = "Accept-Language"
        response.cookies.clear()
        return response


class LongBodyMiddleware:
    """Refuse a long body without files before anything reads it.

    `manage.py serve` bounds every body, but by what a form with a file needs. The API reads JSON
    past the bound that Django has for forms.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or "0"
        has_files = request.content_type == "multipart/form-data"
        is_long = length.isdecimal() and int(length) >= settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        if is_long and not has_files:
            return HttpResponse(_("This is too much to send at once."), status=413)
        return self.get_response(request)


class HouseSessionMiddleware(SessionMiddleware):
    """Give the answer of an act also where its session can't be saved behind it.

    The session was ended meanwhile, or the database went away: the act is recorded all the same,
    and an error in place of its answer would make a person or a program do it again.
    """

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        try:
            return super().process_response(request, response)
        except (SessionInterrupted, DatabaseFault) as error:
            logger.warning("The session of an answered request was not saved.", exc_info=error)
            return response


class NullCharacterMiddleware:
    """Answer that there is no such page for an address with a null character in it.

    No page has such an address, and PostgreSQL raises an error for the character. Forms and the
    API refuse it in their input.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        asked = [request.path_info]
        for name, values in request.GET.lists():
            asked += [name, *values]
        if any("\x00" in text for text in asked):
            raise Http404
        return self.get_response(request)


class PlainTextMiddleware:
    """Hand on what a form sent without marks that nobody sees; see `plain_text`."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_arguments: Any) -> None:
        # Only here is it known that the form is from one of our pages and from who may send it. A
        # program is told of its own body what is wrong with it, and JSON is read elsewhere.
        is_form = request.method == "POST" and not request.path_info.startswith("/api/")
        if is_form and request.POST:
            # The stubs know no setter, which Django has.
            request.POST = plain_text.plain_form(request.POST)  # type: ignore[assignment]


class SentFormMiddleware:
    """Lead a form that comes again to where it led the first time, before anything is checked.

    The act may have used up what the form chose from, such as the last pieces of a lot or an
    invoice that is paid now: what was right the first time would be refused as wrong. Only who
    sent it, from the same page, is told that it is recorded. The API keeps its own answers.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_arguments: Any) -> HttpResponse | None:
        is_form = request.method == "POST" and not request.path_info.startswith("/api/")
        # What htmx asks for while a form is filled in is a part of a page, and records nothing.
        if not is_form or "HX-Request" in request.headers or "key" not in request.POST:
            return None
        if not request.user.is_authenticated:
            return None
        kept = sent_forms.find(
            person=person_of(request), key=request.POST["key"], address=request.path_info
        )
        if kept is None:
            return None
        messages.info(request, _("This was recorded already."))
        return HttpResponseRedirect(kept.next_url)


class HugeKeyMiddleware:
    """Answer that there is no such page for an address with a key larger than any row has.

    SQLite raises an error for so large a number.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self,
        request: HttpRequest,
        view: Callable[..., HttpResponse],
        arguments: tuple[Any, ...],
        named: dict[str, Any],
    ) -> None:
        if any(isinstance(each, int) and each > KEY_MAX for each in named.values()):
            raise Http404


class FullQueueMiddleware:
    """Refuse a paper, plan or report that came when as many as may wait were waiting already."""

    WAIT_SECONDS = 30

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_arguments: Any) -> HttpResponse | None:
        if not request.META.get(IS_ONE_TOO_MANY):
            return None
        error = TooBusy(
            _("Very many papers, plans and reports are waiting to be made. Ask again in a minute."),
            wait_seconds=self.WAIT_SECONDS,
        )
        # The API says it in its own way.
        request.fault = error  # type: ignore[attr-defined]
        return too_busy(request, error)


class FirstHourMiddleware:
    """Lead every page of the house to the set-up while nobody exists who could sign in.

    It asks the database only where nobody is signed in. Public pages, the API and what a program
    asks for answer as always.
    """

    # Where one signs in, which is open to everybody too.
    DOORS = ("/account/", "/admin/")

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponse], *_arguments: Any
    ) -> HttpResponse | None:
        is_of_the_house = getattr(view, "login_required", True) or request.path_info.startswith(
            self.DOORS
        )
        is_looked_at = request.method in ("GET", "HEAD") and not request.user.is_authenticated
        if is_of_the_house and is_looked_at and not User.objects.exists():
            return HttpResponseRedirect(reverse("web:set_up"))
        return None
