"""Versions of what can be changed: `ETag`, `If-None-Match` and `If-Match`.

The tag of a thing is a digest of what its address answers to this person and of all that its row
holds, so that it changes with what is shown, and with what only an act can set. An act on a thing
is told by `If-Match` which version it was decided on: where that is no longer the version, the act
is refused (412) and nothing is done. The row of the thing is locked first, so that of two who act
on one version only one does.

A PUT replaces the whole of a thing, also what another changed a moment ago. It has to say what it
replaces (428 without); `If-Match: *` replaces whatever is there.
"""

import copy
import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Model, QuerySet
from django.http import Http404, HttpResponse, QueryDict
from django.template.response import SimpleTemplateResponse
from django.urls import Resolver404, ResolverMatch, resolve, reverse
from django.utils.cache import get_conditional_response
from django.utils.http import parse_etags
from django.utils.translation import gettext as _
from rest_framework import status
from rest_framework.exceptions import APIException, ParseError
from rest_framework.request import Request

from apiary_sales.accounts.models import User
from apiary_sales.api.middleware import API
from apiary_sales.billing.models import (
    Adjustment,
    DepositSlip,
    Expense,
    Invoice,
    MarketDay,
    MoneyMove,
    Payment,
    PurchaseOrder,
    RecurringExpense,
    ReturnRequest,
    StandDay,
    SupplierBill,
    SupplierPayment,
)
from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.imports.models import Import
from apiary_sales.orders.models import Order
from apiary_sales.orders.trade_models import (
    ConsignmentDelivery,
    ConsignmentShelf,
    Contract,
    DeliveryRound,
    StandingOrder,
)
from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.pricing.models import Service
from apiary_sales.webhooks.models import Endpoint
from inventory.bottling.models import (
    BottlingDay,
    BottlingRun,
    Brand,
    JarPage,
    LabelSheet,
    PackagingPart,
    Product,
    Size,
    Variety,
)
from inventory.shared.models import House
from inventory.stock.models import (
    BlendPlan,
    CleaningTask,
    CountSheet,
    Lot,
    Place,
    ProductionSettings,
    Supplier,
)

READS = ("GET", "HEAD")
# What an act is asked under is not what its thing is read under.
OF_THE_ACT = re.compile(r"(HTTP_IF_|CONTENT_|HTTP_IDEMPOTENCY_KEY)")


@dataclass(frozen=True)
class VersionedThing:
    """What an address shows that can be changed: its row, found by the part of the address."""

    model: type[Model]
    # None where there is only one.
    by: str | None = "pk"

    def rows(self, found: ResolverMatch) -> QuerySet[Any]:
        """Return its row, or the rows of one code."""
        rows = self.model._base_manager.order_by("pk")
        if self.by is None:
            return rows
        [value] = found.kwargs.values()
        return rows.filter(**{self.by: value})

    def lock(self, found: ResolverMatch) -> None:
        """Lock it until the transaction ends; in the place of one not saved yet, the house."""
        if not self.rows(found).select_for_update(of=("self",)).values_list("pk"):
            House.lock()


# By the name of the address that shows one of them.
THINGS: Mapping[str, VersionedThing] = {
    "adjustment": VersionedThing(Adjustment),
    "blend-plan": VersionedThing(BlendPlan, "number"),
    "bottling-day": VersionedThing(BottlingDay),
    "brand": VersionedThing(Brand),
    "certificate": VersionedThing(ExemptionCertificate),
    "cleaning-task": VersionedThing(CleaningTask),
    "consignment-delivery": VersionedThing(ConsignmentDelivery, "number"),
    "consignment-shelf": VersionedThing(ConsignmentShelf, "place__code"),
    "contract": VersionedThing(Contract, "number"),
    "count-sheet": VersionedThing(CountSheet, "number"),
    "customer-detail": VersionedThing(Customer),
    "delivery-round": VersionedThing(DeliveryRound, "number"),
    "deposit-slip": VersionedThing(DepositSlip),
    "expense": VersionedThing(Expense),
    "house": VersionedThing(House, None),
    "import": VersionedThing(Import),
    "invoice-detail": VersionedThing(Invoice),
    "jar-page": VersionedThing(JarPage, None),
    "label-sheet": VersionedThing(LabelSheet, "code"),
    "lot-detail": VersionedThing(Lot, "code"),
    "market-day": VersionedThing(MarketDay),
    "money-move": VersionedThing(MoneyMove),
    "order-detail": VersionedThing(Order, "number"),
    "part": VersionedThing(PackagingPart, "code"),
    "payment": VersionedThing(Payment),
    "person": VersionedThing(User),
    "place-detail": VersionedThing(Place, "code"),
    "product-detail": VersionedThing(Product, "code"),
    "product-prices": VersionedThing(Product, "code"),
    "production-settings": VersionedThing(ProductionSettings, None),
    "purchase-order": VersionedThing(PurchaseOrder, "number"),
    "recurring-expense": VersionedThing(RecurringExpense),
    "return-request": VersionedThing(ReturnRequest),
    "run": VersionedThing(BottlingRun, "number"),
    "season-outlook": VersionedThing(SeasonOutlook, None),
    "service": VersionedThing(Service, "code"),
    "size-detail": VersionedThing(Size, "code"),
    "stand-day": VersionedThing(StandDay),
    "standing-order": VersionedThing(StandingOrder),
    "supplier": VersionedThing(Supplier),
    "supplier-bill": VersionedThing(SupplierBill),
    "supplier-payment": VersionedThing(SupplierPayment),
    "variety": VersionedThing(Variety),
    "webhook": VersionedThing(Endpoint),
}
# Acts whose address does not begin with that of their thing.
SHOWN_AT = {
    "product-price-breaks": "product-prices",
    "product-prices-set": "product-prices",
    "quote-accept": "order-detail",
    "quote-decline": "order-detail",
    "quote-withdraw": "order-detail",
}


class NotThatVersion(APIException):
    """The thing is no longer the version that `If-Match` names; `etag` is what it is now."""

    status_code = status.HTTP_412_PRECONDITION_FAILED
    default_code = "changed_meanwhile"

    def __init__(self, etag: str | None) -> None:
        super().__init__(
            _(
                "This was changed since you read it, and nothing was done. Read it again, and send "
                "If-Match with the ETag that comes with it."
            )
        )
        self.etag = etag


class VersionRequired(APIException):
    """A PUT did not say what it replaces."""

    status_code = status.HTTP_428_PRECONDITION_REQUIRED
    default_code = "if_match_required"

    def __init__(self) -> None:
        super().__init__(
            _(
                "Send If-Match with the ETag of what you read, so that nothing that was changed "
                "since is undone; or with * to replace whatever is there."
            )
        )


def shown_at(address: str) -> ResolverMatch | None:
    """Return where the thing is shown that an address is of, None where there is none.

    It is the address itself, or the longest beginning of it that shows a thing.
    """
    try:
        found = resolve(address)
    except Resolver404:
        return None
    if found.url_name in SHOWN_AT:
        return resolve(reverse(f"api:{SHOWN_AT[found.url_name]}", kwargs=found.kwargs))
    while address.count("/") > API.count("/") + 1:
        try:
            found = resolve(address)
        except Resolver404:
            pass
        else:
            if found.url_name in THINGS:
                return found
        address = re.sub(r"[^/]+/?$", "", address)
    return None


def address_of(found: ResolverMatch) -> str:
    return reverse(f"api:{found.url_name}", args=found.args, kwargs=found.kwargs)


def answered(request: Request, response: HttpResponse) -> HttpResponse:
    """Give the answer of a thing its tag; where the reader has this version already, only that."""
    found = request.resolver_match
    if (
        request.method not in READS
        or response.status_code != status.HTTP_200_OK
        or found is None
        or found.url_name not in THINGS
    ):
        return response
    etag = _tag_of(response, THINGS[str(found.url_name)].rows(found))
    response.headers["ETag"] = etag
    return get_conditional_response(request._request, etag=etag, response=response) or response


def _tag_of(response: HttpResponse, rows: QuerySet[Any]) -> str:
    """Return the strong tag of an answer: of its very words, and of the columns of its row."""
    if isinstance(response, SimpleTemplateResponse):
        response.render()
    digest = hashlib.sha256(response.content)
    digest.update(repr(list(rows.values_list())).encode())
    return f'"{digest.hexdigest()[:32]}"'


def acted(request: Request, act: Callable[[], HttpResponse]) -> HttpResponse:
    """Act on the version that `If-Match` names, and tell the new one; call within a transaction.

    Raises `NotThatVersion`, `VersionRequired`, and `ParseError` where there is no version.
    """
    if "If-Match" not in request.headers:
        if request.method == "PUT":
            replaced = shown_at(request.path_info)
            if replaced and address_of(replaced) == request.path_info:
                raise VersionRequired
        return act()
    found = shown_at(request.path_info)
    wanted = parse_etags(request.headers["If-Match"])
    if found is None:
        raise ParseError(_("Nothing with an ETag is changed at this address. Leave If-Match out."))
    if not wanted:
        raise ParseError(_('Send If-Match as "…", with the ETag of what you read, or as *.'))
    THINGS[str(found.url_name)].lock(found)
    etag = _tag_now(request, found)
    if wanted != ["*"] and etag not in wanted:
        raise NotThatVersion(etag)
    response = act()
    if response.status_code < status.HTTP_400_BAD_REQUEST and (etag := _tag_now(request, found)):
        response.headers["ETag"] = etag
    return response


def _tag_now(request: Request, found: ResolverMatch) -> str | None:
    """Return the tag with which this person would read the thing now; None if they can't."""
    read: Any = copy.copy(request._request)
    read.method, read.GET = "GET", QueryDict()
    read.META = {name: read.META[name] for name in read.META if not OF_THE_ACT.match(name)}
    read.path = read.path_info = address_of(found)
    read.resolver_match = found
    read._force_auth_user, read._force_auth_token = request.user, request.auth
    try:
        response = found.func(read, *found.args, **found.kwargs)
    except Http404:
        return None
    is_there = response.status_code == status.HTTP_200_OK
    return response.headers["ETag"] if is_there else None


def describe(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """Say in the description of the API where there are tags, and what is refused by them."""
    for path, operations in result["paths"].items():
        address = re.sub(r"{\w+}", "1", path)
        found = shown_at(address)
        if found is None:
            continue
        is_thing = address_of(found) == address
        for method, operation in operations.items():
            if not isinstance(operation, dict) or "responses" not in operation:
                continue
            if method == "get" and is_thing:
                _describe_reading(operation)
            elif method in ("post", "put", "patch", "delete"):
                _describe_act(operation, is_required=method == "put" and is_thing)
    return result


ETAG = {
    "schema": {"type": "string"},
    "description": "The version of what is shown, for If-None-Match and If-Match.",
}


def _describe_reading(operation: dict[str, Any]) -> None:
    operation.setdefault("parameters", []).append(
        {
            "in": "header",
            "name": "If-None-Match",
            "schema": {"type": "string"},
            "description": "The ETag you have: where it still holds, the answer is 304 and empty.",
        }
    )
    operation["responses"]["200"].setdefault("headers", {})["ETag"] = ETAG
    operation["responses"]["304"] = {
        "description": "You have this version.",
        "headers": {"ETag": ETAG},
    }


def _describe_act(operation: dict[str, Any], *, is_required: bool) -> None:
    operation.setdefault("parameters", []).append(
        {
            "in": "header",
            "name": "If-Match",
            "required": is_required,
            "schema": {"type": "string"},
            "description": (
                "The ETag of the thing as you read it. Where it was changed since, nothing is done "
                "(412). With `*`, any version will do. The answer then has the new ETag."
            ),
        }
    )
    problem = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    operation["responses"].setdefault(
        "412",
        {
            "description": "It was changed since you read it (`changed_meanwhile`).",
            "headers": {"ETag": ETAG},
            "content": problem,
        },
    )
    if is_required:
        operation["responses"].setdefault(
            "428",
            {"description": "If-Match is missing (`if_match_required`).", "content": problem},
        )
    for name, response in operation["responses"].items():
        if name.startswith("2"):
            response.setdefault("headers", {})["ETag"] = ETAG
