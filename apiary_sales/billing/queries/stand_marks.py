"""Sales at the stand that somebody should look at, and those that were given to the office."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet, Subquery

from apiary_sales.billing.models import HandedInSale, SaleMark, StandSale
from apiary_sales.billing.queries import stand_returns
from inventory.shared.asked_together import how_many


def sales(*, is_seen: bool, kind: str = "") -> QuerySet[StandSale]:
    """Return the sales with marks that nobody has looked at, or those looked at; newest first.

    With a `kind`, those that have such a mark; of those to look at, one still to look at.
    """
    # Few sales have marks: they are found by those, not by going through the sales.
    marks, are_open = SaleMark.objects.all(), SaleMark.objects.open()
    if is_seen:
        found = StandSale.objects.filter(pk__in=marks.values("sale"))
        found = found.exclude(pk__in=are_open.values("sale"))
    else:
        found = StandSale.objects.filter(pk__in=are_open.values("sale"))
    if kind:
        of_kind = (marks if is_seen else are_open).filter(kind=kind)
        found = found.filter(pk__in=of_kind.values("sale"))
    return (
        found.select_related("receipt", "place")
        .prefetch_related("sold_by", "sent_by", "marks__seen_by", "receipt__lines")
        .order_by("-id")
    )


def kinds(*, is_seen: bool) -> list[tuple[str, str]]:
    """Return the kinds of marks that are there to look at, or were looked at, with their names."""
    marks = SaleMark.objects.exclude(seen_at=None) if is_seen else SaleMark.objects.open()
    there = set(marks.values_list("kind", flat=True))
    return [(kind, str(name)) for kind, name in SaleMark.Kind.choices if kind in there]


def only_short(sales: Iterable[StandSale]) -> list[StandSale]:
    """Return those of these sales whose marks to look at say only that goods were short."""
    found = []
    for sale in sales:
        waiting = {mark.kind for mark in sale.marks.all() if mark.seen_at is None}
        if waiting == {SaleMark.Kind.SHORT}:
            found.append(sale)
    return found


@dataclass(frozen=True)
class WaitingForOffice:
    """How much of the stand waits for the office: sales with marks, sales given to it, returns."""

    sales: int = 0
    handed_in: int = 0
    returns: int = 0

    def __bool__(self) -> bool:
        return bool(self.sales or self.handed_in or self.returns)


def waiting_asked() -> dict[str, Subquery]:
    """Ask how much from the stand waits for the office, together with other questions."""
    return {
        "stand_sales": how_many(SaleMark.objects.open(), different="sale"),
        "stand_handed_in": how_many(handed_in(is_settled=False)),
        "stand_returns": how_many(stand_returns.waiting()),
    }


def waiting(answers: Mapping[str, Any]) -> WaitingForOffice:
    """Return how much from the stand waits for the office, by the answers to `waiting_asked`."""
    return WaitingForOffice(
        sales=answers["stand_sales"],
        handed_in=answers["stand_handed_in"],
        returns=answers["stand_returns"],
    )


def handed_in(*, is_settled: bool) -> QuerySet[HandedInSale]:
    """Return the sales that were given to the office, newest first."""
    return HandedInSale.objects.filter(settled_at__isnull=not is_settled).select_related(
        "handed_in_by", "settled_by", "sale__receipt"
    )
