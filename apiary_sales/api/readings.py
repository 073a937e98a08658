"""What the addresses that only read have in common: who may ask, and what is asked for."""

from datetime import date
from typing import Any

from django.forms import BaseForm
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from apiary_sales.api.bases import ApiView, ListApiView, RetrieveApiView

ON = OpenApiParameter("on", OpenApiTypes.DATE, description="A day; today when left out.")


class ReadingApiView(ApiView):
    """One answer of figures."""


class RowsApiView(ListApiView):
    """Rows of a table, page by page."""


class RowApiView(RetrieveApiView):
    """One row."""


class DecimalFigureField(serializers.DecimalField):
    """A decimal in an answer, as text with so many places."""

    def __init__(self, decimal_places: int, **kwargs: Any) -> None:
        super().__init__(
            **{"max_digits": 24, "decimal_places": decimal_places, "read_only": True, **kwargs}
        )


def refuse_errors(form: BaseForm) -> None:
    """Raise `ValidationError` with what is wrong with what was asked, field by field."""
    if form.errors:
        raise ValidationError(
            {name: [str(text) for text in found] for name, found in form.errors.items()}
        )


def asked_of(request: Request, name: str, field: serializers.Field) -> Any:
    """Return a parameter as its field reads it, None where it was left out.

    Raises `ValidationError` at its name.
    """
    asked = request.query_params.get(name, "")
    if not asked:
        return None
    try:
        return field.run_validation(asked)
    except ValidationError as error:
        raise ValidationError({name: error.detail}) from None


def day_asked(request: Request, name: str = "on") -> date:
    """Return the day that was asked for, or today; raises `ValidationError`."""
    return asked_of(request, name, serializers.DateField()) or timezone.localdate()
