"""Tables that people fill: as many rows as there are things, each a form of its own."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, ClassVar

from django import forms
from django.forms.utils import ErrorDict

from inventory.shared.forms.acts import HouseForm

# More rows than this go in through an import.
ROWS_MAX = 300
MORE = 5


class RowForm(HouseForm):
    """One row; it counts once something is typed in a field of `asks`, or `asks` is empty."""

    asks: ClassVar[Sequence[str]] = ()

    def __init__(self, *args: Any, title: str = "", subject: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.title, self.subject = title, subject
        self.name_fields()

    def name_fields(self) -> None:
        """Give each field its name for those who don't see the head of its column."""
        for field in self.fields.values():
            label = f"{self.title}: {field.label}" if self.title else str(field.label)
            # A number with its unit is two widgets, of which the unit says what it is.
            widgets = getattr(field.widget, "widgets", [field.widget])
            widgets[0].attrs["aria-label"] = label
            # A row that is left out needs nothing.
            field.widget.is_required = False

    @property
    def is_blank(self) -> bool:
        """Whether nothing was typed that makes this row count."""
        if not self.asks:
            return False
        # The unit beside a number has a name of its own, and is chosen already.
        typed = (self.data.get(self.add_prefix(name), "") for name in self.asks)
        return not any(text.strip() for text in typed)

    def full_clean(self) -> None:
        if self.is_bound and self.is_blank:
            self.cleaned_data = {}
            self._errors = ErrorDict()
            return
        super().full_clean()


class Rows:
    """The rows of one table: those that are proposed, and blank ones after them."""

    def __init__(
        self,
        form_class: type[RowForm],
        data: Mapping[str, Any] | None,
        *,
        prefix: str,
        proposed: Sequence[Mapping[str, Any]] = (),
        blank: int = 0,
        may_grow: bool = False,
        **kwargs: Any,
    ) -> None:
        self.prefix, self.may_grow = prefix, may_grow or blank > 0
        self.count = len(proposed) + blank
        if data is not None and self.may_grow:
            self.count = rows_in(data, prefix, self.count)
        self.forms = []
        for position in range(self.count):
            row = dict(proposed[position]) if position < len(proposed) else {}
            own: dict[str, Any] = {
                name: row.pop(name) for name in ("title", "subject") if name in row
            }
            # A row that is about a thing stays with it, whatever is added meanwhile.
            number = getattr(own.get("subject"), "pk", position)
            own["prefix"] = f"{prefix}-{number}"
            # One that was not on the page, or is new on it, shows what is proposed.
            is_sent = data is not None and any(
                name.startswith(f"{own['prefix']}-") for name in data
            )
            sent = data if is_sent else None
            self.forms.append(form_class(sent, initial=row, **own, **kwargs))

    @property
    def count_name(self) -> str:
        return f"{self.prefix}-rows"

    @property
    def heads(self) -> list[forms.BoundField]:
        """The fields of the first row, whose labels head the columns."""
        return self.forms[0].visible_fields() if self.forms else []

    @property
    def has_titles(self) -> bool:
        return any(form.title for form in self.forms)

    def __iter__(self) -> Iterator[RowForm]:
        return iter(self.forms)

    def __bool__(self) -> bool:
        return bool(self.forms)

    def is_valid(self) -> bool:
        # All of them are asked, so that each says what is wrong.
        return not [form for form in self.forms if form.is_bound and not form.is_valid()]

    def filled(self) -> list[RowForm]:
        """The rows that count."""
        return [form for form in self.forms if form.is_bound and not form.is_blank]


def show_as_typed(form: forms.BaseForm) -> None:
    """Show what was typed without judging it yet: the person is still at it."""
    form._errors = ErrorDict()  # type: ignore[attr-defined]
    form.cleaned_data = {}


def rows_in(data: Mapping[str, Any], prefix: str, usual: int = 0) -> int:
    """Return how many rows of a table were shown when it was sent."""
    try:
        return max(0, min(int(data.get(f"{prefix}-rows", usual)), ROWS_MAX))
    except (TypeError, ValueError):
        return usual
