"""The code with which the first owner of an empty house begins, and that owner."""

import secrets

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.accounts.models import PinTries, SetUp, User
from apiary_sales.accounts.services import people, tries
from inventory.shared import words
from inventory.shared.errors import BadValue, NotAllowedNow, TooManyTries

# Without those that are taken for one another; eight of 31 are more than 10^11 codes.
LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
LENGTH = 8
# Beside the tries of PINs, which nobody's name begins like.
ABOUT = "set-up-code"


@transaction.atomic
def make_code() -> str:
    """Return a new code, ABCD-EFGH, and forget the one before; only its hash is kept.

    Raises `NotAllowedNow` where somebody can sign in already.
    """
    _refuse_with_people()
    code = "".join(secrets.choice(LETTERS) for _position in range(LENGTH))
    row = SetUp.current()
    row.hashed_code = make_password(code)
    row.save()
    PinTries.objects.filter(about=ABOUT).delete()
    return f"{code[:4]}-{code[4:]}"


@transaction.atomic
def forget_code() -> None:
    """Let no code begin a house in which somebody can sign in already."""
    SetUp.objects.exclude(hashed_code="").update(hashed_code="")


def add(*, code: str, username: str, name: str, password: str) -> User:
    """Add the first owner of an empty house, and forget the code.

    Wrong codes are counted: after five there is a wait of a minute, doubled by each further one up
    to an hour. Raises `BadValue`, `TooManyTries`, and `NotAllowedNow` where there is a person.
    It must not be called in a transaction that is then undone, since the count has to last.
    """
    _refuse_with_people()
    _check(code)
    with transaction.atomic():
        # One at a time: of two who have the code, the second finds a person.
        SetUp.objects.select_for_update().filter(pk=1).first()
        _refuse_with_people()
        person = people.add(username=username, name=name, role=User.Role.OWNER, password=password)
        forget_code()
    return person


def _check(code: str) -> None:
    hashed = SetUp.current().hashed_code
    is_right, wait_seconds = tries.compare(
        ABOUT, is_right=lambda: bool(hashed) and check_password(_plain(code), hashed)
    )
    if is_right:
        return
    if wait_seconds:
        minutes = -(-wait_seconds // 60)
        raise TooManyTries(
            _("The code was wrong too often. Try again in %(minutes)s min.")
            % {"minutes": words.number(minutes)},
            wait_seconds=wait_seconds,
            parameter="code",
        )
    raise BadValue(
        _(
            "This is not the code. It is where the service was started, and is another one after "
            "each start."
        ),
        parameter="code",
    )


def _plain(code: str) -> str:
    """Return a code as it was made, however it was typed: abcd efgh is ABCDEFGH."""
    return "".join(letter for letter in code.upper() if letter.isalnum())


def _refuse_with_people() -> None:
    if User.objects.exists():
        raise NotAllowedNow(_("Somebody can sign in already. Ask the owner to add you."))
