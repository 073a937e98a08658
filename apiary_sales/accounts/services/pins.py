"""The short PIN with which a person takes over as the seller at a shared phone."""

from dataclasses import dataclass
from hashlib import sha256

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.accounts import roles, rules
from apiary_sales.accounts.models import PinTries, SellerPin, User
from apiary_sales.accounts.services import tries
from inventory.shared.errors import BadValue, NotAllowedNow, TooManyTries


@dataclass(frozen=True)
class _Outcome:
    """What a try came to; `wait_seconds` is 0 where another try is allowed at once."""

    is_right: bool = False
    has_pin: bool = True
    wait_seconds: int = 0


@transaction.atomic
def set_pin(*, person: User, pin: str, set_by: User) -> SellerPin:
    """Set or change the PIN of a person who may sell at the stand; only its hash is kept.

    What was tried wrong before is forgotten. Raises `BadValue` for a PIN that is easy to guess,
    `NotAllowedNow` for a person who does not sell at the stand.
    """
    if why_not := rules.why_no_pin(pin):
        raise BadValue(why_not, parameter="pin")
    person = User.objects.select_for_update().get(pk=person.pk)
    _check_seller(person)
    made, _is_new = SellerPin.objects.update_or_create(
        person=person,
        defaults={"hashed": make_password(pin), "set_at": timezone.now(), "set_by": set_by},
    )
    PinTries.objects.filter(about=_about_person(person)).delete()
    return made


def check_pin(*, person: User, pin: str, asked_by: User, device: str = "") -> User:
    """Return the person whose PIN it is, to be recorded as the seller; no rights change.

    Wrong ones are counted for the person, for who is signed in and for the device, each by itself:
    after five wrong ones there is a wait of one minute, doubled by each further one up to an hour.
    A right one begins the counts again. Who is signed in and has no PIN needs none.

    Raises `BadValue` for a wrong PIN, `TooManyTries`, and `NotAllowedNow` for a person who can't
    sell at the stand or has no PIN. It must not be called in a transaction that is then undone,
    since the count of wrong ones has to last.
    """
    _check_seller(person)
    names = [_about_person(person), f"asked-by-{asked_by.pk}"]
    if device:
        # Of any length, and of anything: a device says itself what it is called.
        names.append(f"device-{sha256(device.encode()).hexdigest()}")
    outcome = _try(person, pin, names)
    if outcome.is_right or (not outcome.has_pin and person.pk == asked_by.pk):
        return person
    if not outcome.has_pin:
        raise NotAllowedNow(
            _("%(name)s has no PIN yet. It is set on the page “Your account”.")
            % {"name": person.display_name},
            parameter="pin",
        )
    if outcome.wait_seconds:
        raise TooManyTries(
            _("The PIN was wrong too often. Try again in %(wait)s.")
            % {"wait": in_words(outcome.wait_seconds)},
            wait_seconds=outcome.wait_seconds,
            parameter="pin",
        )
    raise BadValue(
        _("This is not the PIN of %(name)s. Type it again.") % {"name": person.display_name},
        parameter="pin",
    )


def _try(person: User, pin: str, names: list[str]) -> _Outcome:
    """Compare, and count."""
    # While one waits, even the right PIN is not looked at.
    if waiting := tries.wait_for(*names):
        return _Outcome(wait_seconds=waiting)
    kept = SellerPin.objects.filter(person=person).first()
    if kept is None:
        return _Outcome(has_pin=False)
    is_right, waiting = tries.compare(*names, is_right=lambda: check_password(pin, kept.hashed))
    return _Outcome(is_right=is_right, wait_seconds=waiting)


def _about_person(person: User) -> str:
    return f"person-{person.pk}"


def _check_seller(person: User) -> None:
    if not person.is_active:
        raise NotAllowedNow(
            _("%(name)s no longer works here.") % {"name": person.display_name}, parameter="person"
        )
    if person.role not in roles.that_may(roles.SELL):
        raise NotAllowedNow(
            _("%(name)s may not sell at the stand. The owner can change the role.")
            % {"name": person.display_name},
            parameter="person",
        )


def in_words(seconds: int) -> str:
    """Say how long a wait is."""
    if seconds < 120:
        return ngettext("%(count)s second", "%(count)s seconds", seconds) % {"count": seconds}
    minutes = -(-seconds // 60)
    return ngettext("%(count)s minute", "%(count)s minutes", minutes) % {"count": minutes}
