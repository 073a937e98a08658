"""What the labels of a run say, read from the run, its lot and the house."""

from inventory.bottling.models import BottlingRun, LabelSheet
from inventory.bottling.rules import filling
from inventory.bottling.rules.labels import LabelFacts
from inventory.shared.models import House
from inventory.stock.models import Lot
from inventory.stock.queries import origin


def facts_of(run: BottlingRun) -> LabelFacts:
    """Return what the labels of a run say; the one place that reads it from the run.

    While the run is not recorded, the best-by date counts from the day it is planned for. A run
    that was cancelled has no lot code.
    """
    house = House.current()
    product, size, packed_lot = run.product, run.size, run.packed_lot
    honey = packed_lot or run.lot
    floral_source = honey.floral_source if honey else ""
    best_by = filling.best_by(run.planned_for, size.best_by_months)
    return LabelFacts(
        form=product.form,
        variety=product.variety.name if product.variety else floral_source,
        brand=product.brand.name if product.brand else "",
        declared_grams=size.declared_grams,
        gtin=product.gtin,
        lot_code="" if run.status == BottlingRun.Status.CANCELLED else run.lot_code,
        best_by=packed_lot.best_by if packed_lot else best_by,
        house_name=house.name,
        packed_for=honey.owner.name if honey and honey.owner else "",
        address=_address(house),
        market=house.market,
        sources=[(part.lot.floral_source, part.share) for part in honey.origins()] if honey else [],
        origin=_origin_lines(honey, house),
    )


def lots_without_country(run: BottlingRun) -> list[Lot]:
    """Return the lots in a run whose country is unknown, where the rule of the house wants it."""
    honey = run.packed_lot or run.lot
    return origin.without_country(honey, House.current()) if honey else []


def default_sheet() -> LabelSheet | None:
    """Return the layout offered first: the first one in use for the house's paper, or any."""
    sheets = LabelSheet.objects.filter(is_active=True)
    return sheets.filter(paper=House.current().paper).first() or sheets.first()


def _address(house: House) -> tuple[str, ...]:
    town = ", ".join(part for part in (house.city, house.region) if part)
    lines = (house.street, f"{town} {house.postal_code}".strip(), house.country)
    return tuple(line for line in lines if line)


def _origin_lines(honey: Lot | None, house: House) -> tuple[str, ...]:
    return tuple(origin.origin_lines(honey, house)) if honey else ()
