"""Lot codes of what is packed: the next by the house's pattern, and which are taken."""

from datetime import date

from django.db.models import Q
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, Product
from inventory.shared.errors import BadValue
from inventory.stock import lot_codes
from inventory.stock.models import Lot, Place, ProductionSettings
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
    if code and (other := _bearer_of(code)):
        return BadValue(
            _("%(code)s is %(other)s. Type a code that nothing else has.")
            % {"code": code, "other": other},
            parameter=parameter,
        )
    if not code or not is_taken(code, product):
        return None
    return BadValue(
        _("Lot %(code)s of %(product)s is there already. Type another code.")
        % {"code": code, "product": product.name},
        parameter=parameter,
    )


def _bearer_of(code: str) -> str:
    """Say what else a code names: a vessel, or honey in bulk; an empty text for nothing.

    Whoever asks about a code then means one kind of thing.
    """
    vessel = Place.objects.filter(
        Q(code__iexact=code) | Q(name__iexact=code), kind__in=Place.VESSELS
    ).first()
    if vessel is not None:
        return _("the number of %(vessel)s") % {"vessel": vessel.name}
    if Lot.objects.filter(code__iexact=code, product=None).exists():
        return _("the code of a lot of honey in bulk")
    return ""
