"""Trace lots both ways: a jar back to its extractions, an extraction out to what it became."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.db import connection

from inventory.stock.models import Lot, LotParent


@dataclass(frozen=True)
class Origin:
    """An extraction that is in a lot, with its share of the honey."""

    lot: Lot
    share: Fraction

    @property
    def percent(self) -> Decimal:
        return (Decimal(self.share.numerator) * 100 / self.share.denominator).quantize(
            Decimal("0.1")
        )


def ancestors(lot: Lot) -> list[Lot]:
    """Return every lot that went into this one, nearest first; the lot itself is left out."""
    return _related(lot, from_column="lot_id", to_column="parent_id")


def descendants(lot: Lot) -> list[Lot]:
    """Return every lot this one went into, nearest first; the lot itself is left out."""
    return _related(lot, from_column="parent_id", to_column="lot_id")


def origins(lot: Lot) -> list[Origin]:
    """Return the extractions in a lot and their exact shares, largest first.

    A share is the product of the shares along each way back, added up over the ways.
    """
    family = {relative.pk: relative for relative in [lot, *ancestors(lot)]}
    links: dict[int, list[LotParent]] = {}
    for link in LotParent.objects.filter(lot__in=family).order_by("id"):
        links.setdefault(link.lot_id, []).append(link)
    # A parent is made before its children, so its shares are known by the time they are needed.
    shares_of: dict[int, dict[int, Fraction]] = {}
    for key in sorted(family):
        if key not in links:
            shares_of[key] = {key: Fraction(1)}
            continue
        whole = sum(link.grams for link in links[key])
        shares_of[key] = {}
        for link in links[key]:
            for origin, share in shares_of[link.parent_id].items():
                known = shares_of[key].get(origin, Fraction(0))
                shares_of[key][origin] = known + share * Fraction(link.grams, whole)
    shares = shares_of[lot.pk]
    return [
        Origin(family[key], share)
        for key, share in sorted(shares.items(), key=lambda pair: (-pair[1], pair[0]))
    ]


def _related(lot: Lot, *, from_column: str, to_column: str) -> list[Lot]:
    table = connection.ops.quote_name(LotParent._meta.db_table)
    with connection.cursor() as cursor:
        # UNION, not UNION ALL: a lot reached by two ways is walked on from only once a depth.
        cursor.execute(
            f"""
            WITH RECURSIVE related (id, depth) AS (
                SELECT {to_column}, 1 FROM {table} WHERE {from_column} = %s
                UNION
                SELECT link.{to_column}, related.depth + 1
                FROM {table} AS link JOIN related ON link.{from_column} = related.id
            )
            SELECT id, MIN(depth) FROM related GROUP BY id ORDER BY MIN(depth), id
            """,
            [lot.pk],
        )
        order = [row[0] for row in cursor.fetchall()]
    lots = Lot.objects.select_related("container").in_bulk(order)
    return [lots[key] for key in order]
