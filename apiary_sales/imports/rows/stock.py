"""Rows of stock with which the books begin: jars, honey, and parts."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.cells import Figures
from inventory.bottling.models import PackagingPart
from inventory.bottling.services import opening_stock, parts, reversals
from inventory.shared.errors import BadValue, Problems, parameters_named
from inventory.shared.people import Person
from inventory.stock.models import Posting
from inventory.stock.services import honey, ledger


def lock_jars(rows: Iterable[Figures]) -> None:
    """Lock the items of all jars at once, in the order that every act keeps."""
    ledger.lock_items([figures["product"].item for figures in rows])


def write_jars(figures: Figures, by: Person, key: str) -> list[models.Model]:
    """Put jars with their printed code in the books."""
    details = dict(figures)
    begins_on = details.pop("begins_on", None) or timezone.localdate()
    with parameters_named(cost_cents="cost"):
        lot = opening_stock.receive_jars(
            cost_cents=details.pop("cost", None),
            begins_on=begins_on,
            recorded_by=by,
            key=key,
            **details,
        )
    return [lot, _posting(key)]


def write_honey(figures: Figures, by: Person, key: str) -> list[models.Model]:
    """Put honey in a vessel; with what is in it already it becomes a blend."""
    details = dict(figures)
    with parameters_named(cost_cents="cost"):
        lot = honey.receive(
            cost_cents=details.pop("cost", None), recorded_by=by, key=key, **details
        )
    return [lot, _posting(key)]


def oldest_first(figures: Figures) -> date:
    """What was extracted first is poured first."""
    day: date = figures["extracted_on"]
    return day


def write_parts(figures: Figures, by: Person, key: str) -> list[models.Model]:
    """Add a part where there is none of that name, and bring in what there is of it."""
    name = " ".join(figures["name"].split())
    part = PackagingPart.objects.filter(name__iexact=name).first()
    made: list[models.Model] = []
    if part is None:
        if "kind" not in figures:
            raise BadValue(
                _("There is no part “%(name)s” yet. Say what kind of part it is.") % {"name": name},
                parameter="kind",
            )
        part = parts.save(
            name=name, kind=figures["kind"], reorder_point=figures.get("reorder_point", 0)
        )
        made.append(part)
    if figures.get("pieces"):
        made.append(_received(part, figures, by, key))
    elif not made:
        raise BadValue(_("Enter how many there are of it."), parameter="pieces")
    return made


def _received(part: PackagingPart, figures: Figures, by: Person, key: str) -> Posting:
    problems = Problems()
    if "place" not in figures:
        problems.add("place", _("Enter the shelf on which they are."))
    if "cost" not in figures:
        problems.add("cost", _("Enter what all of it cost, and 0 where it cost nothing."))
    problems.raise_any()
    with parameters_named(cost_cents="cost"):
        receipt = parts.receive(
            part=part,
            place=figures["place"],
            pieces=figures["pieces"],
            cost_cents=figures["cost"],
            supplier=figures.get("supplier", ""),
            received_on=figures.get("received_on") or timezone.localdate(),
            recorded_by=by,
            key=key,
        )
    return receipt.posting


def _posting(key: str) -> Posting:
    return Posting.objects.get(idempotency_key=key)


def take_back(row: Any, made_by: Import, by: Person, key: str, reason: str) -> None:
    """Reverse what came in; its lot stays, with nothing in it, and a part is out of use."""
    if isinstance(row, Posting):
        reversals.reverse(posting=row, recorded_by=by, key=key, note=reason)
    elif isinstance(row, PackagingPart):
        parts.save(
            name=row.name,
            kind=row.kind,
            reorder_point=row.reorder_point,
            lead_time_days=row.lead_time_days,
            is_active=False,
            part=row,
        )
