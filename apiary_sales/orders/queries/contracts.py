"""Contracts with packers: what is left of each, their call-offs, and the drums that fit."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.orders.queries import drums
from apiary_sales.orders.queries.drums import DrumOffer
from apiary_sales.orders.rules import contracts as rules
from apiary_sales.orders.rules.contract_tally import ContractTally
from apiary_sales.orders.trade_models import CallOff, Contract
from inventory.shared.tags import Tag


@dataclass(frozen=True)
class CallOffRow:
    """An order of a contract: what it has and what of it was handed over, in grams."""

    call_off: CallOff
    grams: int
    handed_over: int


@dataclass(frozen=True)
class DrumForContract:
    """A free drum, and what it lacks of the quality that was agreed."""

    offer: DrumOffer
    faults: list[str]


def listed() -> QuerySet[Contract]:
    """Return contracts, those that run longest first, with their buyer and prices."""
    return (
        Contract.objects.select_related("customer", "created_by")
        .prefetch_related("price_steps")
        .order_by("-ends_on", "-id")
    )


def tallies(contracts: Iterable[Contract]) -> list[ContractTally]:
    return CallOff.objects.tallies(contracts)


def state(contract: Contract, on: date | None = None) -> Tag:
    """Return whether a contract runs on a day."""
    on = on or timezone.localdate()
    if on < contract.starts_on:
        return Tag(_("to come"), "info")
    return Tag(_("past")) if on > contract.ends_on else Tag(_("running"), "good")


def call_offs(contract: Contract) -> list[CallOffRow]:
    """Return the orders of a contract, newest first, in three queries."""
    found = list(contract.call_offs.select_related("order").order_by("-id"))
    orders = [each.order_id for each in found]
    honey = OrderLine.objects.filter(order__in=orders, kind=OrderLine.Kind.HONEY).order_by()
    ordered = dict(honey.values_list("order").annotate(Sum("quantity")))
    handed_over: dict[int, int] = {}
    for order, quantity, returned in (
        FulfilmentLine.objects.not_taken_back()
        .filter(order_line__in=honey)
        .order_by()
        .values_list("order_line__order")
        .annotate(Sum("quantity"), Sum("returned"))
    ):
        handed_over[order] = quantity - returned
    return [
        CallOffRow(each, ordered.get(each.order_id, 0), handed_over.get(each.order_id, 0))
        for each in found
    ]


def free_drums(contract: Contract) -> list[DrumForContract]:
    """Return the free drums, those that are what was agreed first, oldest honey first."""
    approved = list(contract.samples.values_list("lot", flat=True))
    found = [
        DrumForContract(offer, rules.faults(contract, offer.drum, offer.lot, approved))
        for offer in drums.free_drums(timezone.localdate())
    ]
    return sorted(found, key=lambda each: bool(each.faults))
