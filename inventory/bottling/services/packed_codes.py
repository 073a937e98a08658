"""Lot codes of what is packed: the next by the house's pattern, and which are taken."""

from datetime import date

from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, Product
from inventory.shared.errors import BadValue
from inventory.stock import lot_codes
from inventory.stock.models import Lot, ProductionSettings
from inventory.stock.services import ledger


def next_code(product: Product, day: date) -> str:
    """Return the code by the house's pattern for what is packed of this product on a day.

    A pattern without a number gives all runs of a day one code; a second run of the same product
    gets a number behind it, so that the two stay apart.
    """
    code = lot_codes.of_day(ProductionSettings.current().lot_code_pattern, day)
    series = lot_codes.series(code)
    if lot_codes.has_number(code):
        while is_taken(made := lot_codes.numbered(code, ledger.next_number(series)), product):
            pass
        return made
    made, number = code, 1
    while is_taken(made, product):
        number += 1
        made = f"{code}-{number}"
    return made


def is_taken(code: str, product: Product) -> bool:
    """Tell whether pieces of this product bear the code, or a run is planned to stamp it."""
    return (
        Lot.objects.filter(code=code, product=product).exists()
        or BottlingRun.objects.filter(lot_code=code, product=product)
        .exclude(status=BottlingRun.Status.CANCELLED)
        .exists()
    )


def taken_error(code: str, product: Product, *, parameter: str) -> BadValue | None:
    """Return the refusal of a code that is taken, or None."""
    if not code or not is_taken(code, product):
        return None
    return BadValue(
        _("Lot %(code)s of %(product)s is there already. Type another code.")
        % {"code": code, "product": product.name},
        parameter=parameter,
    )
