"""The fields of a body: what its serializer names, and no other, however deep."""

from collections.abc import Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.serializers import BaseSerializer, Serializer


def checked(serializer: BaseSerializer) -> Any:
    """Return what a body says; raises `ValidationError` for all that is wrong with its fields.

    A field that the serializer does not name is wrong too: it may be one that was misspelt.
    """
    unknown = dict(_unknown(serializer, serializer.initial_data, ""))
    if not serializer.is_valid() or unknown:
        raise ValidationError({**dict(serializer.errors), **unknown})
    return serializer.validated_data


def _unknown(field: Any, sent: Any, path: str) -> Iterator[tuple[str, list[ErrorDetail]]]:
    """Yield what is wrong with each unknown field, by its path: `lines.0.colour`."""
    if isinstance(field, Serializer) and isinstance(sent, Mapping):
        known = {name: part for name, part in field.fields.items() if not part.read_only}
        for name, value in sent.items():
            if name in known:
                yield from _unknown(known[name], value, f"{path}{name}.")
            else:
                yield f"{path}{name}", [_refusal(str(name), list(known))]
    elif isinstance(getattr(field, "child", None), Serializer) and isinstance(sent, list):
        for index, value in enumerate(sent):
            yield from _unknown(field.child, value, f"{path}{index}.")


def _refusal(name: str, known: list[str]) -> ErrorDetail:
    return ErrorDetail(
        _("There is no field %(name)s here. There is: %(names)s.")
        % {"name": name, "names": ", ".join(known)}
        if known
        else _("There is no field %(name)s here; there is none at all.") % {"name": name},
        code="unknown_field",
    )
