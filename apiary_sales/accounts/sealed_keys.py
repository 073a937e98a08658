"""Keep keys so that a copy of the database alone gives none away: of code apps, and others.

They are encrypted with a key that is derived from SECRET_KEY, which is not in the database, and in
a backup only where that is encrypted with a passphrase.
"""

from base64 import urlsafe_b64encode
from typing import TYPE_CHECKING

from django.conf import settings
from django.utils.encoding import force_bytes

# Seven megabytes that few requests need, loaded by the first that does.
if TYPE_CHECKING:
    from cryptography.fernet import MultiFernet

# What is encrypted for one purpose can't be read for another.
SECOND_STEP = b"second step at sign-in"


def seal(key: bytes, *, purpose: bytes = SECOND_STEP) -> str:
    """Return a key encrypted."""
    return _fernet(purpose).encrypt(key).decode()


def unseal(sealed: str, *, purpose: bytes = SECOND_STEP) -> bytes | None:
    """Return the key, or None where it was encrypted with another SECRET_KEY."""
    from cryptography.fernet import InvalidToken

    try:
        return _fernet(purpose).decrypt(sealed.encode())
    except InvalidToken:
        return None


def _fernet(purpose: bytes) -> "MultiFernet":
    from cryptography.fernet import Fernet, MultiFernet

    secrets = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    return MultiFernet([Fernet(_derived(secret, purpose)) for secret in secrets])


def _derived(secret: str | bytes, purpose: bytes) -> bytes:
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF

    derivation = HKDF(algorithm=SHA256(), length=32, salt=None, info=purpose)
    return urlsafe_b64encode(derivation.derive(force_bytes(secret)))
