"""The second step at sign-in of a person: set up, checked, renewed, switched off, required."""

import secrets
import time
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from apiary_sales.accounts import sealed_keys, sign_in_codes
from apiary_sales.accounts.models import PinTries, User
from apiary_sales.accounts.second_step_models import (
    Passkey,
    RecoveryCode,
    SecondStep,
    SecondStepRule,
)
from apiary_sales.accounts.services import tries
from apiary_sales.accounts.services.pins import in_words
from inventory.shared.checks import save_checked
from inventory.shared.errors import BadValue, NotAllowedNow, TooManyTries, parameters_named

MARK_BYTES = 16


@dataclass(frozen=True)
class _CodeOutcome:
    """What a try came to; `wait_seconds` is 0 where another try is allowed at once."""

    is_right: bool = False
    is_readable: bool = True
    wait_seconds: int = 0


@transaction.atomic
def set_up(*, person: User, key: bytes, code: str) -> list[str]:
    """Ask this person for a code at each sign-in from now on; return ten recovery codes.

    They are shown now and never again: only their hashes are kept. The code shows that the app has
    the key. Raises `BadValue` for a wrong one, `NotAllowedNow` where there is a second step.
    """
    person = User.objects.select_for_update().get(pk=person.pk)
    if SecondStep.objects.filter(person=person).exists():
        raise NotAllowedNow(
            _("You have a second step already. Switch it off before you set up another one.")
        )
    return _keep_app(SecondStep(person=person), key, code)


def move(*, person: User, code_before: str, key: bytes, code: str) -> list[str]:
    """Take the codes of another app from now on, as on a new phone; return ten recovery codes.

    `code_before` is of the app there was, or a recovery code; `code` is of the new one. The codes
    and the remembered devices of before no longer count. Raises as `set_up` and, about
    `code_before`, as `check`.
    """
    with parameters_named(code="code_before"):
        check(person=person, code=code_before)
    with transaction.atomic():
        step = SecondStep.objects.select_for_update().select_related("person").get(person=person)
        return _keep_app(step, key, code)


def check(*, person: User, code: str) -> None:
    """Accept a code of the app or a recovery code of this person, once.

    Wrong ones are counted: after five there is a wait of a minute, doubled by each further one up
    to an hour, whichever kind of code is tried. Raises `BadValue`, `TooManyTries`, and
    `NotAllowedNow` where the person has no second step, or the key of the app can't be read. It
    must not be called in a transaction that is then undone, since the count has to last.
    """
    outcome = _try(person, sign_in_codes.plain(code))
    if outcome.is_right:
        return
    if outcome.wait_seconds:
        raise TooManyTries(
            _("The code was wrong too often. Try again in %(wait)s.")
            % {"wait": in_words(outcome.wait_seconds)},
            wait_seconds=outcome.wait_seconds,
            parameter="code",
        )
    if not outcome.is_readable:
        raise NotAllowedNow(
            _(
                "The service has another secret key than when your app was set up, and can't check "
                "its codes. Use a recovery code, or ask an owner to remove your second step."
            ),
            parameter="code",
        )
    raise BadValue(
        _("This code is wrong or was used before. Wait for the next one, and type it again."),
        parameter="code",
    )


def check_for_program(*, person: User, otp: str) -> None:
    """Let a program in that gives the name and the password of this person, or raise why not.

    It gives a code too where the person has a second step. Raises as `check`, `BadValue` where the
    code is missing, and `NotAllowedNow` where the second step is required and not set up.
    """
    if not SecondStep.objects.filter(person=person).exists():
        if SecondStepRule.current().binds(person):
            raise NotAllowedNow(
                _("%(name)s must set up the second step at sign-in first, on the pages.")
                % {"name": person.display_name}
            )
        return
    if not otp:
        raise BadValue(
            _("Give the code of the second step too: that of the app, or a recovery code."),
            parameter="otp",
        )
    check(person=person, code=otp)


def renew_codes(*, person: User, code: str) -> list[str]:
    """Return ten new recovery codes; those before no longer count. Raises as `check`."""
    check(person=person, code=code)
    with transaction.atomic():
        return _new_recovery_codes(person)


def switch_off(*, person: User, code: str) -> None:
    """Ask this person for the password alone from now on; passkeys stay.

    Raises as `check`, and `NotAllowedNow` where the house requires a second step of them.
    """
    if SecondStepRule.current().binds(person):
        raise NotAllowedNow(
            _("The house requires a second step of your role, so you can't switch it off.")
        )
    check(person=person, code=code)
    with transaction.atomic():
        _forget(person)


@transaction.atomic
def remove(*, person: User, removed_by: User | None) -> None:
    """Remove the second step and the passkeys of a person who lost them.

    Where the house requires a second step, the person sets up a new one at the next sign-in.
    `removed_by` is None where it is done on the machine of the service. Raises `NotAllowedNow`
    where there is none, and for one's own, which takes the password and a code.
    """
    if removed_by is not None and removed_by.pk == person.pk:
        raise NotAllowedNow(
            _("Switch your own second step off under Your account; it takes a code.")
        )
    has_passkeys = Passkey.objects.filter(person=person).exists()
    if not has_passkeys and not SecondStep.objects.filter(person=person).exists():
        raise NotAllowedNow(
            _("%(name)s has no second step and no passkey.") % {"name": person.display_name}
        )
    Passkey.objects.filter(person=person).delete()
    _forget(person)


@transaction.atomic
def require(*, required_for: str) -> SecondStepRule:
    """Set who must use a second step; they are led to set it up before anything else.

    Raises `BadValue` for what is none of the choices.
    """
    rule = SecondStepRule.current()
    rule.required_for = required_for
    save_checked(rule)
    return rule


@transaction.atomic
def forget_devices(*, person: User) -> None:
    """Ask this person for a code on every device again, also on those that were remembered."""
    SecondStep.objects.filter(person=person).update(devices_mark=secrets.token_urlsafe(MARK_BYTES))


def device_mark(step: SecondStep) -> str:
    """Return what the cookie of a remembered device holds.

    It ends with another password, and with `forget_devices`.
    """
    person = step.person
    value = f"{person.pk}:{person.get_session_auth_hash()}:{step.devices_mark}"
    return salted_hmac("remembered device", value, algorithm="sha256").hexdigest()


def is_remembered(step: SecondStep, mark: str) -> bool:
    """Tell whether a device has the mark of this person."""
    return constant_time_compare(mark, device_mark(step))


@transaction.atomic
def _try(person: User, code: str) -> _CodeOutcome:
    """Compare, and count."""
    counts, now = tries.locked(_about(person)), timezone.now()
    if waiting := tries.longest_wait(counts, now):
        # While one waits, even the right code is not looked at.
        return _CodeOutcome(wait_seconds=waiting)
    step = SecondStep.objects.select_for_update().filter(person=person).first()
    if step is None:
        raise NotAllowedNow(
            _("%(name)s has no second step.") % {"name": person.display_name}, parameter="code"
        )
    if not sign_in_codes.is_of_app(code):
        is_right = _use_recovery_code(person, code)
    elif (key := sealed_keys.unseal(step.sealed_key)) is not None:
        is_right = _use_app_code(step, key, code)
    else:
        return _CodeOutcome(is_readable=False)
    tries.count(counts, now, is_right=is_right)
    return _CodeOutcome(is_right=is_right, wait_seconds=tries.longest_wait(counts, now))


def _keep_app(step: SecondStep, key: bytes, code: str) -> list[str]:
    """Save the key of an app that shows the right code now, and return new recovery codes."""
    used = sign_in_codes.step_of(sign_in_codes.plain(code), key, seconds=time.time())
    if used is None:
        raise BadValue(
            _(
                "This is not the code that the app shows now. Check that the clock of the phone is "
                "right, and type the next code."
            ),
            parameter="code",
        )
    step.sealed_key, step.last_step = sealed_keys.seal(key), used
    step.set_at, step.devices_mark = timezone.now(), secrets.token_urlsafe(MARK_BYTES)
    save_checked(step)
    PinTries.objects.filter(about=_about(step.person)).delete()
    return _new_recovery_codes(step.person)


def _use_app_code(step: SecondStep, key: bytes, code: str) -> bool:
    used = sign_in_codes.step_of(code, key, seconds=time.time(), after=step.last_step)
    if used is None:
        return False
    step.last_step = used
    step.save(update_fields=["last_step"])
    return True


def _use_recovery_code(person: User, code: str) -> bool:
    first = RecoveryCode.objects.filter(person=person).first()
    if first is None or len(code) != sign_in_codes.RECOVERY_LENGTH:
        return False
    found = RecoveryCode.objects.filter(
        person=person, hashed=sign_in_codes.hashed(code, first.salt)
    )
    deleted, _by_model = found.delete()
    return bool(deleted)


def _new_recovery_codes(person: User) -> list[str]:
    RecoveryCode.objects.filter(person=person).delete()
    codes, salt = sign_in_codes.new_recovery_codes(), secrets.token_urlsafe(MARK_BYTES)
    RecoveryCode.objects.bulk_create(
        RecoveryCode(
            person=person,
            salt=salt,
            hashed=sign_in_codes.hashed(sign_in_codes.plain(code), salt),
        )
        for code in codes
    )
    return codes


def _forget(person: User) -> None:
    SecondStep.objects.filter(person=person).delete()
    RecoveryCode.objects.filter(person=person).delete()
    PinTries.objects.filter(about=_about(person)).delete()


def _about(person: User) -> str:
    # Beside the tries of PINs, which nobody's name begins like.
    return f"second-step-{person.pk}"
