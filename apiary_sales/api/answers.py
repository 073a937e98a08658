"""What answers have in common: the id of a thing beside its code, number or name.

A field that shows the name of another thing is followed by its id: `customer` by `customer_id`. So
a program can hold on to what it points at when two customers have one name, or a name changes.
What has neither name nor number, such as a posting, is pointed at by its id alone.
"""

from typing import Any

from django.core.exceptions import FieldDoesNotExist
from rest_framework import serializers

# What a thing is called by.
CALLED = ("code", "name", "number", "__str__")


class IdsBeside:
    """Puts `<name>_id` after each field that shows what another thing is called by."""

    def get_fields(self) -> dict[str, Any]:
        fields: dict[str, Any] = {}
        declared = super().get_fields()  # type: ignore[misc]
        for name, field in declared.items():
            fields[name] = field
            path = self._path_to_thing(name, field)
            if path is not None and f"{name}_id" not in declared:
                is_slug = isinstance(field, serializers.SlugRelatedField)
                can_be_empty = is_slug or field.default is not serializers.empty
                empty: dict[str, Any] = {"default": None, "allow_null": True}
                fields[f"{name}_id"] = serializers.IntegerField(
                    source=f"{path}.pk", read_only=True, **(empty if can_be_empty else {})
                )
        return fields

    def _path_to_thing(self, name: str, field: Any) -> str | None:
        """Return where a field finds the thing that it names, None where it names none."""
        source = field.source or name
        if isinstance(field, serializers.SlugRelatedField):
            return source if field.read_only else None
        if not isinstance(field, serializers.CharField):
            return None
        path, _dot, attribute = source.rpartition(".")
        if attribute in CALLED and path.rpartition(".")[2] == name:
            return path
        model = getattr(getattr(self, "Meta", None), "model", None)
        try:
            is_thing = model is not None and model._meta.get_field(source).is_relation
        except FieldDoesNotExist:
            return None
        return source if is_thing else None


class AnswerSerializer(IdsBeside, serializers.Serializer):
    """A row, or a part of one, that is not read from a model field by field."""


class RowSerializer(IdsBeside, serializers.ModelSerializer):
    """A row of a model."""
