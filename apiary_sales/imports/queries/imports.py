"""Imports as pages show them: the list, what a row made, and what past sales add up to."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db.models import Count, QuerySet, Sum
from django.db.models.functions import ExtractYear
from django.urls import reverse

from apiary_sales.imports.models import Import, ImportRow
from apiary_sales.imports.rules.kinds import ListKind
from apiary_sales.orders.models import Order


@dataclass(frozen=True)
class ThingMade:
    """What a row made, as a link; `url` is empty where it has no page."""

    what: str
    name: str
    url: str


@dataclass(frozen=True)
class RowMade:
    """A row of an import with everything that it made."""

    number: int
    things: tuple[ThingMade, ...]


@dataclass(frozen=True)
class RowTold:
    """A row with something wrong: what its cells say, and each problem with its column."""

    number: int
    cells: str
    problems: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class PastSalesOfYear:
    """The past sales of one import in one year and channel."""

    year: str
    channel: str
    rows: int
    cents: int


def kept() -> QuerySet[Import]:
    """Return the imports that were not dropped, newest first."""
    return Import.objects.exclude(state=Import.State.DROPPED).select_related(
        "uploaded_by", "completed_by"
    )


def told(rows: Iterable[ImportRow], what: ListKind) -> list[RowTold]:
    """Return rows with something wrong as a page shows them."""
    labels = {column.name: str(column.label) for column in what.columns}
    return [
        RowTold(
            row.number,
            ", ".join(cell for cell in row.cells if cell)[:160],
            tuple((labels.get(column, ""), sentence) for column, sentence in row.told()),
        )
        for row in rows
    ]


def made(rows: Iterable[ImportRow]) -> list[RowMade]:
    """Return what rows made, in one question for each kind of thing."""
    rows = list(rows)
    wanted: dict[str, set[int]] = defaultdict(set)
    for row in rows:
        for label, pk in row.made:
            wanted[label].add(pk)
    found = {
        label: apps.get_model(label)._default_manager.in_bulk(keys)
        for label, keys in wanted.items()
    }
    return [
        RowMade(
            row.number,
            tuple(
                _thing(found[label][pk])
                for label, pk in row.made
                if pk in found[label] and label not in NOT_SHOWN
            ),
        )
        for row in rows
    ]


# The posting of a lot is on the page of the lot.
NOT_SHOWN = ("inventory.Posting",)


def _thing(row: Any) -> ThingMade:
    return ThingMade(str(row._meta.verbose_name), str(row), _url(row))


def _url(row: Any) -> str:
    match row._meta.label:
        case "customers.Customer":
            return reverse("customers:detail", args=[row.pk])
        case "inventory.PackagingPart":
            return reverse("inventory:part_detail", args=[row.code])
        case "inventory.Lot":
            return reverse("inventory:lot_detail", args=[row.code])
        case "billing.Expense":
            return reverse("billing:expense", args=[row.pk])
        case "inventory.Size":
            return reverse("inventory:size_edit", args=[row.code])
        case "inventory.Product":
            return reverse("inventory:product_edit", args=[row.code]) if row.is_honey else ""
    return ""


def past_sales(brought_in: Import) -> list[PastSalesOfYear]:
    """Return what the past sales of an import add up to, by year and channel."""
    rows = (
        brought_in.past_sales.order_by()
        .annotate(year=ExtractYear("day"))
        .values_list("year", "channel")
        .annotate(Count("pk"), Sum("amount_cents"))
        .order_by("year", "channel")
    )
    return [
        PastSalesOfYear(str(year), str(Order.Channel(channel).label), count, cents)
        for year, channel, count, cents in rows
    ]
