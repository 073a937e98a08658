"""Who signs in: the one door through which a password is compared, and what is noted of it.

Every page and address that takes a password calls `check` or `confirm`, so that wrong ones are
counted, locked and noted alike. `record` notes what else becomes of a sign-in.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth import authenticate
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.accounts import locks
from apiary_sales.accounts.models import SignIn, User
from apiary_sales.accounts.services import second_steps
from apiary_sales.accounts.services.pins import in_words
from inventory.shared.errors import BadValue, HouseError, NotAllowedNow, TooManyTries

# Sign-ins are kept so long, and so many at most: a guesser must not fill the disk.
KEPT = timedelta(days=180)
ROWS_KEPT = 100_000
# Tries while something is locked, from one address for one name, are one row for so long.
ONE_ROW_FOR = timedelta(minutes=15)


def check(request: Any, *, username: str, password: str) -> User:
    """Return the person whose name and password these are; nobody is signed in by it.

    A wrong password and a name that nobody has are told and take time alike. Raises `BadValue` for
    them, and `TooManyTries` while the name or the address is locked (see `locks.py`): then no
    password is compared. Raises `TooBusy` where several are compared at this moment.
    It must not be called in a transaction that is then undone, since the count has to last.
    """
    if locks.wait_seconds(request, username):
        record(request, None, SignIn.Outcome.LOCKED, typed=username)
        raise _locked(request, username)
    found = authenticate(request, username=username, password=password)
    if found is not None:
        return found
    record(request, None, SignIn.Outcome.WRONG_PASSWORD, typed=username)
    if locks.wait_seconds(request, username):
        raise _locked(request, username)
    raise BadValue(
        _(
            "The name or the password is wrong. Check the capital letters and try again, or ask "
            "the owner for a new password."
        )
    )


def confirm(request: Any, *, person: User, password: str) -> None:
    """Make sure that it is the person who is signed in, by the password, before an act.

    Raises `BadValue`, `TooManyTries` and `TooBusy` as `check` does.
    """
    try:
        check(request, username=person.username, password=password)
    except BadValue:
        raise BadValue(
            _("This is not your current password. Type it again."), parameter="password"
        ) from None
    locks.begin_again(request, person.username)


def token_for(request: Any, *, username: str, password: str, otp: str = "") -> User:
    """Return the person to whom a program is given a token, and note it.

    `otp` is a code of the second step, where the person has one. Raises what `check` and
    `second_steps.check_for_program` do, and `NotAllowedNow` for a person who must choose a password
    first.
    """
    person = check(request, username=username, password=password)
    try:
        second_steps.check_for_program(person=person, otp=otp)
    except HouseError:
        note_wrong_code(request, person)
        raise
    locks.begin_again(request, username)
    if person.must_change_password:
        raise NotAllowedNow(why_change())
    record(request, person, SignIn.Outcome.TOKEN)
    return person


def note_wrong_code(request: Any, person: User | None) -> None:
    """Note and count that the second step was wrong; a person of None is a passkey of nobody."""
    record(request, person, SignIn.Outcome.WRONG_SECOND_FACTOR)
    credentials = {"username": person.username} if person else {}
    user_login_failed.send(sender=__name__, credentials=credentials, request=request)


def why_change() -> str:
    """Say to a program what its person does first, whose password the owner has set."""
    return _("The owner has set this password. Sign in on the page and choose your own first.")


def why_choose() -> str:
    """Say to a person whose password the owner has set what to do first."""
    return _("The owner has set your password. Choose your own, which nobody else knows.")


def record(request: Any, person: User | None, outcome: str, *, typed: str = "") -> SignIn:
    """Note what came of a sign-in. Without a person, `typed` is the name that was typed."""
    now, address = timezone.now(), locks.address_of(request)
    if person is None and typed:
        person = User.objects.filter(username__iexact=typed.strip()).first()
    facts: Mapping[str, Any] = {
        "person": person,
        "mark": "" if person or not typed else locks.mark_of(typed)[: locks.MARK_SHOWN],
        "address": address,
        "outcome": outcome,
    }
    if outcome == SignIn.Outcome.LOCKED:
        same = SignIn.objects.filter(**facts, at__gt=now - ONE_ROW_FOR).first()
        if same is not None:
            SignIn.objects.filter(pk=same.pk).update(times=F("times") + 1)
            return same
    browser = request.META.get("HTTP_USER_AGENT", "").replace("\x00", "")[:255]
    return SignIn.objects.create(at=now, browser=browser, **facts)


def unlock(*, person: User | None = None, mark: str = "", address: str = "") -> int:
    """Let a name, an address or a name at an address be tried again at once.

    The name is that of a person, or one that nobody has, by its mark (see `locks.mark_of`).
    Returns how many counts were forgotten.
    """
    return locks.forget(mark=locks.mark_of(person.username) if person else mark, address=address)


def prune(*, now: datetime | None = None) -> int:
    """Delete the sign-ins that are older than is kept, or more; return how many there were."""
    now = now or timezone.now()
    deleted, _by_kind = SignIn.objects.filter(at__lt=now - KEPT).delete()
    last_kept = SignIn.objects.order_by("-id").values_list("id", flat=True)[
        ROWS_KEPT - 1 : ROWS_KEPT
    ]
    for oldest in last_kept:
        deleted += SignIn.objects.filter(id__lt=oldest).delete()[0]
    return int(deleted)


def note_signed_in(sender: Any, request: Any, user: User, **_kwargs: Any) -> None:
    """Note that a person is signed in: after the second factor, where there is one."""
    record(request, user, SignIn.Outcome.IN)


def note_signed_out(sender: Any, request: Any, user: User | None, **_kwargs: Any) -> None:
    """Note that a person has signed out."""
    if user is not None:
        record(request, user, SignIn.Outcome.SIGNED_OUT)


def listen() -> None:
    """Note every sign-in and sign-out, by whichever page."""
    user_logged_in.connect(note_signed_in, dispatch_uid="accounts.note_signed_in")
    user_logged_out.connect(note_signed_out, dispatch_uid="accounts.note_signed_out")


def _locked(request: Any, username: str) -> TooManyTries:
    wait = locks.wait_seconds(request, username)
    return TooManyTries(
        _("A wrong password was typed too often. Try again in %(wait)s.")
        % {"wait": in_words(wait)},
        wait_seconds=wait,
    )
