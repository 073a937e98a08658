"""Sales at the stand that somebody should look at, and those that were given to the office."""

from django.db.models import Exists, OuterRef, QuerySet

from apiary_sales.billing.models import HandedInSale, SaleMark, StandSale


def sales(*, is_seen: bool) -> QuerySet[StandSale]:
    """Return the sales with marks that nobody has looked at, or those looked at; newest first."""
    marks = SaleMark.objects.filter(sale=OuterRef("pk"))
    has_open = Exists(marks.filter(seen_at=None))
    found = StandSale.objects.filter(Exists(marks))
    found = found.filter(~has_open) if is_seen else found.filter(has_open)
    return (
        found.select_related("receipt", "place", "sold_by", "sent_by")
        .prefetch_related("marks__seen_by", "receipt__lines")
        .order_by("-id")
    )


def to_look_at() -> int:
    """Return how many sales have a mark that nobody has looked at."""
    return StandSale.objects.filter(marks__seen_at=None, marks__isnull=False).distinct().count()


def handed_in(*, is_settled: bool) -> QuerySet[HandedInSale]:
    """Return the sales that were given to the office, newest first."""
    return HandedInSale.objects.filter(settled_at__isnull=not is_settled).select_related(
        "handed_in_by", "settled_by", "sale__receipt"
    )
