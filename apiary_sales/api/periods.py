"""The days that a log of the API covers."""

from datetime import date

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from inventory.shared.forms.days import PeriodForm

PERIOD = [
    OpenApiParameter(
        "since", OpenApiTypes.DATE, description="First day; the first of January when left out."
    ),
    OpenApiParameter("until", OpenApiTypes.DATE, description="Last day; today when left out."),
]


def period_of(request: Request) -> tuple[date, date]:
    """Return the days that were asked for; raises `ValidationError` where they can't be."""
    form, since, until = PeriodForm.asked(request.query_params)
    if form.errors:
        raise ValidationError(
            {name: [str(text) for text in found] for name, found in form.errors.items()}
        )
    return since, until
