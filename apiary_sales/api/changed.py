"""`changed_at` of a row: when it, or what belongs to it, was changed last."""

from datetime import datetime
from typing import Any

from django import forms
from django.db.models import Model
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from apiary_sales.api.lists import CHANGED_SINCE, MomentField
from apiary_sales.keeping.following import kind_of
from apiary_sales.keeping.models import RowChange

SINCE = OpenApiParameter("changed_since", OpenApiTypes.DATETIME, description=CHANGED_SINCE)


class ChangedAtField(serializers.DateTimeField):
    """The moment of the last change that is noted, null where none is.

    A list has read it with its rows; for others it is read once for all that are answered with.
    `of` names the row among what is answered, where that is more than the row.
    """

    def __init__(self, *, of: str = "", **kwargs: Any) -> None:
        self.of = of
        super().__init__(
            read_only=True,
            allow_null=True,
            help_text=(
                "When the row, or what belongs to it, was changed last; null where it was not "
                "since changes are noted."
            ),
            **kwargs,
        )

    def get_attribute(self, instance: Model) -> datetime | None:
        if self.of:
            instance = getattr(instance, self.of)
        if not hasattr(instance, "changed_at"):
            note(self._answered_with(instance))
        return instance.changed_at  # type: ignore[attr-defined]

    def _answered_with(self, instance: Model) -> list[Any]:
        rows: Any = getattr(getattr(self.parent, "parent", None), "instance", None)
        if isinstance(rows, list) and any(row is instance for row in rows):
            return rows
        return [instance]


def note(rows: list[Any]) -> dict[Any, datetime]:
    """Read when each of some rows of one kind was changed last, and leave it with the row.

    Return the moments that there are, by the keys of the rows.
    """
    if not rows:
        return {}
    noted = RowChange.objects.filter(
        kind=kind_of(type(rows[0])), row_id__in=[row.pk for row in rows]
    )
    changed_at = dict(noted.order_by("changed_at").values_list("row_id", "changed_at"))
    for row in rows:
        row.changed_at = changed_at.get(row.pk)
    return changed_at


def asked(request: Request) -> datetime | None:
    """Return the moment that is asked from, None for all rows; raises `ValidationError`."""
    try:
        return MomentField(required=False).clean(request.query_params.get(SINCE.name, ""))
    except forms.ValidationError as error:
        raise serializers.ValidationError({SINCE.name: error.messages}) from None
