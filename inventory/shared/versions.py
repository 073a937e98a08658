"""What a form was opened on, so that a stale one does not undo what somebody changed meanwhile.

A form that changes a row carries, hidden, a short digest of each value that it showed. When it is
sent, the row is locked and the form is made again as it would be shown now. What only the other
person changed stays as they left it, what only this person changed is saved, and where both
changed the same, nothing is saved: the form comes back as typed, with both values side by side.

A form without that field, which no page sends, is saved as it is.
"""

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, TypeVar
from urllib.parse import parse_qsl, urlencode

from auditlog.models import LogEntry
from django import forms
from django.db import transaction
from django.db.models import Model, Q, QuerySet
from django.forms.boundfield import BoundField
from django.http import Http404, QueryDict
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from inventory.shared.errors import NotAllowedNow
from inventory.shared.models import House

FIELD = "opened"
DIGEST_LENGTH = 12
# Under it, the moment at which the form was opened travels among the digests.
MOMENT = "@"
NOTHING = "–"
T = TypeVar("T")

# What a browser sends of a field: the texts under each name.
Sent = Mapping[str, Sequence[str]]


@dataclass(frozen=True)
class FieldChangedTwice:
    """A field that two people changed: what is saved now, and what was typed."""

    label: str
    now: str
    typed: str


class ChangedMeanwhile(NotAllowedNow):
    """Somebody changed the same while the form was open; `form` is the one to show again."""

    code = "changed_meanwhile"

    def __init__(
        self, message: str, *, form: Any, differences: Sequence[FieldChangedTwice]
    ) -> None:
        super().__init__(message)
        self.form = form
        self.differences = differences


class OpenedOn:
    """What a form says of itself when it changes a row, and how its page shows that."""

    # What it was opened on, what was changed meanwhile, and the page that shows the row as it is.
    opened_on = ""
    stale: ChangedMeanwhile | None = None
    theirs_url = ""
    # Whether names with a number in them are of places in a list, or say what the row is.
    rows_by_place = True

    @property
    def opened(self) -> SafeString:
        """Return what the form was opened on, hidden, to be put inside its element."""
        context = {
            "name": FIELD,
            "stamped": self.opened_on,
            "stale": self.stale,
            "theirs_url": self.theirs_url,
        }
        return render_to_string("_opened.html", context)

    def lists(self) -> Iterable[Any]:
        """Return the lists of rows in the form that are not among its own fields."""
        return ()


def stamp(form: Any) -> str:
    """Return what a form that is not sent yet shows, for its hidden field."""
    shown = {name: _digest(_shown(bound)) for name, bound in _of_the_row(form).items()}
    return urlencode({MOMENT: int(timezone.now().timestamp()), **shown})


def act_on_shown(
    form: Any,
    *,
    row: Model,
    parts: Iterable[QuerySet[Any]] = (),
    shown: Callable[[], Any],
    again: Callable[[QueryDict], Any],
    act: Callable[[Any], T],
) -> T:
    """Act on what a valid form says, unless that would undo another person's change of the row.

    `shown` makes the form as a page would show it now, `again` makes the sent form with other
    data, and `act` is given the form to act on, with what others changed meanwhile filled in.
    `parts` are other rows shown in the form, asked only who changed them. All of it is one
    transaction that holds the row locked. Raises `ChangedMeanwhile`, and what `act` raises.
    """
    with transaction.atomic():
        _lock(row)
        return act(_settled(form, shown(), again, [_only(row), *parts]))


def _lock(row: Model) -> None:
    """Lock a row until the transaction ends; in the place of one not saved yet, the house."""
    if row._state.adding:
        House.lock()
    elif _only(row).select_for_update(of=("self",)).first() is None:
        raise Http404


def _only(row: Model) -> QuerySet[Any]:
    # In no order of its model, which may be that of other tables: those are not to be locked.
    return type(row)._base_manager.filter(pk=row.pk).order_by("pk")


def _settled(form: Any, now: Any, again: Callable[[QueryDict], Any], rows: list[Any]) -> Any:
    """Return the form with what others changed filled in; raises `ChangedMeanwhile`."""
    opened = dict(parse_qsl(form.data.get(FIELD, "")))
    if not opened:
        return form
    was_opened = _moment(opened.pop(MOMENT, ""))
    fields_now, fields_sent = _of_the_row(now), _fields(form)
    current = {name: _shown(bound) for name, bound in fields_now.items()}
    names = opened.keys() | current.keys()
    typed = {name: _typed(fields_sent[name]) for name in names if name in fields_sent}
    theirs = {name for name in names if opened.get(name, "") != _digest(current.get(name))}
    if not theirs:
        return form
    mine = {name for name in names if opened.get(name, "") != _digest(typed.get(name))}
    clashing = {
        name for name in theirs & mine if _digest(current.get(name)) != _digest(typed.get(name))
    }
    # Rows of a list are told apart by their place alone: theirs and mine can't be mixed.
    in_list = {name for name in names if form.rows_by_place and re.search(r"\d", name)}
    if theirs & in_list and mine & in_list:
        clashing |= {n for n in in_list if _digest(current.get(n)) != _digest(typed.get(n))}
        theirs -= in_list
    data = form.data.copy()
    for name in theirs - mine:
        sent = current.get(name) or {each: [] for each in typed.get(name, {})}
        for each, texts in sent.items():
            data.setlist(each, list(texts))
    for rows_now in now.lists():
        _count(data, rows_now)
    settled = again(data)
    settled.opened_on = stamp(now)
    is_right = settled.is_valid()
    if is_right and not clashing:
        return settled
    differences = _differences(fields_now, fields_sent, clashing or theirs)
    stale = ChangedMeanwhile(_who_changed(rows, was_opened), form=settled, differences=differences)
    settled.stale = stale
    settled.add_error(None, stale.message)
    raise stale


def _count(data: QueryDict, rows_now: Any) -> None:
    """Say how many rows are there now; else those that are as they are would count as empty."""
    total, there = (f"{rows_now.prefix}-{name}_FORMS" for name in ("TOTAL", "INITIAL"))
    sent = data.get(total, "")
    most = max(rows_now.total_form_count(), int(sent) if sent.isdecimal() else 0)
    data[total], data[there] = str(most), str(rows_now.initial_form_count())


def _differences(
    now: Mapping[str, BoundField], sent: Mapping[str, BoundField], names: set[str]
) -> list[FieldChangedTwice]:
    return [
        FieldChangedTwice(
            str((now.get(name) or sent[name]).label),
            _in_words(now[name], _shown(now[name])) if name in now else NOTHING,
            _in_words(sent[name], _typed(sent[name])) if name in sent else NOTHING,
        )
        for name in {**now, **sent}
        if name in names
    ]


def _who_changed(rows: Iterable[QuerySet[Any]], since: datetime) -> str:
    """Say who changed one of the rows last since a moment, as far as the trail of changes tells."""
    of_rows = Q(pk=None)
    for each in rows:
        of_rows |= Q(
            content_type__app_label=each.model._meta.app_label,
            content_type__model=each.model._meta.model_name,
            object_id__in=each.values("pk"),
        )
    last = (
        LogEntry.objects.filter(of_rows, timestamp__gte=since, actor__isnull=False)
        .select_related("actor")
        .order_by("-timestamp", "-id")
        .first()
    )
    if last is None:
        return _("This was changed while you had it open. Nothing of yours is saved yet.")
    at = timezone.localtime(last.timestamp)
    is_today = at.date() == timezone.localdate()
    return _(
        "%(name)s changed this at %(time)s while you had it open. Nothing of yours is saved yet."
    ) % {
        "name": last.actor.display_name,
        "time": date_format(at, "TIME_FORMAT" if is_today else "SHORT_DATETIME_FORMAT"),
    }


def _moment(seconds: str) -> datetime:
    """Return the moment at which the form was opened, as its stamp says."""
    is_right = seconds.isascii() and seconds.isdecimal() and len(seconds) <= len("9999999999")
    return datetime.fromtimestamp(int(seconds) if is_right else 0, tz=UTC)


def _fields(form: Any) -> dict[str, BoundField]:
    """Return all fields that a form shows, by the names under which they are sent."""
    forms_in_it = [form, *(row for each in form.lists() for row in each.forms)]
    return {
        bound.html_name: bound
        for each in forms_in_it
        for bound in each
        if not isinstance(bound.field.widget, forms.FileInput)
    }


def _of_the_row(form: Any) -> dict[str, BoundField]:
    """Return the fields that show what is saved; others begin with what is usual, such as today."""
    shown = {}
    for name, bound in _fields(form).items():
        its_form: Any = bound.form
        if bound.name in its_form.initial or bound.name not in its_form.base_fields:
            shown[name] = bound
    return shown


def _digest(sent: Sent | None) -> str:
    """Return a short digest of what a browser sends of a field; empty where that is empty."""
    # A unit without a figure is empty too.
    if not sent or not any(next(iter(sent.values()))):
        return ""
    text = json.dumps(sent, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:DIGEST_LENGTH]


def _shown(bound: BoundField) -> Sent:
    """Return what a browser sends of a field that nobody touched."""
    return dict(_untouched(bound.field.widget, bound.html_name, bound.value()))


def _untouched(widget: Any, name: str, value: Any) -> Iterator[tuple[str, list[str]]]:
    if isinstance(widget, forms.MultiWidget):
        values: Any = value if isinstance(value, list | tuple) else widget.decompress(value)
        for (part, suffix), each in zip(_parts(widget), values, strict=True):
            yield from _untouched(part, name + suffix, each)
    elif isinstance(widget, forms.CheckboxInput):
        yield name, ["on"] if widget.check_test(value) else []
    else:
        formatted = widget.format_value(value)
        texts = formatted if isinstance(formatted, list | tuple) else [formatted]
        found = [_text("" if text is None else text) for text in texts]
        if isinstance(widget, forms.Select) and not widget.allow_multiple_selected:
            found = [text or _first_choice(widget) for text in found]
        yield name, sorted(found)


def _parts(widget: forms.MultiWidget) -> list[tuple[Any, str]]:
    """Return the parts of a field, with what each adds to its name."""
    # Django's class does not declare the names.
    names: list[str] = widget.widgets_names  # type: ignore[attr-defined]
    return list(zip(widget.widgets, names, strict=True))


def _first_choice(widget: forms.Select) -> str:
    """Return what a list without a choice sends: its first."""
    for value, label in widget.choices:
        return _text(label[0][0] if isinstance(label, list | tuple) else value)
    return ""


def _typed(bound: BoundField) -> Sent:
    """Return what the browser sent of a field."""
    return dict(_sent(bound.field.widget, bound.html_name, bound.form.data))


def _sent(widget: Any, name: str, data: Any) -> Iterator[tuple[str, list[str]]]:
    if isinstance(widget, forms.MultiWidget):
        for part, suffix in _parts(widget):
            yield from _sent(part, name + suffix, data)
    elif isinstance(widget, forms.CheckboxInput):
        yield name, ["on"] if widget.value_from_datadict(data, MultiValueDict(), name) else []
    else:
        is_list = getattr(widget, "allow_multiple_selected", False)
        yield name, sorted(map(_text, data.getlist(name) or ([] if is_list else [""])))


def _text(value: Any) -> str:
    return str(value).replace("\r\n", "\n").strip()


def _in_words(bound: BoundField, sent: Sent) -> str:
    """Return what a field says, with the words of its choices."""
    return " ".join(_words(bound.field.widget, bound.html_name, sent)).strip() or NOTHING


def _words(widget: Any, name: str, sent: Sent) -> Iterator[str]:
    if isinstance(widget, forms.MultiWidget):
        for part, suffix in _parts(widget):
            yield from _words(part, name + suffix, sent)
    elif isinstance(widget, forms.CheckboxInput):
        yield _("yes") if sent[name] else _("no")
    elif isinstance(widget, forms.Select | forms.RadioSelect | forms.CheckboxSelectMultiple):
        wanted = set(sent[name])
        groups = widget.optgroups(name, list(sent[name]))
        options = [option for _group, options, _index in groups for option in options]
        labels = [str(each["label"]) for each in options if str(each["value"]) in wanted]
        yield ", ".join(labels)
    else:
        yield ", ".join(sent[name])
