"""The address that a monitor asks whether the service works."""

import threading

from django.contrib.auth.decorators import login_not_required
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from apiary_sales.keeping.services import health

# Seconds that an answer is kept, so that nobody can keep the database busy by asking.
KEPT = 5
_KEY = "health"
_one_probe = threading.Lock()


@login_not_required
@never_cache
@require_safe
def show(request: HttpRequest) -> HttpResponse:
    """Say "ok", or "degraded" with status 503, and no more: anybody may ask."""
    text, status = ("ok", 200) if _is_well() else ("degraded", 503)
    return HttpResponse(f"{text}\n", status=status, content_type="text/plain; charset=utf-8")


def _is_well() -> bool:
    known: bool | None = cache.get(_KEY)
    if known is not None:
        return known
    with _one_probe:
        # Who waited for the probe of another takes its answer.
        known = cache.get(_KEY)
        if known is None:
            known = health.is_well()
            cache.set(_KEY, known, KEPT)
    return known
