"""Questions of one value each that are asked beside one another, in one round trip.

They go into the `values` of a query of one row.
"""

from typing import Any

from django.db.models import DateTimeField, F, Func, IntegerField, QuerySet, Subquery


def how_many(found: QuerySet[Any], *, different: str = "") -> Subquery:
    """Ask how many rows these are; with `different`, how many values a field of them has."""
    # Not Django's `Count`, which would count by group.
    template = "COUNT(DISTINCT %(expressions)s)" if different else "COUNT(%(expressions)s)"
    count = Func(F(different or "pk"), template=template, output_field=IntegerField())
    return Subquery(found.order_by().annotate(how_many=count).values("how_many"))


def total(found: QuerySet[Any], field: str) -> Subquery:
    """Ask what a field of these rows adds up to; None without rows."""
    added = Func(F(field), function="SUM", output_field=IntegerField())
    return Subquery(found.order_by().annotate(total=added).values("total"))


def latest(found: QuerySet[Any], field: str) -> Subquery:
    """Ask for the latest moment in a field of these rows; None without rows."""
    last = Func(F(field), function="MAX", output_field=DateTimeField())
    return Subquery(found.order_by().annotate(latest=last).values("latest"))
