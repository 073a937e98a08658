"""Examples in the description: what the tour sends and is answered."""

from typing import Any

from apiary_sales.api import tour


def add_examples(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """Give each operation that the tour asks what it sends and what it is answered."""
    for call in tour.calls():
        path = call.path.partition("?")[0]
        operation = result["paths"][described(path, list(result["paths"]))][call.method]
        if call.body is not None:
            _add(operation["requestBody"]["content"], call.body)
        if call.answer is not None and not is_refused(call.answer):
            [answered] = [
                each for status, each in operation["responses"].items() if is_done(status)
            ]
            _add(answered["content"], call.answer)
    return result


def described(path: str, paths: list[str]) -> str:
    """Return the path of the description for an address.

    Where a part may be anything, `{code}`, another path with the very part comes first.

    >>> described("/api/v1/lots/26-E01/", ["/api/v1/lots/", "/api/v1/lots/{code}/"])
    '/api/v1/lots/{code}/'
    """
    parts = path.split("/")
    found = [
        each
        for each in paths
        if len(wanted := each.split("/")) == len(parts)
        and all(want == part or want[:1] == "{" for want, part in zip(wanted, parts, strict=True))
    ]
    return min(found, key=lambda each: each.count("{"))


def is_refused(answer: Any) -> bool:
    return isinstance(answer, dict) and answer.get("type") == "about:blank"


def is_done(status: str) -> bool:
    return status.startswith("2")


def _add(content: dict[str, Any], value: Any) -> None:
    """Add an example, unless there is one: the tour asks some addresses more than once."""
    content["application/json"].setdefault("examples", {"tour": {"value": value}})
