"""Asking every address of the service for what nobody would type, and seeing that it answers.

`of_address` makes the requests: an address with absurd parts, with each parameter that its view
reads, and each of its forms and bodies with every field absurd in turn. `Asker` sends them, each in
a transaction that is undone, and says what is wrong with an answer: a fault of the program, far
more questions to the database than the usual request asks, or too long on the processor. All is in
an order that a seed gives, so a part of it is the same part every time.
"""

import json
import random
import re
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from html.parser import HTMLParser
from time import process_time
from types import FrameType
from typing import Any
from unittest.mock import patch
from urllib.parse import quote, urlencode

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.forms import BaseForm
from django.http import HttpResponse, QueryDict
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from rest_framework import serializers

# Seconds on a processor that any one answer may take: many times what the slowest takes.
SECONDS_MAX = 20
# How many more questions to the database an absurd request may ask than a usual one of its address.
QUERIES_MORE = 400

MANY = 10_000
# A file where a text is expected, or one that is not of the kind that is.
FILE = SimpleUploadedFile("a\u202e.csv", b"\x00\xff;1\n" * MANY, "text/csv")
LONG = 1_000_000
# What is typed into a field, or written after the question mark.
TEXTS: dict[str, str] = {
    "nothing": "",
    "a space": " ",
    "zero": "0",
    "minus one": "-1",
    "minus zero": "-0",
    "the largest key": str(2**63 - 1),
    "too large a key": str(2**63),
    "a trillion": str(10**12),
    "a billion": str(10**9),
    "thousands of digits": "9" * 5000,
    "thousands of decimals": "0." + "1" * 5000,
    "a large exponent": "1e999",
    "a huge exponent": "1e999999999",
    "a tiny number": "1e-999999999",
    "no number": "NaN",
    "a loud no number": "sNaN",
    "infinity": "-Infinity",
    "other digits": "١٢٣",
    "a raised digit": "²",
    "a fraction": "1 1/0",
    "half a character": "\ud800",
    "a null character": "a\x00b",
    "control marks": "a\x07\x1b\r\nb\u2028",
    "direction marks": "a\u202eb\u200b\u2066",
    "beyond the plane": "𝟘🍯" * 50,
    "a long text": "x" * LONG,
    "the first day": "0001-01-01",
    "the last day": "9999-12-31",
    "no such day": "2026-02-30",
    "no such time": "25:99",
    "the first moment": "0001-01-01T00:00",
    "the last moment": "9999-12-31T23:59:59.999999+14:00",
    "the last month": "9999-12",
    "many lines": "x\n" * MANY,
    "many numbers": "1\n" * MANY,
    "many pairs": "1,2\n" * MANY,
    "many columns": "1;" * MANY,
    "many tabs": "a\tb\t1\n" * MANY,
    "many units": "1 lb 2 oz " * MANY,
    "many commas": "," * (LONG // 2),
    "many spaces": "1" + " " * 200_000 + "x",
    "deep brackets": "[" * 100_000,
    "a deep object": '{"a":' * 10_000,
    "an object": '{"lines": [{"product": null}], "a": NaN}',
    "a list": "[1, null, {}]",
    "a word of programs": "null",
    "signs of programs": "%s%(a)d{0}{a}'\";--<b>\\",
    "a path": "../../../etc/passwd",
}
# What stands in an address where a key, a code or a word is, as it is sent.
PARTS = {
    "zero": "0",
    "minus one": "-1",
    "the largest key": str(2**63 - 1),
    "too large a key": str(2**63),
    "thousands of digits": "9" * 5000,
    "a long word": "x" * 5000,
    "other digits": "%D9%A1%D9%A2",
    "a raised digit": "%C2%B2",
    "a null character": "%00",
    "half a character": "%ED%A0%80",
    "no UTF-8": "%FF%FE",
    "upwards": "..",
    "upwards, hidden": "%2e%2e",
    "a slash, hidden": "%2F",
    "a new line": "1%0A",
    "beyond the plane": "%F0%9F%8D%AF",
    "direction marks": "a%E2%80%AEb",
    "signs of programs": "%25s%27%3B--",
    "a comma": "1,2",
    "commas": "1," * 2000,
    "a fraction": "1.5",
    "an exponent": "1e9",
}
# What a program sends in a field.
VALUES: dict[str, Any] = {
    "null": None,
    "true": True,
    "a fraction": 1.5,
    "minus one": -1,
    "zero": 0,
    "a huge number": 10**30,
    "the largest key": 2**63 - 1,
    "too large a key": 2**63,
    "no list": [],
    "no object": {},
    "a list of nothing": [None],
    "lists in lists": [[[[1]]]],
    "an object of others": {"a": {"b": [1]}},
    "many of them": [1] * MANY,
    "many objects": [{"a": 1}] * MANY,
    "a large number": 1e300,
}
# Parameters that an address may have without its page asking for them at first.
USUAL_PARAMETERS = (
    *("page", "page_size", "ordering", "cursor", "next", "from", "until", "to", "since"),
    *("day", "year", "format", "q", "key", "changed_since"),
)
SPANS = re.compile(r"from|until|since|to|start|end|day|on|month|year|weeks|days")


@dataclass
class Ask:
    """One request: what it is about, and what is sent."""

    name: str
    what: str
    url: str
    method: str = "get"
    # What is sent, and what is put in its fields instead; `...` leaves a field out.
    body: Any = field(default_factory=dict)
    change: dict[Any, Any] = field(default_factory=dict)
    is_json: bool = False
    role: str = "owner"

    def content(self) -> Any:
        """Return what is sent. It is put together late: all of them would not fit in memory."""
        if self.is_json:
            content = self.body
            for place, value in self.change.items():
                content = with_value(content, place, value)
            return content
        content = {**self.body, **self.change}
        return {each: value for each, value in content.items() if value is not ...}

    def __str__(self) -> str:
        return f"{self.method.upper()} {self.name} with {self.what}"


@dataclass
class Seen:
    """What came of a request."""

    status: int
    queries: int
    seconds: float
    fault: str = ""
    response: HttpResponse | None = None
    names: list[str] = field(default_factory=list)


class TooLong(Exception):
    """An answer took longer on the processor than any may."""


@contextmanager
def bounded(seconds: float) -> Iterator[None]:
    """Raise `TooLong` in what takes more seconds on the processor, so that it does not go on."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise TooLong(f"more than {seconds} seconds on the processor")

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


class Asker:
    """Sends requests as people of each role, and undoes what they do."""

    def __init__(self, people: dict[str, Any]) -> None:
        """Sign in a person of each role, given by its name; "" is somebody who is not signed in."""
        self.clients = {"": Client(raise_request_exception=False)}
        for role, person in people.items():
            self.clients[role] = Client(raise_request_exception=False)
            self.clients[role].force_login(person)
        self.cookies = {role: dict(client.cookies) for role, client in self.clients.items()}
        self.usual: dict[tuple[str, str], int] = {}

    def send(self, ask: Ask) -> Seen:
        """Send a request, and undo what it did; `names` are the parameters its view looked for."""
        client = self.clients[ask.role]
        client.cookies.clear()
        client.cookies.update(self.cookies[ask.role])
        counted = Counted()
        names: dict[str, None] = {}
        begun = process_time()
        with transaction.atomic():
            with connection.execute_wrapper(counted), reading(names), bounded(SECONDS_MAX):
                try:
                    response = self._answer(client, ask)
                    fault = reason(response)
                except Exception as error:
                    response, fault = HttpResponse(status=500), told(error)
            transaction.set_rollback(True)
        return Seen(
            status=response.status_code,
            queries=counted.times,
            seconds=process_time() - begun,
            fault=fault,
            response=response,
            names=list(names),
        )

    def _answer(self, client: Client, ask: Ask) -> HttpResponse:
        content, kind = ask.content(), "application/x-www-form-urlencoded"
        headers = {"Idempotency-Key": "fuzz", "If-Match": "*"}
        data: str | bytes
        if ask.is_json:
            data, kind = json.dumps(content), "application/json"
        elif FILE in content.values():
            FILE.seek(0)
            data, kind = encode_multipart(BOUNDARY, _plain(content)), MULTIPART_CONTENT
        else:
            data = urlencode(content, doseq=True, errors="surrogatepass")
        if ask.method == "get":
            response = client.get(ask.url, headers=headers)
        else:
            response = client.generic(ask.method, ask.url, data, kind, headers=headers)
        if response.streaming:
            for _part in response.streaming_content:
                pass
        return response

    def faults(self, ask: Ask) -> list[str]:
        """Send a request and return what is wrong with its answer."""
        seen = self.send(ask)
        found = []
        if seen.status >= 500:
            found.append(f"{ask} answers {seen.status}: {seen.fault}")
        usual = self.usual.get((ask.name, ask.method), 0)
        if seen.queries > usual + QUERIES_MORE:
            found.append(f"{ask} asks the database {seen.queries} times, usually {usual}")
        return found


class Counted:
    """Counts the questions to the database."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self, execute: Callable, sql: str, params: Any, many: bool, context: Any) -> Any:
        self.times += 1
        return execute(sql, params, many, context)


@contextmanager
def reading(names: dict[str, None]) -> Iterator[None]:
    """Note the names that are looked for in what was sent: parameters, fields and files."""

    def noting(usual: Callable) -> Callable:
        def look(sent: MultiValueDict, name: Any, *arguments: Any) -> Any:
            # Addresses are looked up in such a mapping too.
            if isinstance(sent, QueryDict) and isinstance(name, str):
                names[name] = None
            return usual(sent, name, *arguments)

        return look

    kinds = {
        "get": MultiValueDict.get,
        "getlist": MultiValueDict.getlist,
        "__getitem__": MultiValueDict.__getitem__,
        "__contains__": dict.__contains__,
    }
    with patch.multiple(MultiValueDict, **{each: noting(usual) for each, usual in kinds.items()}):
        yield


def reason(response: HttpResponse) -> str:
    error = getattr(response, "exc_info", None)
    return told(error[1]) if error else ""


def told(error: BaseException) -> str:
    """Return what was raised and where in our own code."""
    places = []
    at = error.__traceback__
    while at is not None:
        path = at.tb_frame.f_code.co_filename
        if "/apiary_sales/" in path or "/inventory/" in path or at.tb_next is None:
            places.append(f"{'/'.join(path.rsplit('/', 3)[1:])}:{at.tb_lineno}")
        at = at.tb_next
    return f"{type(error).__name__}: {str(error)[:200]!a} at {' > '.join(places[-3:])}"


def _plain(content: dict[str, Any]) -> dict[str, Any]:
    """Return fields that can be in a body of many parts, which is text in UTF-8."""
    return {
        name.encode(errors="replace").decode(): (
            value.encode(errors="replace").decode() if isinstance(value, str) else value
        )
        for name, value in content.items()
        if value is not None
    }


# ------------------------------------------------------------------------- what a page offers


@dataclass
class FormSeen:
    """A form of a page: where it is sent, what is in it, and what may be."""

    action: str
    method: str
    body: dict[str, Any] = field(default_factory=dict)
    # What a person would fill in where the page has nothing.
    filled: dict[str, Any] = field(default_factory=dict)
    texts: set[str] = field(default_factory=set)
    # A browser sends the one that was pressed.
    buttons: list[tuple[str, str]] = field(default_factory=list)


class FormReader(HTMLParser):
    """Reads the forms of a page as a browser does."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[FormSeen] = []
        self._select: str | None = None
        self._text: str | None = None

    @property
    def form(self) -> FormSeen | None:
        return self.forms[-1] if self.forms else None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        at = dict(attrs)
        if tag == "form":
            self.forms.append(FormSeen(at.get("action") or "", (at.get("method") or "get").lower()))
        if self.form is None or "disabled" in at:
            return
        name, value = at.get("name"), at.get("value")
        if tag == "option" and self._select:
            self._option(self._select, value or "", "selected" in at)
        elif not name:
            return
        elif tag == "select":
            self._select = name
        elif tag == "textarea":
            self._text = name
            self.form.texts.add(name)
            self._put(name, "")
        elif tag in ("input", "button"):
            usual = "submit" if tag == "button" else "text"
            self._input(at.get("type") or usual, name, value, at)

    def handle_data(self, data: str) -> None:
        if self._text and data.strip() and self.form:
            self._put(self._text, data.removeprefix("\n"))

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = None
        elif tag == "textarea":
            self._text = None

    def _put(self, name: str, value: str, instead: str = "Clover") -> None:
        assert self.form is not None
        self.form.body[name] = value
        self.form.filled[name] = value or instead

    def _option(self, name: str, value: str, is_chosen: bool) -> None:
        assert self.form is not None
        if is_chosen or name not in self.form.body:
            self.form.body[name] = value
        if is_chosen or not self.form.filled.get(name):
            self.form.filled[name] = value

    def _input(self, kind: str, name: str, value: str | None, at: dict[str, str | None]) -> None:
        assert self.form is not None
        form = self.form
        if kind == "file":
            form.body.setdefault(name, "")
        elif kind in ("checkbox", "radio"):
            form.filled.setdefault(name, value or "on")
            if "checked" in at:
                form.body[name] = value or "on"
                form.filled[name] = value or "on"
        elif kind == "submit":
            form.buttons.append((name, value or ""))
        elif kind == "date":
            self._put(name, value or "", timezone.localdate().isoformat())
        elif kind == "time":
            self._put(name, value or "", "12:00")
        elif kind == "email" or "email" in name:
            self._put(name, value or "", "hazel@example.org")
        else:
            is_number = "data-typed" in at or at.get("inputmode") in ("decimal", "numeric")
            self._put(name, value or "", "5" if is_number else "Clover")


def forms_of(response: HttpResponse) -> list[FormSeen]:
    """Return the forms of a page; none of what is no page."""
    if not response.headers.get("Content-Type", "").startswith("text/html"):
        return []
    reader = FormReader()
    reader.feed(response.content.decode())
    return reader.forms


# ------------------------------------------------------------------- what a body of the API is


def sample(each: Any, *, with_all: bool = True) -> Any:
    """Return a value that a field of a body takes, as far as the field itself can tell."""
    queryset = getattr(each, "queryset", None)
    if isinstance(each, serializers.SlugRelatedField) and queryset is not None:
        found = queryset.all().order_by("pk").first()
        return getattr(found, each.slug_field, None)
    if isinstance(each, serializers.RelatedField) and queryset is not None:
        found = queryset.all().order_by("pk").first()
        return found.pk if found else None
    if isinstance(each, serializers.ChoiceField):
        return next(iter(each.choices), None)
    if isinstance(each, serializers.ListSerializer | serializers.ListField):
        return [sample(each.child, with_all=with_all)]
    if isinstance(each, serializers.Serializer):
        return {name: sample(inner) for name, inner in each.fields.items() if not inner.read_only}
    for kind, value in SAMPLES.items():
        if isinstance(each, kind):
            return value() if callable(value) else value
    return "Clover"


# How often a body is tried again without what was refused of it.
TRIES = 3
SAMPLES: dict[Any, Any] = {
    serializers.BooleanField: False,
    serializers.IntegerField: 5,
    serializers.DecimalField: "5",
    serializers.DateTimeField: lambda: timezone.now().isoformat(),
    serializers.DateField: lambda: timezone.localdate().isoformat(),
    serializers.TimeField: "12:00",
    serializers.EmailField: "hazel@example.org",
    serializers.DictField: dict,
}


def places_in(body: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield where the values of a body are, of the first row of a list only."""
    if path:
        yield path
    if isinstance(body, dict):
        for name in body:
            yield from places_in(body[name], (*path, name))
    elif isinstance(body, list) and body:
        yield from places_in(body[0], (*path, 0))


def with_value(body: Any, path: tuple[Any, ...], value: Any) -> Any:
    """Return a body with another value at a place."""
    if not path:
        return value
    copied = body.copy()
    copied[path[0]] = with_value(body[path[0]], path[1:], value)
    return copied


# -------------------------------------------------------------------------- what is asked


@cache
def patterns() -> dict[str, URLPattern]:
    """Return the pattern of every address of our own and of the back office, by its full name."""

    def below(resolver: Any, namespace: str) -> Iterator[tuple[str, URLPattern]]:
        for entry in resolver.url_patterns:
            if isinstance(entry, URLResolver):
                inner = f"{namespace}{entry.namespace}:" if entry.namespace else namespace
                yield from below(entry, inner)
            elif entry.name:
                yield f"{namespace}{entry.name}", entry

    return dict(below(get_resolver(), ""))


def absurd_addresses(name: str, arguments: dict[str, Any]) -> Iterator[Ask]:
    """Yield an address with each part of it absurd in turn, and each kind of absurd."""
    url = reverse(name, kwargs=arguments)
    for argument, value in arguments.items():
        written = quote(str(value), safe="")
        before, _found, after = url.rpartition(written)
        for what, part in PARTS.items():
            yield Ask(name, f"{what} for {argument}", f"{before}{part}{after}")


def absurd_parameters(name: str, url: str, names: list[str]) -> Iterator[Ask]:
    """Yield an address with each parameter absurd in turn, and with all of them at once."""
    for each in names:
        for what, text in TEXTS.items():
            if len(text) <= 20_000:
                yield Ask(name, f"{what} for {each}", asking(url, {each: text}))
        yield Ask(name, f"{each} many times", asking(url, {each: ["1", "x"] * 500}))
    for what, text in TEXTS.items():
        if len(text) <= 1000:
            yield Ask(name, f"{what} for everything", asking(url, dict.fromkeys(names, text)))
    spans = [each for each in names if SPANS.search(each)]
    ends = {each: "0001-01-01" if re.search("from|since|start", each) else "9999-12-31"
            for each in spans}  # fmt: skip
    yield Ask(name, "ten thousand years", asking(url, ends))
    yield Ask(name, "many parameters", asking(url, {f"a{number}": "1" for number in range(2000)}))


def asking(url: str, parameters: dict[str, Any]) -> str:
    mark = "&" if "?" in url else "?"
    return f"{url}{mark}{urlencode(parameters, doseq=True, errors='surrogatepass')}"


def absurd_bodies(name: str, url: str, form: FormSeen, names: list[str]) -> Iterator[Ask]:
    """Yield a form with each field absurd in turn: as its page has it, and filled in."""

    def ask(what: str, body: dict[str, Any], change: dict[str, Any]) -> Ask:
        return Ask(name, what, url, "post", body, change)

    yield ask("nothing at all", {}, {})
    kinds = {"as it is": form.body, "filled in": form.filled}
    for button, value in form.buttons:
        kinds[f"filled in, {button} {value} pressed"] = form.filled | {button: value}
    for kind, body in kinds.items():
        yield ask(kind, body, {})
        for each in dict.fromkeys([*body, *names]):
            for what, text in TEXTS.items():
                yield ask(f"{what} for {each}, {kind}", body, {each: text})
            yield ask(f"{each} twice, {kind}", body, {each: ["1", "x"]})
            yield ask(f"no {each}, {kind}", body, {each: ...})
            yield ask(f"a file for {each}, {kind}", body, {each: FILE})
    count = {f"{prefix}-{end}": "99999999" for prefix in _form_sets(names, form) for end in COUNTS}
    if count:
        yield ask("millions of rows", form.body, count)
    yield ask("many fields", form.body, {f"a{number}": "1" for number in range(2000)})


COUNTS = ("TOTAL_FORMS", "INITIAL_FORMS", "MIN_NUM_FORMS", "MAX_NUM_FORMS")


def _form_sets(names: list[str], form: FormSeen) -> set[str]:
    ending = f"-{COUNTS[0]}"
    return {each.removesuffix(ending) for each in [*names, *form.body] if each.endswith(ending)}


def absurd_json(name: str, url: str, method: str, body: dict[str, Any]) -> Iterator[Ask]:
    """Yield a body of the API with each of its values absurd in turn."""
    for what, value in [*VALUES.items(), *TEXTS.items()]:
        for path in places_in(body):
            where = ".".join(map(str, path))
            change = {path: value}
            yield Ask(name, f"{what} for {where}", url, method, body, change, is_json=True)
    for what, value in VALUES.items():
        yield Ask(name, f"{what} for a body", url, method, value, is_json=True)
    many = {f"a{number}": 1 for number in range(MANY)}
    yield Ask(name, "many fields", url, method, {**body, **many}, is_json=True)
    for path in places_in(body):
        if path[-1] == 0:
            change = {path[:-1]: _at(body, path[:-1]) * MANY}
            yield Ask(name, f"many rows of {path[-2]}", url, method, body, change, is_json=True)


def _at(body: Any, path: tuple[Any, ...]) -> Any:
    for part in path:
        body = body[part]
    return body


def bodies_of(view: Any, method: str) -> list[dict[str, Any]]:
    """Return bodies that an act of the API takes: the least, and one with every field."""
    kind = getattr(view, "serializer_class", None)
    if kind is None or not hasattr(view, method):
        return []
    found = [sample(kind(), with_all=with_all) for with_all in (False, True)]
    return [body for body in found if isinstance(body, dict)]


def taken(
    asker: Asker, name: str, url: str, method: str, body: dict[str, Any]
) -> tuple[dict[str, Any], Seen]:
    """Return what is left of a body without the fields that are refused, and what it answers."""
    seen = asker.send(Ask(name, "its own body", url, method, body, is_json=True))
    for _time in range(TRIES):
        wrong = refused_fields(seen.response) & set(body)
        if not wrong:
            break
        body = {field: body[field] for field in body if field not in wrong}
        seen = asker.send(Ask(name, "its own body", url, method, body, is_json=True))
    return body, seen


def refused_fields(response: HttpResponse | None) -> set[str]:
    """Return the fields of a body that a problem names."""
    if response is None or "json" not in response.headers.get("Content-Type", ""):
        return set()
    said = response.json()
    errors = said.get("errors", []) if isinstance(said, dict) else []
    return {str(error.get("field")).partition(".")[0] for error in errors}


def of_address(
    asker: Asker, name: str, arguments: dict[str, Any], seed: random.Random
) -> Iterator[list[Ask]]:
    """Yield the kinds of requests of an address, each in the order that a seed gives."""
    url = reverse(name, kwargs=arguments)
    pattern = patterns()[name]
    usual = asker.send(Ask(name, "nothing odd", url))
    asker.usual[name, "get"] = usual.queries
    kinds = [list(absurd_addresses(name, arguments))]
    if usual.status != 405:
        names = list(dict.fromkeys([*usual.names, *USUAL_PARAMETERS]))
        kinds.append(list(absurd_parameters(name, url, names)))
    view = getattr(pattern.callback, "cls", None)
    if view is not None:
        for method in ("post", "put", "patch"):
            for whole in bodies_of(view, method):
                body, seen = taken(asker, name, url, method, whole)
                most = asker.usual.get((name, method), 0)
                asker.usual[name, method] = max(most, seen.queries)
                kinds.append(list(absurd_json(name, url, method, body)))
    else:
        kinds += list(_forms_of_page(asker, name, url, usual))
    for kind in kinds:
        seed.shuffle(kind)
    yield from kinds


# What is tried in a field that does not take what a page suggests.
INSTEAD = ("5", "1 lb", "12 1/2", "10; 1", "18.2", "DE", "2026-11-27")


def accepted(asker: Asker, name: str, url: str, form: FormSeen) -> tuple[dict[str, Any], Seen]:
    """Return a body that a form takes, as far as that is found by trying, and what it answers."""
    body = form.body | form.filled
    seen = asker.send(Ask(name, "filled in", url, "post", body))
    for instead in INSTEAD:
        wrong = wrong_fields(seen.response)
        if not wrong:
            break
        body |= dict.fromkeys(wrong, instead)
        seen = asker.send(Ask(name, "filled in", url, "post", body))
    return body, seen


def wrong_fields(response: HttpResponse) -> list[str]:
    """Return the names of the fields that a page shows as wrong."""
    found: dict[str, None] = {}
    for layer in _layers(response):
        for form in layer.values():
            if isinstance(form, BaseForm) and form.is_bound:
                found |= {
                    form.add_prefix(name): None for name in form.errors if name in form.fields
                }
    return list(found)


def _layers(response: HttpResponse) -> Iterator[dict[str, Any]]:
    """Yield what the templates of a page were given."""
    context = getattr(response, "context", None)
    for each in context if isinstance(context, list) else [context] if context else []:
        yield from getattr(each, "dicts", [])


def _forms_of_page(asker: Asker, name: str, url: str, usual: Seen) -> Iterator[list[Ask]]:
    forms = [
        form
        for form in forms_of(usual.response)
        if form.method == "post" and form.action in ("", url, url.partition("?")[0])
    ] or [FormSeen(url, "post")]
    for form in forms:
        seen = asker.send(Ask(name, "as it is", url, "post", form.body))
        if seen.status == 405:
            continue
        form.filled, filled = accepted(asker, name, url, form)
        asker.usual[name, "post"] = max(seen.queries, filled.queries)
        names = list(dict.fromkeys([*seen.names, *filled.names]))
        yield list(absurd_bodies(name, url, form, names))
