"""Passkeys: added by who is signed in, and signed in with; checked by the library webauthn.

A passkey works under the name of the site under which it was added, and the browser asks for the
finger, the face or the PIN of the device: so it counts as both steps of signing in. The library is
imported where it is used, since starting need not wait for it.
"""

from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.http import urlsafe_base64_decode, urlsafe_base64_encode
from django.utils.translation import gettext as _

from apiary_sales.accounts.models import User
from apiary_sales.accounts.second_step_models import Passkey
from inventory.shared import json_texts
from inventory.shared.checks import save_checked
from inventory.shared.errors import BadValue

PASSKEYS_MAX = 20


@dataclass(frozen=True)
class Site:
    """Where the passkey is used: the name alone, as house.example, and with https:// and port."""

    name: str
    origin: str


@dataclass(frozen=True)
class PasskeyOptions:
    """What the browser is asked: the options as JSON, and the random text it has to sign."""

    options: str
    challenge: str


def ask_to_add(*, person: User, site: Site, house: str) -> PasskeyOptions:
    """Return what asks a device for a new passkey of this person."""
    import webauthn
    from webauthn.helpers import structs

    known = Passkey.objects.filter(person=person).values_list("credential", flat=True)
    options = webauthn.generate_registration_options(
        rp_id=site.name,
        rp_name=house,
        # The same for all passkeys of a person, and telling nothing of them.
        user_id=salted_hmac("passkey", str(person.pk), algorithm="sha256").digest(),
        user_name=person.username,
        user_display_name=person.display_name,
        authenticator_selection=structs.AuthenticatorSelectionCriteria(
            resident_key=structs.ResidentKeyRequirement.REQUIRED,
            user_verification=structs.UserVerificationRequirement.REQUIRED,
        ),
        exclude_credentials=[
            structs.PublicKeyCredentialDescriptor(id=urlsafe_base64_decode(credential))
            for credential in known
        ],
    )
    return PasskeyOptions(
        webauthn.options_to_json(options), urlsafe_base64_encode(options.challenge)
    )


@transaction.atomic
def add(*, person: User, name: str, answer: str, challenge: str, site: Site) -> Passkey:
    """Keep a new passkey of this person under a name.

    `answer` is the browser's, as JSON, to what `ask_to_add` asked. Raises `BadValue` where it is
    not right, or the person has twenty.
    """
    import webauthn
    from webauthn.helpers.exceptions import WebAuthnException

    if Passkey.objects.filter(person=person).count() >= PASSKEYS_MAX:
        raise BadValue(_("You have 20 passkeys. Remove one first."))
    answered = _read(answer)
    try:
        made = webauthn.verify_registration_response(
            credential=answered,
            expected_challenge=urlsafe_base64_decode(challenge),
            expected_rp_id=site.name,
            expected_origin=site.origin,
            require_user_verification=True,
        )
    except WebAuthnException as error:
        raise BadValue(_("The device gave no passkey that is right. Try again.")) from error
    passkey = Passkey(
        person=person,
        name=name,
        credential=urlsafe_base64_encode(made.credential_id),
        public_key=made.credential_public_key,
        sign_count=made.sign_count,
        added_at=timezone.now(),
    )
    save_checked(passkey)
    return passkey


def ask_to_sign_in(*, site: Site) -> PasskeyOptions:
    """Return what asks a device for any passkey it has for this site."""
    import webauthn
    from webauthn.helpers import structs

    options = webauthn.generate_authentication_options(
        rp_id=site.name, user_verification=structs.UserVerificationRequirement.REQUIRED
    )
    return PasskeyOptions(
        webauthn.options_to_json(options), urlsafe_base64_encode(options.challenge)
    )


@transaction.atomic
def check(*, answer: str, challenge: str, site: Site) -> User:
    """Return whose passkey has signed. Raises `BadValue` where that is nobody who can sign in."""
    import webauthn
    from webauthn.helpers.exceptions import WebAuthnException

    answered = _read(answer)
    passkey = (
        Passkey.objects.select_for_update(of=("self",))
        .select_related("person")
        .filter(credential=_credential_of(answered), person__is_active=True)
        .first()
    )
    if passkey is None:
        raise BadValue(_("This passkey is not known here. Sign in with name and password."))
    try:
        checked = webauthn.verify_authentication_response(
            credential=answered,
            expected_challenge=urlsafe_base64_decode(challenge),
            expected_rp_id=site.name,
            expected_origin=site.origin,
            credential_public_key=bytes(passkey.public_key),
            credential_current_sign_count=passkey.sign_count,
            require_user_verification=True,
        )
    except WebAuthnException as error:
        raise BadValue(_("The passkey was not accepted. Try again.")) from error
    passkey.sign_count, passkey.used_at = checked.new_sign_count, timezone.now()
    passkey.save(update_fields=["sign_count", "used_at"])
    return passkey.person


@transaction.atomic
def remove(*, passkey: Passkey) -> None:
    """Let nobody sign in with this passkey any more."""
    passkey.delete()


def _read(answer: str) -> dict[str, Any]:
    """Return a browser's answer; empty for what is none."""
    try:
        found = json_texts.read(answer)
    except json_texts.UnreadableJson:
        return {}
    return found if isinstance(found, dict) else {}


def _credential_of(answer: dict[str, Any]) -> str:
    """Return the id in a browser's answer; empty for what is none."""
    found = answer.get("id")
    return found if isinstance(found, str) else ""
