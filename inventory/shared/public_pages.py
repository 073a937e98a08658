"""Pages for strangers: made without the request, kept for a minute, and not asked for too often.

Nothing of the person who asks, or of the house's own pages, can get into such a page.
"""

import hashlib
from collections.abc import Callable, Sequence

from django.contrib.auth.decorators import login_not_required
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.template.loader import render_to_string
from django.utils.cache import get_conditional_response
from django.utils.translation import get_language
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from inventory.shared import visits

# The addresses of pages for people who have a jar or a receipt in their hands.
JARS, RECEIPTS = "/j/", "/r/"
ADDRESSES = (JARS, RECEIPTS)
# How long a page is kept on the server: so soon is a change seen by all.
SERVER_SECONDS = 60
# Many customers of a shop, or of one telephone company, may share an address.
VISITS_MAX = 120
VISITS_SECONDS = 60


def public(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Open a view to everybody; it takes no forms, so it needs no token against forged ones."""
    return login_not_required(csrf_exempt(require_safe(view)))


def answer(
    request: HttpRequest,
    *,
    name: str,
    asked: Sequence[str],
    make: Callable[[], str | None],
    not_found: Callable[[HttpRequest], HttpResponse],
    cache_control: str,
) -> HttpResponseBase:
    """Answer with the page that `make` returns, or with `not_found` where it returns None.

    `name` and `asked` are what the page is kept by, together with the reader's language.
    """
    wait = visits.seconds_to_wait(
        request.META.get("REMOTE_ADDR", ""), visits_max=VISITS_MAX, seconds=VISITS_SECONDS
    )
    if wait:
        return _too_many(wait)
    told = "\n".join([get_language() or "", *asked])
    key = f"{name}:{hashlib.sha256(told.encode()).hexdigest()}"
    html = cache.get(key)
    if html is None:
        html = make()
        if html is None:
            return not_found(request)
        cache.set(key, html, timeout=SERVER_SECONDS)
    response = headed(HttpResponse(html), cache_control)
    response["ETag"] = f'"{hashlib.sha256(response.content).hexdigest()[:32]}"'
    known = get_conditional_response(request, etag=response["ETag"], response=response)
    return known or response


def headed(response: HttpResponse, cache_control: str) -> HttpResponse:
    """Say how long a page may be kept, and that it is not for search engines."""
    response["Cache-Control"] = cache_control
    response["X-Robots-Tag"] = "noindex"
    return response


def _too_many(wait: int) -> HttpResponse:
    html = render_to_string(
        "inventory/jar_page/too_many.html", {"wait": wait, "language": get_language()}
    )
    response = headed(HttpResponse(html, status=429), "no-store")
    response["Retry-After"] = str(wait)
    return response
