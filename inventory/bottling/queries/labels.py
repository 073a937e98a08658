"""What the labels of a run say, read from the run, its lot and the house."""

from inventory.bottling.models import BottlingRun, LabelSheet
from inventory.bottling.rules.labels import LabelFacts
from inventory.shared.models import House
from inventory.stock.models import Lot


def facts_of(run: BottlingRun) -> LabelFacts:
    """Return what the labels of a run say; the one place that reads it from the run.

    The lot code and the day are empty while the run is not recorded.
    """
    house = House.current()
    size, packed_lot = run.size, run.packed_lot
    honey = packed_lot or run.lot
    return LabelFacts(
        form="liquid",
        variety=honey.floral_source if honey else "",
        declared_grams=size.declared_grams,
        gtin=size.gtin,
        lot_code=packed_lot.code if packed_lot else "",
        best_by=packed_lot.best_by if packed_lot else None,
        house_name=house.name,
        address=_address(house),
        market=house.market,
        sources=[(part.lot.floral_source, part.share) for part in honey.origins()] if honey else [],
        origin=_origin_lines(honey),
    )


def default_sheet() -> LabelSheet | None:
    """Return the layout offered first: the first one in use for the house's paper, or any."""
    sheets = LabelSheet.objects.filter(is_active=True)
    return sheets.filter(paper=House.current().paper).first() or sheets.first()


def _address(house: House) -> tuple[str, ...]:
    town = ", ".join(part for part in (house.city, house.region) if part)
    lines = (house.street, f"{town} {house.postal_code}".strip(), house.country)
    return tuple(line for line in lines if line)


def _origin_lines(_honey: Lot | None) -> tuple[str, ...]:
    """Return the lines that tell where the honey comes from; lots keep no country yet."""
    return ()
