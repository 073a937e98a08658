"""Rows of sizes and products."""

from decimal import Decimal

from django.db import models
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.cells import Figures
from inventory.bottling.models import Brand, Product, Size, Variety
from inventory.bottling.services import goods, products, removal, sizes
from inventory.physics import units
from inventory.shared.errors import BadValue, parameters_named
from inventory.shared.people import Person

NAMES_OF_SIZE = {"name": "size", "declared_amount": "net_weight", "declared_unit": "net_weight"}


def write(figures: Figures, by: Person, key: str) -> list[models.Model]:
    """Add a product, with its size, variety and brand where they are not there yet."""
    kind = figures.get("kind", Product.Kind.HONEY)
    if kind == Product.Kind.GIFT_BOX:
        raise BadValue(
            _("Gift boxes are put together on their own page, once their goods are there."),
            parameter="kind",
        )
    if kind == Product.Kind.GOODS:
        with parameters_named(low_stock="low_stock_pieces"):
            return [
                goods.save(
                    name=figures["name"],
                    gtin=figures.get("gtin", ""),
                    low_stock=figures.get("low_stock_pieces", 0),
                )
            ]
    return _honey(figures)


def _honey(figures: Figures) -> list[models.Model]:
    before = _names(figures)
    size_name = _one_line(str(figures.get("size") or figures["name"]))
    size: Size | None = Size.objects.filter(name__iexact=size_name).first()
    form = figures.get("form", Product.Form.LIQUID)
    is_standard = form == Product.Form.LIQUID and not {"variety", "brand"} & set(figures)
    made: list[models.Model] = []
    standard = None
    if size is None:
        size = _new_size(figures, size_name)
        made.append(size)
        standard = size.standard_product
    if standard is not None and not is_standard:
        made.append(standard)
        standard = None
    with parameters_named(new_variety="variety", new_brand="brand"):
        product = products.save_honey(
            size=size,
            form=form,
            name=figures["name"],
            gtin=figures.get("gtin", ""),
            low_stock_pieces=figures.get("low_stock_pieces", 0),
            new_variety=figures.get("variety", ""),
            new_floral_source=figures.get("floral_source", ""),
            new_brand=figures.get("brand", ""),
            product=standard,
        )
    added = [name for name in _names(figures) if name not in before]
    return [*added, *made, product]


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _names(figures: Figures) -> list[models.Model]:
    """Return the variety and brand of a row that are there."""
    varieties = Variety.objects.filter(name__iexact=_one_line(figures.get("variety", "")))
    brands = Brand.objects.filter(name__iexact=_one_line(figures.get("brand", "")))
    return [*varieties, *brands]


def _new_size(figures: Figures, name: str) -> Size:
    if "net_weight" not in figures:
        raise BadValue(
            _(
                "There is no size “%(name)s” yet. Enter its net weight, as in 1 lb or 500 g, or "
                "the name of a size that is there."
            )
            % {"name": name},
            parameter="net_weight",
        )
    amount, unit = figures["net_weight"]
    usual = _usual(amount, unit)
    if "brimful_ml" not in figures and usual is None:
        raise BadValue(
            _("Enter what the jar holds to the brim, in ml: weigh one filled with water."),
            parameter="brimful_ml",
        )
    tare = usual.tare_grams if usual else 0
    with parameters_named(**NAMES_OF_SIZE):
        return sizes.save(
            name=name,
            declared_amount=amount,
            declared_unit=unit,
            brimful_ml=figures["brimful_ml"] if "brimful_ml" in figures else _brimful(usual),
            tare_grams=figures.get("tare_grams", tare),
            pieces_per_case=figures.get("pieces_per_case", usual.pieces_per_case if usual else 12),
        )


def _usual(amount: Decimal, unit: str) -> sizes.UsualSize | None:
    """Return the usual size of a net weight, whose capacity a new one has unless it says."""
    grams = units.grams_from(amount, unit)
    for size in sizes.standard_sizes():
        if units.grams_from(Decimal(size.amount), size.unit) == grams:
            return size
    return None


def _brimful(usual: sizes.UsualSize | None) -> Decimal:
    return Decimal(usual.brimful_ml) if usual else Decimal(0)


def take_back(
    row: Product | Size | Variety | Brand, made_by: Import, by: Person, key: str, reason: str
) -> None:
    """Remove a product, or the size, variety or brand that came with one, where not used since."""
    if isinstance(row, Product):
        removal.remove_product(product=row)
    elif isinstance(row, Size):
        removal.remove_size(size=row)
    else:
        removal.remove_name(name=row)
