"""`changed_at` of a row: when it, or what belongs to it, was changed last."""

from datetime import datetime
from typing import Any

from django.db.models import Model
from rest_framework import serializers

from apiary_sales.keeping.following import kind_of
from apiary_sales.keeping.models import RowChange


class ChangedAtField(serializers.DateTimeField):
    """The moment of the last change that is noted, null where none is.

    A list has read it with its rows; for others it is read once for all that are answered with.
    """

    def __init__(self, **kwargs: Any) -> None:
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
        if not hasattr(instance, "changed_at"):
            for row in self._answered_with(instance):
                row.changed_at = None  # type: ignore[attr-defined]
            self._read(self._answered_with(instance))
        return instance.changed_at  # type: ignore[attr-defined,no-any-return]

    def _answered_with(self, instance: Model) -> list[Any]:
        rows = getattr(getattr(self.parent, "parent", None), "instance", None)
        is_list = isinstance(rows, list) and any(row is instance for row in rows)
        return rows if is_list else [instance]

    def _read(self, rows: list[Any]) -> None:
        by_key = {row.pk: row for row in rows}
        noted = RowChange.objects.filter(kind=kind_of(type(rows[0])), row_id__in=list(by_key))
        for key, changed_at in noted.values_list("row_id", "changed_at"):
            by_key[key].changed_at = changed_at
