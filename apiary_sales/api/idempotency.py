"""One key, one act: what an act answered is kept, and a repeat is answered with it.

The answer is kept in the transaction of the act, so that after a crash there are both or neither.
Of two who send one key at the same moment, one acts while the other waits for its row; then it is
answered as the first was, or acts where that was refused. A refusal is not kept: a corrected body
may act under the same key.

Answers are kept for `KEPT_FOR`. The books keep the keys for ever: a key that comes later than that
is refused, and the refusal names what it made.
"""

import functools
import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import HttpResponse, QueryDict
from django.template.response import SimpleTemplateResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework import status
from rest_framework.exceptions import APIException, ParseError
from rest_framework.request import Request

from apiary_sales.accounts.models import User
from apiary_sales.api import versions
from apiary_sales.api.models import KeptAnswer
from apiary_sales.customers.models import Customer
from inventory.shared import keys
from inventory.shared.people import person_of

# Longer than any till is out of reach; what was answered may name customers.
KEPT_FOR = timedelta(days=90)
REPLAYED = "Idempotency-Replayed"
# The methods of acts.
ACTS = ("post", "put", "patch", "delete")


class KeyUsedDifferently(APIException):
    """The key came before, with another body or at another address; `recorded` is its answer."""

    status_code = status.HTTP_409_CONFLICT
    default_code = "key_used"

    def __init__(self, kept: KeptAnswer) -> None:
        super().__init__(
            _(
                "This Idempotency-Key was used before for something else: %(method)s %(address)s. "
                "Send a new key with a new act, and the same body with the same key."
            )
            % {"method": kept.method, "address": kept.address}
        )
        self.recorded = json.loads(kept.body) if kept.body else None


@dataclass(frozen=True)
class KeyedAct:
    """An act that is asked for under a key: whose key, and what for."""

    person: User
    token: str
    key: str
    method: str
    address: str
    body_sha256: str

    @classmethod
    def alone(cls, request: Request, key: str, name: str, body: Mapping[str, Any]) -> "KeyedAct":
        """Return what one act of many would ask for at its own address, with its key apart."""
        return cls(
            person=person_of(request),
            token=token_of(request),
            key=key,
            method="POST",
            address=reverse(name),
            body_sha256=fingerprint({name: body[name] for name in body if name != "key"}),
        )


@dataclass(frozen=True)
class ActAnswer:
    """What an act answered, with the body as text."""

    status: int
    headers: Mapping[str, str]
    body: str
    is_repeat: bool = False

    @classmethod
    def of(cls, response: HttpResponse, view: Any) -> "ActAnswer":
        """Return what a view answers, in the words in which it is sent."""
        response = view.finalize_response(view.request, response)
        if isinstance(response, SimpleTemplateResponse):
            response.render()
        return cls(response.status_code, dict(response.headers), response.content.decode())

    def content(self) -> Any:
        """Return what the body says, None where it has none."""
        return json.loads(self.body) if self.body else None

    def response(self) -> HttpResponse:
        response = HttpResponse(self.body, status=self.status)
        # One without a body has none either.
        del response.headers["Content-Type"]
        for name, value in self.headers.items():
            response.headers[name] = value
        if self.is_repeat:
            response.headers[REPLAYED] = "true"
        return response


def checked_key(key: str) -> str:
    """Return a key without spaces around it; raises `ParseError` for one that can't be kept."""
    key = key.strip()
    if not 1 <= len(key) <= keys.LENGTH_MAX or "\x00" in key:
        raise ParseError(_("Send an Idempotency-Key header of 1 to 100 characters."))
    return key


def token_of(request: Request) -> str:
    """Return what tells the token that signed the request from the person's others.

    A sign-in in a browser has no token, and a token that is the only one of its person no digest.
    """
    return str(getattr(request.auth, "digest", ""))


def asked(request: Request) -> KeyedAct | None:
    """Return what a request asks for, None where it has no key. Raises what reading it raises."""
    if "Idempotency-Key" not in request.headers:
        return None
    return KeyedAct(
        person=person_of(request),
        token=token_of(request),
        key=checked_key(request.headers["Idempotency-Key"]),
        method=str(request.method),
        address=request.get_full_path(),
        body_sha256=fingerprint(request.data),
    )


def fingerprint(body: Any) -> str:
    """Return the SHA-256 of what a body says, however its JSON or form is written."""
    if isinstance(body, QueryDict):
        body = {name: [_content(value) for value in values] for name, values in body.lists()}
    text = json.dumps(body, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _content(value: Any) -> Any:
    if not isinstance(value, UploadedFile):
        return value
    digest = hashlib.file_digest(value, "sha256").hexdigest()
    value.seek(0)
    return [value.name, value.content_type, digest]


def once(asked: KeyedAct, act: Callable[[], ActAnswer]) -> ActAnswer:
    """Act and keep the answer, in one transaction; or return the answer that is kept.

    Raises `KeyUsedDifferently`, and what the act raises: then nothing is changed or kept.
    """
    with transaction.atomic():
        kept, is_new = KeptAnswer.objects.get_or_create(
            person=asked.person,
            token=asked.token,
            key=asked.key,
            defaults={
                "method": asked.method,
                "address": asked.address,
                "body_sha256": asked.body_sha256,
            },
        )
        if not is_new and kept.status is not None:
            return _repeated(kept, asked)
        answer = act()
        if _is_refusal(answer.status):
            transaction.set_rollback(True)
            return answer
        kept.status, kept.headers, kept.body = answer.status, dict(answer.headers), answer.body
        kept.save(update_fields=["status", "headers", "body"])
        return answer


def _is_refusal(answered: int) -> bool:
    return answered >= status.HTTP_400_BAD_REQUEST


def _repeated(kept: KeptAnswer, asked: KeyedAct) -> ActAnswer:
    was = (kept.method, kept.address, kept.body_sha256)
    if was != (asked.method, asked.address, asked.body_sha256):
        raise KeyUsedDifferently(kept)
    assert kept.status is not None
    return ActAnswer(kept.status, kept.headers, kept.body, is_repeat=True)


def answered_once(act: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Return a method of an act view that acts once for a key, all in one transaction."""

    @functools.wraps(act)
    def acting(view: Any, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        if not view.is_one_transaction:
            return act(view, request, *args, **kwargs)

        def act_on_version() -> HttpResponse:
            return versions.acted(request, lambda: act(view, request, *args, **kwargs))

        wanted = asked(request)
        if wanted is None:
            with transaction.atomic():
                response = act_on_version()
                if _is_refusal(response.status_code):
                    transaction.set_rollback(True)
                return response
        answer = once(wanted, lambda: ActAnswer.of(act_on_version(), view))
        return answer.response()

    acting.acts_once = True  # type: ignore[attr-defined]
    return acting


def forget_old() -> int:
    """Delete the answers that were kept long enough; return how many."""
    old = KeptAnswer.objects.filter(answered_at__lt=timezone.now() - KEPT_FOR)
    return old.delete()[0]


def forget_all(customer: Customer) -> None:
    """Delete all that is kept, since any of it may tell of a customer who is erased.

    A key that comes again is refused, and the refusal names what it made. The act that erases has
    no answer yet, and keeps its own.
    """
    KeptAnswer.objects.filter(status__isnull=False).delete()
