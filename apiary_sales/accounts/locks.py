"""How wrong passwords are counted, and when a name or an address is locked for a while.

`axes` counts them; here is what it counts by, and how often is too often:

- one name from one address, so that errors of typing lock that person there and nobody else;
- one address, for who tries many names from one place;
- one name, for who tries one name from many places. A browser in which that person has signed in
  before is let in all the same, so that nobody can be shut out from afar.

A lock ends by itself a quarter of an hour after the tries that led to it. While it lasts no
password is compared, and nothing tells whether there is such a name.
"""

from dataclasses import dataclass
from datetime import datetime
from ipaddress import IPv6Address, ip_address, ip_network
from typing import Any

from axes.backends import AxesStandaloneBackend
from axes.handlers.database import AxesDatabaseHandler
from axes.handlers.proxy import AxesProxyHandler
from axes.models import AccessAttempt
from django.conf import settings
from django.db.models import Q, QuerySet, Sum
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.crypto import salted_hmac

# After so many wrong passwords the name, or the address, is locked. One name at one address is
# locked after AXES_FAILURE_LIMIT.
NAME_LIMIT = 20
ADDRESS_LIMIT = 20
# Longer than a network is written that one subscriber has.
IPV6_NETWORK_BITS = 64
# Who has signed in with this browser, by the marks of their names.
COOKIE = "has_signed_in"
COOKIE_SALT = "accounts.has_signed_in"
COOKIE_SECONDS = 365 * 24 * 60 * 60
# Several people share the phone of the stand.
COOKIE_NAMES = 8
# So much of a mark is kept and shown, to see that an unknown name was typed again.
MARK_SHOWN = 8


def mark_of(name: str) -> str:
    """Return the mark of a typed name: the same for the same name, which can't be read from it."""
    typed = name.strip().casefold()
    return salted_hmac("accounts.name", typed, algorithm="sha256").hexdigest()[:32]


def name_of(request: Any, credentials: dict[str, Any] | None) -> str:
    """Return the mark of the name that somebody tries; axes calls it."""
    return mark_of(str((credentials or {}).get("username") or ""))


def address_of(request: Any) -> str | None:
    """Return the address of who asks; `manage.py serve` has put the one behind its proxy here."""
    try:
        return str(ip_address(request.META.get("REMOTE_ADDR", "")))
    except ValueError:
        return None


def network_of(request: Any) -> str | None:
    """Return by what an address is counted: of IPv6, one subscriber has a whole network."""
    address = address_of(request)
    if address is None or not isinstance(ip_address(address), IPv6Address):
        return address
    return str(ip_network((address, IPV6_NETWORK_BITS), strict=False).network_address)


def remember_browser(request: HttpRequest, response: HttpResponse, name: str) -> None:
    """Let this browser in as this person even while others try the same name from elsewhere."""
    marks = [mark for mark in _marks_of_browser(request) if mark != mark_of(name)]
    response.set_signed_cookie(
        COOKIE,
        ".".join([mark_of(name), *marks][:COOKIE_NAMES]),
        salt=COOKIE_SALT,
        max_age=COOKIE_SECONDS,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def _marks_of_browser(request: Any) -> list[str]:
    # A request of REST framework passes on what it does not have itself.
    kept = request.get_signed_cookie(COOKIE, default="", salt=COOKIE_SALT, max_age=COOKIE_SECONDS)
    return kept.split(".") if kept else []


def wait_seconds(request: Any, name: str) -> int:
    """Return for how many seconds no password is compared for this name from here; 0 for now."""
    AxesProxyHandler.update_request(request)
    until = [
        moment
        for tries, limit in _counted(mark_of(name), request)
        if (moment := _locked_until(tries, limit)) is not None
    ]
    if not until:
        return 0
    return max(1, -int((timezone.now() - max(until)).total_seconds() // 1))


def begin_again(request: Any, name: str) -> None:
    """Forget what was wrong for this name from here, after the right password."""
    AxesProxyHandler.update_request(request)
    _forget_here(request, mark_of(name))


def _forget_here(request: Any, mark: str) -> int:
    here = AccessAttempt.objects.filter(username=mark, ip_address=network_of(request))
    return int(here.delete()[0])


def forget(*, mark: str = "", address: str = "") -> int:
    """Unlock a name or an address, or both together; return how many counts were forgotten."""
    wanted = Q(username=mark) if mark else Q()
    if address:
        wanted &= Q(ip_address=address)
    if not wanted:
        return 0
    return int(AccessAttempt.objects.filter(wanted).delete()[0])


@dataclass(frozen=True)
class Lock:
    """A name, an address or one at the other that is locked now; empty is any."""

    mark: str
    address: str
    wrong: int
    until: datetime


def locked_now() -> list[Lock]:
    """Return what is locked at this moment, the longest first."""
    valid = _valid()
    found = []
    for columns, limit in (
        (("username", "ip_address"), settings.AXES_FAILURE_LIMIT),
        (("username",), NAME_LIMIT),
        (("ip_address",), ADDRESS_LIMIT),
    ):
        groups = valid.order_by().values(*columns).annotate(wrong=Sum("failures_since_start"))
        for group in groups.filter(wrong__gte=limit):
            wrong = group.pop("wrong")
            until = _locked_until(valid.filter(**group), limit)
            if until is not None:
                mark, address = group.get("username") or "", group.get("ip_address") or ""
                found.append(Lock(mark, address, wrong, until))
    return sorted(found, key=lambda lock: lock.until, reverse=True)


def _valid() -> QuerySet[AccessAttempt]:
    return AccessAttempt.objects.filter(
        attempt_time__gt=timezone.now() - settings.AXES_COOLOFF_TIME
    )


def _counted(mark: str, request: Any) -> list[tuple[QuerySet[AccessAttempt], int]]:
    """Return the tries that count against a name from here, and how many are too many."""
    valid, network = _valid(), network_of(request)
    counted = [
        (valid.filter(username=mark, ip_address=network), settings.AXES_FAILURE_LIMIT),
        (valid.filter(ip_address=network), ADDRESS_LIMIT),
    ]
    if mark not in _marks_of_browser(request):
        counted.append((valid.filter(username=mark), NAME_LIMIT))
    return counted


def _locked_until(tries: QuerySet[AccessAttempt], limit: int) -> datetime | None:
    """Return when so many of these tries have ended that the rest is below the limit."""
    rows = list(tries.order_by("attempt_time").values_list("attempt_time", "failures_since_start"))
    left = sum(wrong for _moment, wrong in rows)
    until = None
    for moment, wrong in rows:
        if left < limit:
            break
        left -= wrong
        until = moment + settings.AXES_COOLOFF_TIME
    return until


class HouseLocks(AxesDatabaseHandler):
    """What axes counts, with a limit of its own for each way of counting."""

    def get_failures(self, request: Any, credentials: dict[str, Any] | None = None) -> int:
        """Return the wrong tries of what is nearest to its limit, as of AXES_FAILURE_LIMIT."""
        return max(
            (tries.aggregate(wrong=Sum("failures_since_start"))["wrong"] or 0)
            * settings.AXES_FAILURE_LIMIT
            // limit
            for tries, limit in _counted(name_of(request, credentials), request)
        )

    def reset_user_attempts(self, request: Any, credentials: dict[str, Any] | None = None) -> int:
        """Forget the tries of this name from here alone.

        Those of other names from here stay: who has a password must not have endless tries for
        that of somebody else.
        """
        return _forget_here(request, name_of(request, credentials))


def keep_nothing_typed(sender: Any, instance: AccessAttempt, **_kwargs: Any) -> None:
    """Leave what was typed out of what axes counts: a password may be in any of its fields."""
    instance.get_data = instance.post_data = instance.http_accept = ""


class LockBackend(AxesStandaloneBackend):
    """Compare no password while the name or the address is locked, whichever page asks.

    Without a request there is no address, and nobody who guesses: that is a command.
    """

    def authenticate(self, request: Any, *args: Any, **kwargs: Any) -> None:
        if request is not None:
            super().authenticate(request, *args, **kwargs)
