"""Read who asks, where people are signed in, and which programs have keys."""

from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone

from apiary_sales.accounts.models import ApiToken, HouseSession, User
from inventory.shared.people import person_of

MANAGE_PEOPLE = "accounts.manage_people"


def me(request: HttpRequest) -> User:
    """Return the row of who is signed in; raises `PermissionDenied` where nobody is."""
    return User.objects.get(pk=person_of(request).pk)


def sessions_seen_by(person: User) -> QuerySet[HouseSession]:
    """Return the live sessions that a person may end: their own, an owner those of everybody."""
    live = HouseSession.objects.filter(expire_date__gt=timezone.now(), person__isnull=False)
    if not person.has_perm(MANAGE_PEOPLE):
        live = live.filter(person=person)
    return live.select_related("person").order_by("-last_seen_at", "-id")


def tokens_seen_by(person: User) -> QuerySet[ApiToken]:
    """Return the keys that work and a person may revoke: their own, an owner those of everybody."""
    live = ApiToken.objects.filter(expiry__gt=timezone.now())
    if not person.has_perm(MANAGE_PEOPLE):
        live = live.filter(user=person)
    return live.select_related("user").order_by("-created", "-id")
