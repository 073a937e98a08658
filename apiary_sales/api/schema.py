"""What the OpenAPI description says of every operation, and of every field of an answer."""

from typing import Any

from django.core.exceptions import FieldDoesNotExist
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import force_instance
from rest_framework import serializers

from apiary_sales.api.problem_contents import CONTENT_TYPE

ACTS = ("post", "put", "patch", "delete")
# What they are sent is no act that could be repeated by its key.
WITHOUT_KEY = ("/api/v1/token/", "/api/v1/stand-sales/bulk/")
KEY = {
    "in": "header",
    "name": "Idempotency-Key",
    "schema": {"type": "string", "minLength": 1, "maxLength": 100, "pattern": "[!-~]"},
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


# What each refusal is for; `_refusals` says which operations have it.
REFUSALS = {
    "400": "A body, a parameter or a header is not right: it can't be read or kept.",
    "401": "Nobody is signed in, or the token is not one that works.",
    "403": "Whoever asks may not do this, or their token is not for it.",
    "404": "There is nothing with this id, code or number, or the act belongs to another address.",
    "406": "No answer is there in the media type that the Accept header asks for.",
    "409": "The books do not allow it now, or the key was used before.",
    "413": "The body is too long.",
    "415": "The body is in another media type or charset than this address reads.",
    "422": "What was sent can be read, but is refused for its figures.",
    "429": "There were too many tries. Wait as long as Retry-After says.",
    "503": "This can't be done at the moment. Send it again after as long as Retry-After says.",
    "default": "A refusal, as problem details.",
}
REFUSAL_HEADERS = {
    "401": {"WWW-Authenticate": "How to sign in."},
    "429": {"Retry-After": "Seconds to wait."},
}


def add_problems(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """Say of every operation which refusals it has, all as problem details (RFC 9457).

    Of acts, say too what their key does. Those of one status are described once for all.
    """
    result["components"]["responses"] = {
        _refusal_name(status): _refusal(status) for status in REFUSALS
    }
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            if isinstance(operation, dict) and "responses" in operation:
                is_keyed = method in ACTS and path not in WITHOUT_KEY
                responses = operation["responses"]
                for status in _refusals(path, method, operation):
                    reference = f"#/components/responses/{_refusal_name(status)}"
                    responses[status] = {"$ref": reference}
                operation["responses"] = dict(sorted(responses.items()))
                if is_keyed:
                    _describe_key(operation)
    return result


def _refusal_name(status: str) -> str:
    return "Refusal" if status == "default" else f"Refusal{status}"


def _refusal(status: str) -> dict[str, Any]:
    refusal: dict[str, Any] = {
        "description": REFUSALS[status],
        "content": {CONTENT_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    if status in REFUSAL_HEADERS:
        refusal["headers"] = {
            name: {"schema": {"type": "string"}, "description": said, "required": True}
            for name, said in REFUSAL_HEADERS[status].items()
        }
    return refusal


def _refusals(path: str, method: str, operation: dict[str, Any]) -> set[str]:
    """Return the statuses of an operation's refusals: those of its kind, and those it names."""
    found = {"400", "406", "default"}
    found |= {status for status in operation["responses"] if status in REFUSALS}
    if any(operation.get("security", ())):
        found |= {"401", "403"}
    if "{" in path or method in ACTS:
        found.add("404")
    if method in ACTS:
        # A body is read also where an act asks for none.
        found |= {"413", "415"}
        if path not in WITHOUT_KEY:
            found.add("409")
    return found


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


class ApiSchema(AutoSchema):
    """Says of the fields of answers which may be null, and that all others are always there."""

    def _get_serializer_field_meta(self, field: Any, direction: str) -> dict[str, Any]:
        meta: dict[str, Any] = super()._get_serializer_field_meta(field, direction)
        if direction == "response" and _may_be_null(field):
            meta["nullable"] = True
        return meta

    def _map_serializer_field(
        self, field: Any, direction: str, bypass_extensions: bool = False
    ) -> Any:
        schema = super()._map_serializer_field(field, direction, bypass_extensions)
        if isinstance(field, serializers.TimeField) and schema.get("format") == "time":
            # In JSON Schema a time has its time zone with it; the house has but one.
            del schema["format"]
            schema["pattern"] = "^[0-9]{2}:[0-9]{2}(:[0-9]{2}([.][0-9]{1,6})?)?$"
        return schema

    def _map_basic_serializer(self, serializer: Any, direction: str) -> dict[str, Any]:
        schema: dict[str, Any] = super()._map_basic_serializer(serializer, direction)
        if direction == "response":
            fields = force_instance(serializer).fields
            there = [name for name in schema.get("properties", {}) if _is_there(fields[name])]
            if there:
                schema["required"] = sorted(there)
        return schema


def _may_be_null(field: Any) -> bool:
    """Tell whether a field can answer null: by its default, or since what it points at can."""
    if not isinstance(field, serializers.Field):
        return False
    if field.allow_null or field.default is None:
        return True
    if not isinstance(field, serializers.RelatedField):
        return False
    model = getattr(getattr(field.parent, "Meta", None), "model", None)
    try:
        for name in (field.source or field.field_name or "").split("."):
            if model is None:
                return False
            column = model._meta.get_field(name)
            if getattr(column, "null", False) or column.auto_created:
                return True
            model = column.related_model
    except FieldDoesNotExist:
        return False
    return False


def _is_there(field: Any) -> bool:
    """Tell whether an answer always has a field: one that need not be sent may be left out.

    What a row of a model need not be sent has a default in the database.
    """
    is_of_row = isinstance(field.parent, serializers.ModelSerializer)
    return field.required or field.read_only or is_of_row or field.default is not serializers.empty
