"""Where people are signed in: seen again, signed out on one device or on all."""

from django.db import transaction
from django.utils import timezone

from apiary_sales.accounts import rules
from apiary_sales.accounts.models import HouseSession, User
from apiary_sales.accounts.services import second_steps
from apiary_sales.accounts.session_store import Device


@transaction.atomic
def note_seen(*, session: HouseSession, device: Device) -> None:
    """Keep that a session was used now, and where; it lasts longer by that, up to its longest."""
    now = timezone.now()
    role = session.person.role if session.person else None
    # One that was ended meanwhile does not come back.
    HouseSession.objects.filter(pk=session.pk).update(
        last_seen_at=now,
        browser=device.browser,
        address=device.address,
        expire_date=rules.session_ends_at(role, started_at=session.started_at, seen_at=now),
    )


@transaction.atomic
def sign_out(*, session: HouseSession) -> None:
    """Sign a person out on one device, at once and for good."""
    HouseSession.objects.filter(pk=session.pk).delete()


@transaction.atomic
def sign_out_others(*, person: User, but: HouseSession | None) -> int:
    """Sign a person out on every device but one; return on how many.

    No device is remembered any longer: whoever has a second step is asked for a code everywhere.
    """
    second_steps.forget_devices(person=person)
    others = HouseSession.objects.filter(person=person)
    if but is not None:
        others = others.exclude(pk=but.pk)
    ended, _by_model = others.delete()
    return ended


@transaction.atomic
def clear_expired() -> int:
    """Remove the sessions that are over; return how many."""
    cleared, _by_model = HouseSession.objects.filter(expire_date__lte=timezone.now()).delete()
    return cleared
