"""Sign what is sent, by the open scheme "Standard Webhooks", and keep the secrets for it.

The signature is an HMAC with SHA-256 over `id.timestamp.body`. While an old secret is valid beside
the new one, both sign.
"""

import secrets
from base64 import b64encode
from datetime import UTC, datetime

from standardwebhooks import Webhook

from apiary_sales.accounts import sealed_keys
from apiary_sales.webhooks.models import Endpoint

PURPOSE = b"signing of messages to programs"
SECRET_BYTES = 32
PREFIX = "whsec_"


class SecretUnreadable(Exception):
    """The secret was encrypted with another SECRET_KEY."""


def new_secret() -> str:
    return PREFIX + b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def seal(secret: str) -> str:
    return sealed_keys.seal(secret.encode(), purpose=PURPOSE)


def headers(endpoint: Endpoint, *, event_id: str, body: str, now: datetime) -> dict[str, str]:
    """Return the headers that sign a body. Raises `SecretUnreadable`."""
    sealed = [endpoint.sealed_secret]
    if endpoint.old_secret_until is not None and now < endpoint.old_secret_until:
        sealed.append(endpoint.sealed_old_secret)
    # The library takes the moment for one of UTC, whatever its zone.
    at = now.astimezone(UTC)
    signatures = [Webhook(_open(each)).sign(event_id, at, body) for each in sealed]
    return {
        "webhook-id": event_id,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(signatures),
    }


def _open(sealed: str) -> str:
    secret = sealed_keys.unseal(sealed, purpose=PURPOSE)
    if secret is None:
        raise SecretUnreadable
    return secret.decode()
