"""Problem details for HTTP APIs (RFC 9457): one shape for every refusal."""

from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

from apiary_sales.api import serializers
from apiary_sales.api.blends import BlendPlanSerializer
from apiary_sales.api.bottling import RunSerializer
from apiary_sales.api.emails import EmailSerializer
from apiary_sales.api.idempotency import KeyUsedDifferently
from apiary_sales.api.problem_contents import CONTENT_TYPE, problem_content
from apiary_sales.api.versions import NotThatVersion
from apiary_sales.api.views import ApiActView
from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.mailing.models import Email
from inventory.bottling.models import BottlingRun
from inventory.shared.documents import PdfUnavailable
from inventory.shared.errors import (
    AlreadyRecorded,
    HouseError,
    NotAllowedNow,
    NotEnoughStock,
    StockReserved,
    TooBusy,
    TooManyTries,
)
from inventory.stock.models import BlendPlan, Posting


def problem_details(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer an error as problem details; None lets Django report a fault of our own."""
    if isinstance(error, HouseError):
        view = context.get("view")
        # Only an act has a body with fields.
        field_of = view.field_of if isinstance(view, ApiActView) else lambda parameter: None
        problem = _problem(
            status=_status_of(error),
            code=error.code,
            detail=error.message,
            errors=[
                {
                    "field": field_of(problem.parameter),
                    "code": problem.code,
                    "detail": problem.message,
                }
                for problem in error.problems
            ],
        )
        if made := _made(error):
            problem.data["made"] = made
        if isinstance(error, TooBusy | TooManyTries):
            problem["Retry-After"] = str(error.wait_seconds)
        return problem
    if isinstance(error, Http404):
        error = exceptions.NotFound()
    elif isinstance(error, PermissionDenied):
        error = exceptions.PermissionDenied()
    answer = exception_handler(error, context)
    if answer is None:
        return None
    problem = _problem(
        status=answer.status_code,
        code=getattr(error, "default_code", "error"),
        detail=_detail(error),
        errors=list(_field_errors(error)),
    )
    if isinstance(error, KeyUsedDifferently):
        problem.data["recorded"] = error.recorded
    if isinstance(error, NotThatVersion) and error.etag:
        problem["ETag"] = error.etag
    for name, value in answer.items():
        if name.lower() not in ("content-type",):
            problem[name] = value
    return problem


def _made(error: HouseError) -> dict[str, Any] | None:
    """Return what the key of a repeated act made, for a client that lost the first answer.

    It may come from another act than the one that was asked for: then the key was used twice.
    """
    made = getattr(error, "made", None)
    if isinstance(made, Posting):
        return serializers.PostingSerializer(made).data
    if isinstance(made, StandSale):
        return serializers.StandSaleMadeSerializer(made).data
    if isinstance(made, BottlingRun):
        return RunSerializer(made).data
    if isinstance(made, BlendPlan):
        return BlendPlanSerializer(made).data
    if isinstance(made, Email):
        return EmailSerializer(made).data
    if isinstance(made, Invoice):
        return serializers.InvoiceSerializer(made).data
    return None


def _status_of(error: HouseError) -> int:
    if isinstance(error, PdfUnavailable):
        return HTTPStatus.SERVICE_UNAVAILABLE
    if isinstance(error, TooBusy):
        return HTTPStatus.SERVICE_UNAVAILABLE
    if isinstance(error, TooManyTries):
        return HTTPStatus.TOO_MANY_REQUESTS
    rivals = (AlreadyRecorded, NotAllowedNow, NotEnoughStock, StockReserved)
    return HTTPStatus.CONFLICT if isinstance(error, rivals) else HTTPStatus.UNPROCESSABLE_ENTITY


def _problem(*, status: int, code: str, detail: str, errors: list[dict]) -> Response:
    content = problem_content(status=status, code=code, detail=detail, errors=errors)
    return Response(content, status=status, content_type=CONTENT_TYPE)


def _detail(error: Exception) -> str:
    if isinstance(error, exceptions.ValidationError):
        return _("Some fields are not right.")
    return str(getattr(error, "detail", error))


def _field_errors(error: Exception):
    if isinstance(error, exceptions.ValidationError):
        yield from _flat(error.detail, field=None)


def _flat(detail: Any, field: str | None):
    """Yield one error for each message, naming nested fields with dots: lines.0.quantity."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            yield from _flat(inner, field if name == "non_field_errors" else _inside(field, name))
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, dict | list)
            yield from _flat(inner, _inside(field, index) if nested else field)
    else:
        # An unpaired surrogate that was received can't be encoded in the answer.
        sentence = str(detail).encode("utf-8", "replace").decode("utf-8")
        yield {
            "field": field,
            "code": getattr(detail, "code", None) or "invalid",
            "detail": sentence,
        }


def _inside(field: str | None, name: str | int) -> str:
    return str(name) if field is None else f"{field}.{name}"
