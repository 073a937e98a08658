"""What a refusal says, as problem details (RFC 9457), whoever refuses."""

from collections.abc import Sequence
from http import HTTPStatus
from typing import Any

CONTENT_TYPE = "application/problem+json"


def problem_content(
    *, status: int, code: str, detail: str, errors: Sequence[dict[str, Any]] = (), **more: Any
) -> dict[str, Any]:
    """Return the members of a problem; `more` are members of this kind of problem alone.

    `code` tells programs what it is, `detail` people; `errors` names each field that is wrong.
    """
    return {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": int(status),
        "code": code,
        "detail": _sendable(detail),
        "errors": list(errors),
        **more,
    }


def _sendable(sentence: str) -> str:
    """Return a sentence without half characters that were received: they can't be encoded."""
    return sentence.encode("utf-8", "replace").decode("utf-8")
