"""An app for codes as people have it on their phone: RFC 6238 in a few lines of its own."""

import hashlib
import hmac
import struct
from base64 import b32decode
from datetime import UTC, datetime, timedelta

# The key of RFC 6238, appendix B, and a moment at which a new code has just begun.
KEY = b"12345678901234567890"
START = datetime(2026, 11, 27, 15, 0, tzinfo=UTC)
STEP = timedelta(seconds=30)


def code_at(moment: datetime, key: bytes = KEY) -> str:
    """Return the six digits that the app shows at a moment."""
    digest = hmac.digest(key, struct.pack(">Q", int(moment.timestamp()) // 30), hashlib.sha1)
    start = digest[19] & 15
    return f"{(struct.unpack('>I', digest[start : start + 4])[0] & 0x7FFFFFFF) % 10**6:06}"


def key_of(written: str) -> bytes:
    """Return the key that somebody typed into the app in groups of four."""
    return b32decode(written.replace(" ", ""))
