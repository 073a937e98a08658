"""Rows of prices."""

from django.db.models import Max
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.cells import Figures
from apiary_sales.orders.models import OrderLine
from apiary_sales.pricing.models import PiecePrice
from apiary_sales.pricing.services import price_removal, prices
from inventory.shared.errors import BadValue, CannotReverse, parameters_named
from inventory.shared.people import Person


def fewest_first(figures: Figures) -> int:
    """The price of a single piece comes before those for more."""
    return int(figures.get("min_pieces", 1))


def write(figures: Figures, by: Person, key: str) -> list[PiecePrice]:
    """Set a price; the same one that is in force from that day already makes no new row."""
    if figures.get("min_pieces", 1) < 1:
        raise BadValue(_("Enter one piece or more."), parameter="min_pieces")
    newest = PiecePrice.objects.aggregate(newest=Max("pk"))["newest"] or 0
    with parameters_named(piece_cents="piece", case_cents="case"):
        row = prices.set_piece(
            product=figures["product"],
            tier=figures["tier"],
            piece_cents=figures["piece"],
            case_cents=figures.get("case"),
            min_pieces=figures.get("min_pieces", 1),
            valid_from=figures.get("valid_from") or timezone.localdate(),
        )
    return [row] if row.pk > newest else []


def take_back(price: PiecePrice, made_by: Import, by: Person, key: str, reason: str) -> None:
    """Take a price off the list, unless something was ordered at it since."""
    brought_in = timezone.localdate(made_by.completed_at)
    sold = (
        OrderLine.objects.filter(
            product=price.product, order__placed_on__gte=max(price.valid_from, brought_in)
        )
        .order_by("order__placed_on")
        .values_list("order__placed_on", "order__number")
        .first()
    )
    if sold:
        raise CannotReverse(
            _(
                "%(product)s was sold since, on %(day)s (order %(order)s). Set another price from "
                "today instead."
            )
            % {"product": price.product, "day": date_format(sold[0]), "order": sold[1]}
        )
    price_removal.take_back(price=price)
