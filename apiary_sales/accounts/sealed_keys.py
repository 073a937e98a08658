"""Keep the keys of code apps so that a copy of the database alone gives none away.

They are encrypted with a key that is derived from SECRET_KEY, which is not in the database, and in
a backup only where that is encrypted with a passphrase.
"""

from base64 import urlsafe_b64encode

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.utils.encoding import force_bytes


def seal(key: bytes) -> str:
    """Return a key encrypted."""
    return _fernet().encrypt(key).decode()


def unseal(sealed: str) -> bytes | None:
    """Return the key, or None where it was encrypted with another SECRET_KEY."""
    try:
        return _fernet().decrypt(sealed.encode())
    except InvalidToken:
        return None


def _fernet() -> MultiFernet:
    secrets = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    return MultiFernet([Fernet(_derived(secret)) for secret in secrets])


def _derived(secret: str | bytes) -> bytes:
    derivation = HKDF(algorithm=SHA256(), length=32, salt=None, info=b"second step at sign-in")
    return urlsafe_b64encode(derivation.derive(force_bytes(secret)))
