"""What every list of the API has: filters by the fields of its rows, and an order.

A list says `filterset_class` (a `ListFilterSet`) or `filterset_fields`, `ordering_fields` and
`ordering`; pages come from `pages.py`. A value that no row can have is refused, and so is an order
that the list does not have; `parameters.py` refuses every parameter that is not declared.
"""

from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django import forms
from django.contrib.admin.utils import get_fields_from_path
from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.db.models import OuterRef, QuerySet, Subquery
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.filters import OrderingFilter
from rest_framework.request import Request

from apiary_sales.api.pages import order_of
from apiary_sales.keeping.following import kind_of
from apiary_sales.keeping.models import RowChange
from inventory.shared.row_keys import KEY_MAX

ISO_DAY = "%Y-%m-%d"


class WordField(forms.CharField):
    """One of some words; a wrong one is refused with the right ones."""

    def __init__(self, *, words: Sequence[str], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.words = words

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value and value not in self.words:
            raise forms.ValidationError(
                _("%(value)s is not one of the choices: %(choices)s."),
                code="invalid_choice",
                params={"value": value, "choices": ", ".join(self.words)},
            )


class KeyField(forms.CharField):
    """The code, number, name or id of a row that is there."""

    def __init__(self, *, rows: QuerySet, key: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.rows, self.key = rows, key

    def clean(self, value: Any) -> Any:
        found = super().clean(value)
        if not found:
            return found
        if self.key == "id":
            is_number = found.isascii() and found.isdecimal() and len(found) <= len(str(KEY_MAX))
            if not is_number or int(found) > KEY_MAX:
                raise forms.ValidationError(_("Send a whole number, the id of a row."))
            found = int(found)
        if not self.rows.filter(**{self.key: found}).exists():
            raise forms.ValidationError(
                _("There is no %(thing)s with this %(key)s: %(value)s."),
                code="does_not_exist",
                params={
                    "thing": self.rows.model._meta.verbose_name,
                    "key": self.key,
                    "value": found,
                },
            )
        return found


class ChoiceFilter(filters.Filter):
    """Rows with one of a few words."""

    field_class = WordField

    def __init__(self, field_name: str | None = None, *, choices: Any, **kwargs: Any) -> None:
        words = [str(word) for word, _label in choices]
        super().__init__(field_name, words=words, **kwargs)
        extend_schema_field({"type": "string", "enum": words})(self)


@extend_schema_field(OpenApiTypes.BOOL)
class YesNoFilter(filters.Filter):
    """Rows of which something is so: true, or false."""

    field_class = WordField

    def __init__(self, field_name: str | None = None, **kwargs: Any) -> None:
        super().__init__(field_name, words=("true", "false"), **kwargs)

    def filter(self, qs: QuerySet, value: str) -> QuerySet:
        return super().filter(qs, value == "true") if value else qs


class KeyFilter(filters.Filter):
    """Rows that point at one with this code, number or name, such as `place=tank-1`."""

    field_class = KeyField

    def __init__(self, field_name: str, *, rows: QuerySet, key: str = "code", **kwargs: Any):
        kwargs.setdefault("label", gettext_lazy("What the rows point at."))
        super().__init__(f"{field_name}__{key}", rows=rows, key=key, **kwargs)
        kind = OpenApiTypes.INT if key == "id" else OpenApiTypes.STR
        extend_schema_field(kind)(self)


class IdFilter(KeyFilter):
    """Rows that point at the one with this id, such as `customer_id=12`."""

    def __init__(self, field_name: str, *, rows: QuerySet, **kwargs: Any) -> None:
        super().__init__(field_name, rows=rows, key="id", **kwargs)


class WholeNumberFilter(filters.Filter):
    field_class = forms.IntegerField

    def __init__(self, field_name: str | None = None, **kwargs: Any) -> None:
        limits = {"min_value": -KEY_MAX, "max_value": KEY_MAX}
        super().__init__(field_name, **limits, **kwargs)
        extend_schema_field(OpenApiTypes.INT)(self)


class DayFilter(filters.DateFilter):
    """Rows of a day, written 2026-07-20 in every house."""

    def __init__(self, field_name: str | None = None, lookup_expr: str = "exact", **kwargs: Any):
        super().__init__(field_name, lookup_expr, input_formats=[ISO_DAY], **kwargs)

    def filter(self, qs: QuerySet, value: date | None) -> QuerySet:
        if value is None or not self._is_of_moments(qs):
            return super().filter(qs, value)
        begins, ends = moment_of(value), moment_of(value + timedelta(days=1))
        wanted = {
            "exact": {"gte": begins, "lt": ends},
            "gte": {"gte": begins},
            "lte": {"lt": ends},
        }[self.lookup_expr]
        return qs.filter(**{f"{self.field_name}__{name}": at for name, at in wanted.items()})

    def _is_of_moments(self, qs: QuerySet) -> bool:
        """Tell whether the field, of the row or of what it points at, has a time beside the day."""
        try:
            *_of, field = get_fields_from_path(qs.model, self.field_name)
        except FieldDoesNotExist:
            return False
        return isinstance(field, models.DateTimeField)


class FromDayFilter(DayFilter):
    """Rows of this day and later."""

    def __init__(self, field_name: str, **kwargs: Any) -> None:
        kwargs.setdefault("label", gettext_lazy("This day and later."))
        super().__init__(field_name, "gte", **kwargs)


class UntilDayFilter(DayFilter):
    """Rows of this day and earlier."""

    def __init__(self, field_name: str, **kwargs: Any) -> None:
        kwargs.setdefault("label", gettext_lazy("This day and earlier."))
        super().__init__(field_name, "lte", **kwargs)


def moment_of(day: date) -> datetime:
    """Return when a day begins where the house is."""
    return timezone.make_aware(datetime.combine(day, time.min))


DEFAULTS = deepcopy(filters.FilterSet.FILTER_DEFAULTS)
DEFAULTS.update(
    {
        models.BooleanField: {"filter_class": YesNoFilter},
        models.DateField: {"filter_class": DayFilter},
        models.AutoField: {"filter_class": WholeNumberFilter},
        models.IntegerField: {"filter_class": WholeNumberFilter},
        models.PositiveIntegerField: {"filter_class": WholeNumberFilter},
        models.PositiveSmallIntegerField: {"filter_class": WholeNumberFilter},
        models.SmallIntegerField: {"filter_class": WholeNumberFilter},
        models.ForeignKey: {
            "filter_class": IdFilter,
            "extra": lambda field: {"rows": field.related_model._default_manager.all()},
        },
    }
)


class ListFilterSet(filters.FilterSet):
    """The filters of a list. What every list is filtered by is declared here."""

    FILTER_DEFAULTS = DEFAULTS

    @classmethod
    def filter_for_lookup(cls, field: Any, lookup_type: str) -> Any:
        if lookup_type == "exact" and getattr(field, "choices", None):
            return ChoiceFilter, {"choices": field.choices}
        return super().filter_for_lookup(field, lookup_type)

    def is_valid(self) -> bool:
        """Tell whether every value is right, and days in order; an empty one is no value."""
        super().is_valid()
        found = self.form.cleaned_data
        for name in self.filters:
            if name in self.data and not self.data[name].strip():
                self.form.add_error(name, _("Send a value, or leave this out."))
            first = found.get(name) if name.endswith("_from") else None
            last = found.get(f"{name.removesuffix('_from')}_until")
            if first and last and first > last:
                self.form.add_error(name, _("The first day is after the last one."))
        return self.form.is_valid()


class MomentField(forms.CharField):
    """A moment of RFC 3339, with its distance from UTC."""

    def clean(self, value: Any) -> datetime | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            moment = parse_datetime(text) if "T" in text.upper() else None
        except ValueError:
            moment = None
        if moment is None or timezone.is_naive(moment):
            raise forms.ValidationError(
                _("Send a moment with its distance from UTC, such as 2026-07-20T14:30:00Z.")
            )
        try:
            return moment.astimezone(UTC)
        except OverflowError:
            raise forms.ValidationError(_("That moment is too far away.")) from None


CHANGED_SINCE = gettext_lazy(
    "Rows changed at this moment or later. To follow a list, ask each time from a few "
    "minutes before the latest changed_at you have: a change is stamped a little before "
    "others can see it. Rows not changed since changes are noted have no changed_at, and "
    "are not among them; neither are rows that were deleted."
)


@extend_schema_field(OpenApiTypes.DATETIME)
class ChangedSinceFilter(filters.Filter):
    """Rows that were changed at a moment or later, themselves or in what belongs to them."""

    field_class = MomentField

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("changed_at", "gte", label=CHANGED_SINCE, **kwargs)


class FollowedListFilterSet(ListFilterSet):
    """The filters of a list that programs follow by the `changed_at` of its rows."""

    changed_since = ChangedSinceFilter()

    def filter_queryset(self, queryset: QuerySet) -> QuerySet:
        noted = RowChange.objects.filter(kind=kind_of(queryset.model), row_id=OuterRef("pk"))
        latest = noted.order_by("-changed_at").values("changed_at")[:1]
        queryset = queryset.annotate(changed_at=Subquery(latest))
        return super().filter_queryset(queryset)


class ListFilterBackend(filters.DjangoFilterBackend):
    """Filters a list by the filters that its view declares."""

    filterset_base = ListFilterSet


class ListOrdering(OrderingFilter):
    """Orders a list by `?ordering=-placed_on,id`, by names that its view declares.

    `ordering_fields` of a view is a list of columns, or maps names to the columns they are of; see
    `ordered_by`. A view without them has the columns of its own order.
    """

    def get_ordering(self, request: Request, queryset: QuerySet, view: Any) -> Any:
        """Return the columns that were asked for; raises `ValidationError` for unknown names."""
        asked = request.query_params.get(self.ordering_param)
        if asked is None:
            return self.get_default_ordering(view)
        columns = ordering_columns(view)
        wanted = [name.strip() for name in asked.split(",")]
        unknown = [name for name in wanted if name.removeprefix("-") not in columns]
        if unknown:
            raise ValidationError(
                {
                    self.ordering_param: ErrorDetail(
                        _(
                            "This list has no order by %(names)s. Choose from: %(choices)s; "
                            "with a minus before it, the largest comes first."
                        )
                        % {"names": ", ".join(unknown), "choices": ", ".join(columns)},
                        code="invalid_choice",
                    )
                }
            )
        return [
            f"-{columns[name[1:]]}" if name.startswith("-") else columns[name] for name in wanted
        ]

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        names = ", ".join(ordering_columns(view))
        return [
            {
                "name": self.ordering_param,
                "required": False,
                "in": "query",
                "description": (
                    f"One or more of {names}, with commas between; -{names.split(',')[0]} has the "
                    "largest first."
                ),
                "schema": {"type": "string"},
            }
        ]


def ordered_by(*columns: str, **others: str) -> dict[str, str]:
    """Return `ordering_fields`: columns by their own names, and others that a row calls so."""
    return {**{name: name for name in columns}, **others}


def ordering_columns(view: Any) -> Mapping[str, str]:
    """Return the columns a list can be ordered by, by name."""
    fields: Iterable[str] | Mapping[str, str] | None = getattr(view, "ordering_fields", None)
    if fields is None:
        queryset = view.queryset
        default = getattr(view, "ordering", None) or (queryset is not None and order_of(queryset))
        default = [default] if isinstance(default, str) else default or []
        fields = list(dict.fromkeys(name.removeprefix("-") for name in [*default, "id"]))
    return fields if isinstance(fields, Mapping) else {name: name for name in fields}
