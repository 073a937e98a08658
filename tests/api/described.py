"""What the description of the API says of an answer, and what of an answer it does not say."""

import re
from copy import deepcopy
from functools import cache
from typing import Any
from urllib.parse import quote

import jsonschema_rs
from django.http import HttpResponse
from django.urls import Resolver404, resolve
from django.utils import translation
from drf_spectacular.generators import EndpointEnumerator, SchemaGenerator

HERE = "urn:description"
PROBLEM = "/components/schemas/Problem"
HOLE = re.compile(r"\{.*?\}")


@cache
def description() -> dict[str, Any]:
    """Return the description, made once in each process."""
    with translation.override("en"):
        return SchemaGenerator().get_schema(request=None, public=True)


@cache
def _paths() -> dict[str, str]:
    """Return each path by what it is without the names in its holes."""
    return {HOLE.sub("{}", path): path for path in description()["paths"]}


@cache
def _path_of(route: str) -> str | None:
    """Return the path of a route, None for one that the description leaves out."""
    return _paths().get(HOLE.sub("{}", EndpointEnumerator().get_path_from_regex(route)))


@cache
def _registry() -> jsonschema_rs.Registry:
    """Return the description with every object closed: what it does not name is wrong."""
    closed = deepcopy(description())
    _close(closed["components"]["schemas"])
    _close(closed["paths"])
    return jsonschema_rs.Registry([(HERE, closed)], draft=jsonschema_rs.Draft202012)


def _close(part: Any) -> None:
    if isinstance(part, list):
        for each in part:
            _close(each)
    elif isinstance(part, dict):
        if part.get("type") == "object" and "properties" in part:
            part.setdefault("additionalProperties", False)
        for each in part.values():
            _close(each)


@cache
def _validator(pointer: str) -> Any:
    schema = {"$ref": f"{HERE}#{quote(pointer, safe='/~')}"}
    return jsonschema_rs.Draft202012Validator(schema, registry=_registry(), validate_formats=True)


def _pointer(*names: str) -> str:
    return "".join(f"/{name.replace('~', '~0').replace('/', '~1')}" for name in names)


@cache
def _answers(path: str, method: str, status: int) -> tuple[str, dict[str, Any]] | None:
    """Return the answer of this status and where it is, None where it is not described."""
    responses = description()["paths"][path][method]["responses"]
    # What goes wrong inside may go wrong anywhere.
    name = "default" if status >= 500 and str(status) not in responses else str(status)
    if name not in responses:
        return None
    found = responses[name]
    if "$ref" in found:
        name = found["$ref"].rpartition("/")[2]
        pointer = _pointer("components", "responses", name)
        return pointer, description()["components"]["responses"][name]
    return _pointer("paths", path, method, "responses", name), found


def faults_of(response: HttpResponse) -> list[str]:
    """Return what of an answer the description does not say."""
    request = response.wsgi_request
    method = {"HEAD": "get"}.get(request.method, request.method.lower())
    path = _path_asked(request)
    media_type = response.headers.get("Content-Type", "").partition(";")[0]
    if path is None or method not in description()["paths"][path]:
        # It has no operation: a refusal says so, the beginning and a lost slash lead to one.
        if response.status_code < 400:
            return []
        pointer = PROBLEM
        if media_type != "application/problem+json":
            return [f"{media_type} for a refusal"]
    else:
        found = _answers(path, method, response.status_code)
        if found is None:
            return [f"status {response.status_code}"]
        pointer, answer = found
        content = answer.get("content", {})
        if not content:
            return [f"a body with status {response.status_code}"] if response.content else []
        if media_type not in content:
            return [f"{media_type} with status {response.status_code}"]
        pointer += _pointer("content", media_type, "schema")
    if request.method == "HEAD" or not media_type.endswith("json"):
        return []
    if not response.content:
        return [f"no body with status {response.status_code}"]
    return [
        f"{error.instance_path}: {error.message[:300]}"
        for error in _validator(pointer).iter_errors(response.json())
    ]


def _path_asked(request: Any) -> str | None:
    found = getattr(request, "resolver_match", None)
    if found is None:
        try:
            found = resolve(request.path_info)
        except Resolver404:
            return None
    return _path_of(found.route)
