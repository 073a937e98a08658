"""The codes of the second step: those of an app, by RFC 6238, and recovery codes on paper."""

import re
import secrets
from base64 import b32encode
from hashlib import scrypt
from urllib.parse import quote, urlencode

from django_otp.oath import TOTP

# RFC 4226, section 4, recommends 160 bits.
KEY_BYTES = 20
# Seconds that a code of an app counts, and how many of such steps a clock may be off.
STEP_SECONDS = 30
STEPS_OFF = 1
RECOVERY_CODES = 10
# Without those that are taken for one another; twelve of 31 are more than 59 bits.
LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
RECOVERY_LENGTH = 12
# How much work the hash of a recovery code is: about a twentieth of a second.
HASH_COST = 2**14
_APP_CODE = re.compile(r"[0-9]{6}")


def new_key() -> bytes:
    return secrets.token_bytes(KEY_BYTES)


def written_key(key: bytes) -> str:
    """Return a key to be typed into an app: base 32 in groups of four."""
    return in_groups(b32encode(key).decode(), " ")


def app_address(key: bytes, *, name: str, house: str) -> str:
    """Return what an app reads from the QR code; `house` and `name` are how it lists the key."""
    issuer = house.replace(":", " ")
    asked = {"secret": b32encode(key).decode(), "issuer": issuer}
    return f"otpauth://totp/{quote(f'{issuer}:{name}')}?{urlencode(asked, quote_via=quote)}"


def plain(typed: str) -> str:
    """Return a code as it was made, however it was typed: 287 082 or abcd-efgh-jklm."""
    return "".join(letter for letter in typed.upper() if letter.isalnum())


def is_of_app(code: str) -> bool:
    """Tell whether a plain code looks like one of an app: six digits."""
    return _APP_CODE.fullmatch(code) is not None


def step_of(code: str, key: bytes, *, seconds: float, after: int = -1) -> int | None:
    """Return the step of time that a code of an app is of, None where it is not right.

    `seconds` is the time since 1970. A clock may be off by one step. Steps up to `after` are over:
    a code counts once.
    """
    if not is_of_app(code):
        return None
    clock = TOTP(key, step=STEP_SECONDS)
    clock.time = seconds
    return clock.t() if clock.verify(int(code), STEPS_OFF, min_t=after + 1) else None


def new_recovery_codes() -> list[str]:
    """Return ten codes, as ABCD-EFGH-JKMN."""
    return [
        in_groups("".join(secrets.choice(LETTERS) for _letter in range(RECOVERY_LENGTH)), "-")
        for _code in range(RECOVERY_CODES)
    ]


def hashed(code: str, salt: str) -> str:
    """Return the hash of a plain recovery code.

    Not one of Django's hashes of passwords: ten of those take as long as ten sign-ins.
    """
    return scrypt(code.encode(), salt=salt.encode(), n=HASH_COST, r=8, p=1, dklen=32).hex()


def in_groups(text: str, between: str) -> str:
    """Return a text in groups of four."""
    return between.join(text[start : start + 4] for start in range(0, len(text), 4))
