"""The pages that tell a person about the API: a page a subject, and the tour.

They show what the description says, and work without any other server, script or style.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from apiary_sales.api import description, subjects, tour
from apiary_sales.api.description import Description, name_of
from apiary_sales.api.schema import KEY

Schema = Mapping[str, Any]

# What is in the lines of the lines of a body is shown; nothing of ours is deeper.
LEVELS_MAX = 4
# What a value of a field may look like, where nothing else says so.
SAMPLES: dict[str, Any] = {
    "date": "2026-07-20",
    "date-time": "2026-07-20T10:30:00-05:00",
    "decimal": "1.00",
    "email": "ada@example.com",
    "integer": 1,
    "number": 1.0,
    "boolean": True,
    "null": None,
}


@dataclass(frozen=True)
class FieldRow:
    """A field or a parameter; one inside of another is named with its way: `lines[].product`."""

    name: str
    kind: str
    is_needed: bool
    said: SafeString


@dataclass(frozen=True)
class AnswerRow:
    """What is answered with a status; `thing` is the name of what is described below, if any."""

    status: str
    kind: str
    thing: str


@dataclass(frozen=True)
class AnsweredThing:
    """What is answered, by its fields."""

    name: str
    said: SafeString
    fields: list[FieldRow]


@dataclass(frozen=True)
class Operation:
    """What can be asked of one address by one method."""

    key: str
    method: str
    path: str
    summary: str
    said: SafeString
    parameters: list[FieldRow]
    fields: list[FieldRow]
    command: str
    answers: list[AnswerRow]
    example: str


def index(request: HttpRequest) -> HttpResponse:
    """Show how a program asks, and the subjects."""
    kept = description.current()
    counts = {subject.slug: 0 for subject in subjects.SUBJECTS}
    for _path, _method, operation in operations(kept):
        for tag in operation["tags"]:
            counts[tag] += 1
    rows = [(subject, counts[subject.slug]) for subject in subjects.SUBJECTS]
    return render(request, "api/docs.html", {"subjects": rows})


def subject(request: HttpRequest, slug: str) -> HttpResponse:
    """Show all that can be asked about one subject, and what is answered."""
    shown = subjects.BY_SLUG.get(slug)
    if shown is None:
        raise Http404
    kept = description.current()
    asked = [
        _operation(kept, path, method, operation)
        for path, method, operation in operations(kept)
        if slug in operation["tags"]
    ]
    names = {answer.thing for each in asked for answer in each.answers if answer.thing}
    things = [_thing(kept, name) for name in sorted(names)]
    context = {"subject": shown, "operations": asked, "things": things}
    return render(request, "api/docs_subject.html", context)


def worked_tour(request: HttpRequest) -> HttpResponse:
    """Show the tour with its commands and answers."""
    title, *parts = tour.blocks()
    blocks = [(part, [marked(each) for each in part.points]) for part in parts]
    return render(request, "api/docs_tour.html", {"title": title.text, "blocks": blocks})


def operations(kept: Description) -> Iterator[tuple[str, str, Schema]]:
    """Yield path, method and operation of all that can be asked."""
    for path, methods in kept.content["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def _operation(kept: Description, path: str, method: str, operation: Schema) -> Operation:
    media_type, content = _first(operation.get("requestBody", {}).get("content", {}))
    body = content.get("schema", {})
    return Operation(
        key=operation["operationId"],
        method=method.upper(),
        path=path,
        summary=operation["summary"],
        said=marked(operation["description"]),
        parameters=[_parameter(kept, each) for each in operation.get("parameters", [])],
        fields=list(_fields(kept, body)),
        command=_command(kept, path, method, media_type, content),
        answers=_answers(kept, operation["responses"]),
        example=_example_answer(operation),
    )


def _first(content: Mapping[str, Any]) -> tuple[str, Schema]:
    return next(iter(content.items()), ("", {}))


def _parameter(kept: Description, parameter: Schema) -> FieldRow:
    # What a key does is said once, on the page of the subjects.
    is_key = parameter["name"] == KEY["name"]
    said = _("For this act alone.") if is_key else parameter.get("description", "")
    return FieldRow(
        name=parameter["name"],
        kind=kind_of(kept, parameter["schema"]),
        is_needed=parameter.get("required", False),
        said=marked(said),
    )


def _answers(kept: Description, responses: Mapping[str, Schema]) -> list[AnswerRow]:
    """Return a row for each answer; refusals, which are alike, are one."""
    rows: list[AnswerRow] = []
    for status, response in responses.items():
        row = _answer(kept, status, response)
        if rows and (rows[-1].kind, rows[-1].thing) == (row.kind, row.thing):
            rows[-1] = replace(row, status=f"{rows[-1].status}, {status}")
        else:
            rows.append(row)
    return rows


def _answer(kept: Description, status: str, response: Schema) -> AnswerRow:
    media_type, content = _first(response.get("content", {}))
    schema = content.get("schema", {})
    if media_type == "application/problem+json":
        return AnswerRow(status, _("a refusal, as problem details"), "")
    if not schema:
        return AnswerRow(status, _("no content"), "")
    if not media_type.endswith("json"):
        return AnswerRow(status, media_type, "")
    results = kept.resolved(schema).get("properties", {}).get("results", {})
    if "items" in results and name_of(results["items"]):
        return AnswerRow(status, _("a page of"), name_of(results["items"]))
    if schema.get("type") == "array" and name_of(schema["items"]):
        return AnswerRow(status, _("a list of"), name_of(schema["items"]))
    return AnswerRow(status, "" if name_of(schema) else kind_of(kept, schema), name_of(schema))


def _thing(kept: Description, name: str) -> AnsweredThing:
    schema = kept.content["components"]["schemas"][name]
    said = marked(schema.get("description", ""))
    return AnsweredThing(name=name, said=said, fields=list(_fields(kept, schema)))


def _fields(kept: Description, schema: Schema, before: str = "", level: int = 1) -> Iterator:
    """Yield a row for each field of an object, each followed by those inside of it."""
    described = kept.resolved(schema)
    for name, part in described.get("properties", {}).items():
        yield FieldRow(
            name=f"{before}{name}",
            kind=kind_of(kept, part),
            is_needed=name in described.get("required", []),
            said=marked(part.get("description", "")),
        )
        if level < LEVELS_MAX:
            inside, ending = _inside(kept, part)
            yield from _fields(kept, inside, f"{before}{name}{ending}.", level + 1)


def _inside(kept: Description, part: Schema) -> tuple[Schema, str]:
    """Return the object that a field is, or that a list of it has, with the ending of its name."""
    described = kept.resolved(part)
    if "items" in described:
        return kept.resolved(described["items"]), "[]"
    for choice in _choices(described):
        found, ending = _inside(kept, choice)
        if "properties" in found:
            return found, ending
    return described, ""


def _choices(schema: Schema) -> list[Schema]:
    return [each for name in ("allOf", "oneOf", "anyOf") for each in schema.get(name, [])]


def kind_of(kept: Description, schema: Schema) -> str:
    """Return in words what a value may be."""
    described = kept.resolved(schema)
    if choices := _choices(described):
        return _(" or ").join(dict.fromkeys(kind_of(kept, each) for each in choices))
    if "enum" in described:
        return _("one of %(values)s") % {"values": ", ".join(map(_value, described["enum"]))}
    kinds = described.get("type", [])
    named = [kinds] if isinstance(kinds, str) else list(kinds)
    return _(" or ").join(_kind(kept, kind, described) for kind in named) or _("any value")


def _value(value: Any) -> str:
    if value == "":
        return _("empty")
    return "null" if value is None else str(value)


def _kind(kept: Description, kind: str, schema: Schema) -> str:
    if kind == "array":
        return _("list of %(what)s") % {"what": kind_of(kept, schema.get("items", {}))}
    if kind == "string":
        return _text(schema)
    words = {
        "integer": _("whole number"),
        "number": _("number"),
        "boolean": _("true or false"),
        "object": _("object"),
    }
    if kind in ("integer", "number"):
        return f"{words[kind]}{_bounds(schema)}"
    return words.get(kind, kind)


def _text(schema: Schema) -> str:
    words = {
        "date": _("day"),
        "date-time": _("moment"),
        "decimal": _("decimal number, as text"),
        "binary": _("file"),
        "email": _("e-mail address"),
        "uri": _("web address"),
    }
    word = words.get(schema.get("format", ""), _("text"))
    if "maxLength" in schema:
        return _("%(what)s, at most %(number)s characters") % {
            "what": word,
            "number": schema["maxLength"],
        }
    return word


def _bounds(schema: Schema) -> str:
    least, most = schema.get("minimum"), schema.get("maximum")
    if least is not None and most is not None:
        return _(", %(least)s to %(most)s") % {"least": least, "most": most}
    if least is not None:
        return _(", at least %(least)s") % {"least": least}
    return _(", at most %(most)s") % {"most": most} if most is not None else ""


def _command(kept: Description, path: str, method: str, media_type: str, content: Schema) -> str:
    """Return what `curl` is given to ask this."""
    parts = [f'curl "{tour.HOUSE}{path}"', '-H "Authorization: Token $KEY"']
    if method != "get":
        parts.append('-H "Idempotency-Key: $(uuidgen)"')
    if method not in ("get", "post"):
        parts.insert(1, f"-X {method.upper()}")
    if media_type == "application/json":
        body = json.dumps(_example_body(kept, content), ensure_ascii=False)
        quoted = body.replace("'", "'\\''")
        parts.append(f"-H 'Content-Type: application/json' -d '{quoted}'")
    elif media_type == "multipart/form-data":
        described = kept.resolved(content["schema"])
        for name in described.get("required", []):
            part = kept.resolved(described["properties"][name])
            is_file = part.get("format") == "binary"
            parts.append(f"-F {name}={'@file.pdf' if is_file else _sample(kept, part)}")
    elif method == "post":
        parts.insert(1, "-X POST")
    return " \\\n  ".join(parts)


def _example_body(kept: Description, content: Schema) -> Any:
    examples = list(content.get("examples", {}).values())
    return examples[0]["value"] if examples else _sample(kept, content["schema"])


def _sample(kept: Description, schema: Schema) -> Any:
    """Return a value of the right kind, an object with what it needs alone."""
    described = kept.resolved(schema)
    if choices := _choices(described):
        return _sample(kept, choices[0])
    for name in ("default", "example"):
        if name in described:
            return described[name]
    if "enum" in described:
        return described["enum"][0]
    kinds = described.get("type", "object")
    kind = kinds if isinstance(kinds, str) else kinds[0]
    if kind == "array":
        return [_sample(kept, described["items"])]
    if kind == "object":
        return {
            name: _sample(kept, described["properties"][name])
            for name in described.get("required", [])
        }
    if kind == "integer":
        return max(1, described.get("minimum", 1))
    return SAMPLES.get(described.get("format", kind), "…")


def _example_answer(operation: Schema) -> str:
    for response in operation["responses"].values():
        for content in response.get("content", {}).values():
            for example in content.get("examples", {}).values():
                return json.dumps(example["value"], ensure_ascii=False, indent=2)
    return ""


def marked(text: str) -> SafeString:
    """Return a text with its paragraphs, and what is between backticks as code.

    >>> marked("Send `seen`.")
    '<p>Send <code>seen</code>.</p>'
    """
    paragraphs = [part for part in text.split("\n\n") if part.strip()]
    return format_html_join("", "<p>{}</p>", ((_with_code(part),) for part in paragraphs))


def _with_code(text: str) -> SafeString:
    parts = enumerate(text.split("`"))
    return format_html_join(
        "",
        "{}",
        ((format_html("<code>{}</code>", part) if at % 2 else part,) for at, part in parts),
    )
