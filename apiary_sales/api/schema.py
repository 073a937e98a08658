"""What the OpenAPI description says of every operation."""

from typing import Any

ACTS = ("post", "put", "patch", "delete")
# What they are sent is no act that could be repeated by its key.
WITHOUT_KEY = ("/api/v1/token/", "/api/v1/stand-sales/bulk/")
KEY = {
    "in": "header",
    "name": "Idempotency-Key",
    "schema": {"type": "string", "minLength": 1, "maxLength": 100},
    "description": (
        "A text of your own, at most 100 characters, for this act alone. Sent again with the same "
        "body, it is answered as the first time, with `Idempotency-Replayed: true`, and nothing is "
        "done; with another body it is refused (`key_used`). A refused act may be sent again "
        "under its key. Keys belong to the person or the token; answers are kept for 90 days, and "
        "a key that comes later is refused with what it made (`already_recorded`)."
    ),
}
REPLAYED = {
    "schema": {"type": "string", "enum": ["true"]},
    "description": "The answer is that of the first time; nothing was done now.",
}


def add_problems(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """Say of every operation that any refusal is answered as problem details (RFC 9457).

    Of acts, say too what their key does.
    """
    problem = {
        "description": "A refusal, as problem details.",
        "content": {
            "application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}
        },
    }
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            if isinstance(operation, dict) and "responses" in operation:
                operation["responses"].setdefault("default", problem)
                if method in ACTS and path not in WITHOUT_KEY:
                    _describe_key(operation)
    return result


def _describe_key(operation: dict[str, Any]) -> None:
    """Say what the key of an act does; one that needs none may be sent with one all the same."""
    parameters = operation.setdefault("parameters", [])
    there = next((each for each in parameters if each["name"] == KEY["name"]), None)
    if there is None:
        parameters.append(dict(KEY))
    else:
        there.update(KEY)
    for status, response in operation["responses"].items():
        if status.startswith("2"):
            response.setdefault("headers", {})["Idempotency-Replayed"] = REPLAYED


def close_bodies(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """Say of every body that it takes the fields it names, and no other."""
    components = result["components"]["schemas"]
    for path in result["paths"].values():
        for operation in path.values():
            if isinstance(operation, dict):
                for content in operation.get("requestBody", {}).get("content", {}).values():
                    _close(content["schema"], components)
    return result


def _close(schema: Any, components: dict[str, Any]) -> None:
    """Close an object and all that is in it; a part that several bodies share is closed once."""
    if isinstance(schema, list):
        for part in schema:
            _close(part, components)
    elif isinstance(schema, dict):
        if "$ref" in schema:
            schema = components[schema["$ref"].rpartition("/")[2]]
        if "properties" in schema:
            if "additionalProperties" in schema:
                return
            schema["additionalProperties"] = False
            _close(list(schema["properties"].values()), components)
        for name in ("items", "allOf", "oneOf"):
            _close(schema.get(name), components)
