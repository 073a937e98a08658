"""Sizes: set up, changed, put out of use; and the sizes the trade usually fills."""

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.bottling.models import Product, Size
from inventory.bottling.rules import filling
from inventory.bottling.services import products
from inventory.bottling.services.products import PartUse
from inventory.physics import units
from inventory.shared import checks, codes, conventions, words
from inventory.shared.errors import Problems
from inventory.stock import density
from inventory.stock.models import Lot
from inventory.stock.models.lots import MOISTURE_MIN

GRAMS_MIN, GRAMS_MAX = Decimal(5), Decimal(50_000)
BRIMFUL_ML_MIN, BRIMFUL_ML_MAX = Decimal(5), Decimal(60_000)
TARE_GRAMS_MAX = 10_000
PIECES_PER_CASE_MAX = 1_000
BEST_BY_MONTHS_MAX = 120
LOW_STOCK_MAX = 1_000_000
DECIMAL_POINT = re.compile(r"(?<=\d)\.(?=\d)")


@dataclass(frozen=True)
class UsualSize:
    """A size as the trade usually fills it."""

    code: str
    name: Promise
    amount: str
    unit: str
    brimful_ml: int
    tare_grams: int
    pieces_per_case: int

    @property
    def written_name(self) -> str:
        """The name with the decimal sign of the house: "2,5 kg"."""
        return DECIMAL_POINT.sub(conventions.current().decimal_sign, str(self.name))


USUAL_SIZES = (
    UsualSize("half-pound", gettext_lazy("Half pound"), "0.5", "lb", 190, 120, 24),
    UsualSize("12-oz", gettext_lazy("12 oz"), "12", "oz", 260, 25, 24),
    UsualSize("1-lb", gettext_lazy("One pound"), "1", "lb", 345, 180, 12),
    UsualSize("2-lb", gettext_lazy("Two pound"), "2", "lb", 690, 300, 12),
    UsualSize("quart", gettext_lazy("Quart (3 lb)"), "3", "lb", 1_005, 440, 12),
    UsualSize("half-gallon", gettext_lazy("Half gallon (6 lb)"), "6", "lb", 1_990, 75, 6),
    UsualSize("gallon", gettext_lazy("Gallon (12 lb)"), "12", "lb", 3_960, 130, 4),
    UsualSize("2-gallon", gettext_lazy("Two gallon (24 lb)"), "24", "lb", 8_300, 380, 1),
    UsualSize("5-gallon", gettext_lazy("Five-gallon pail (60 lb)"), "60", "lb", 20_000, 900, 1),
    UsualSize("125-g", gettext_lazy("125 g"), "125", "g", 106, 85, 24),
    UsualSize("250-g", gettext_lazy("250 g"), "250", "g", 212, 130, 12),
    UsualSize("350-g", gettext_lazy("350 g"), "350", "g", 280, 155, 12),
    UsualSize("500-g", gettext_lazy("500 g"), "500", "g", 390, 200, 12),
    UsualSize("1-kg", gettext_lazy("1 kg"), "1", "kg", 770, 330, 6),
    UsualSize("2-5-kg", gettext_lazy("2.5 kg"), "2.5", "kg", 1_900, 90, 6),
    UsualSize("5-kg", gettext_lazy("5 kg"), "5", "kg", 3_750, 170, 4),
    UsualSize("12-5-kg", gettext_lazy("12.5 kg pail"), "12.5", "kg", 9_400, 450, 1),
)


def standard_sizes() -> tuple[UsualSize, ...]:
    """Return the sizes the trade usually fills.

    Common practice, from memory: what jars, jugs and pails sold for honey hold to the brim, which
    is more than their nominal size. That matters: 12 lb at 17.4 % moisture and 20 °C fill 3.84 L,
    and a US gallon is 3.785 L, so only a jug with room above its mark takes 12 lb; likewise 60 lb
    need 19.2 L and five gallons are 18.9 L. Measure your own: weigh one filled to the brim with
    water.
    """
    return USUAL_SIZES


@transaction.atomic
def save(
    *,
    name: str,
    declared_amount: Decimal,
    declared_unit: str,
    brimful_ml: Decimal,
    tare_grams: int = 0,
    pieces_per_case: int = 12,
    gtin: str = "",
    best_by_months: int = 24,
    low_stock_pieces: int = 0,
    parts: Sequence[PartUse] | None = None,
    size: Size | None = None,
    code: str = "",
) -> Size:
    """Add a size, or change `size`; `parts` replaces what it is made up from.

    A new size comes with its standard product: the house's honey in it, with the same name and
    short name; `gtin` and `low_stock_pieces` are that product's. The short name, which is in the
    address, stays as it was. The declared weight can't change once pieces were packed under it.
    Raises `BadValue` and `SeveralProblems`.
    """
    name = " ".join(name.split())
    gtin = "".join(character for character in gtin if character not in " -")
    problems = Problems()
    rivals = Size.objects.exclude(pk=size.pk) if size else Size.objects.all()
    if not name:
        problems.add("name", _("Enter a name, for example “One pound”."))
    elif rivals.filter(name__iexact=name).exists():
        problems.add(
            "name",
            _("There is a size called %(name)s already. Choose another name.") % {"name": name},
        )
    if code and size is None and rivals.filter(code=code).exists():
        problems.add(
            "code",
            _("There is a size with the short name %(code)s already. Choose another short name.")
            % {"code": code},
        )
    _check_declared(problems, size, declared_amount, declared_unit)
    _check_between(problems, "brimful_ml", brimful_ml, BRIMFUL_ML_MIN, BRIMFUL_ML_MAX, _("ml"))
    _check_room(problems, declared_amount, declared_unit, brimful_ml)
    _check_between(problems, "tare_grams", tare_grams, 0, TARE_GRAMS_MAX, _("g"))
    _check_between(problems, "pieces_per_case", pieces_per_case, 1, PIECES_PER_CASE_MAX)
    _check_between(problems, "best_by_months", best_by_months, 1, BEST_BY_MONTHS_MAX, _("months"))
    _check_between(problems, "low_stock_pieces", low_stock_pieces, 0, LOW_STOCK_MAX)
    product = size.standard_product if size else None
    others = Product.objects.exclude(pk=product.pk) if product else Product.objects.all()
    products.check_gtin(problems, gtin)
    products.check_gtin_is_free(problems, others, gtin)
    products.check_parts(problems, parts or ())
    problems.raise_any()
    name_before = size.name if size else ""
    if size is None:
        size = Size(code=code or codes.free(Size, name, fallback="size"))
    size.name = name
    size.declared_amount = declared_amount
    size.declared_unit = declared_unit
    size.brimful_ml = brimful_ml
    size.tare_grams = tare_grams
    size.pieces_per_case = pieces_per_case
    size.best_by_months = best_by_months
    checks.save_checked(size)
    products.save_honey(
        size=size,
        # A name of its own stays.
        name=product.name if product and product.name != name_before else name,
        gtin=gtin,
        low_stock_pieces=low_stock_pieces,
        product=product,
        code=codes.free(Product, size.code, fallback="product"),
    )
    if parts is not None:
        size.size_parts.exclude(part__in=[use.part for use in parts]).delete()
        for use in parts:
            size.size_parts.update_or_create(
                part=use.part, defaults={"quantity": use.quantity, "per_pieces": use.per_pieces}
            )
    return size


@transaction.atomic
def take_out_of_use(*, size: Size) -> Size:
    """Offer the size no longer for runs and sales; what is packed stays in the books."""
    size.is_active = False
    size.save(update_fields=["is_active"])
    return size


@transaction.atomic
def put_back_in_use(*, size: Size) -> Size:
    """Offer the size again."""
    size.is_active = True
    size.save(update_fields=["is_active"])
    return size


@transaction.atomic
def add_usual_sizes(chosen: Collection[str] | None = None) -> list[Size]:
    """Add the usual sizes that are missing, or those with a `chosen` code; return those added.

    A size of the same short name, name or declared weight counts as there.
    """
    there = list(Size.objects.all())
    taken = {size.code for size in there} | {size.name.lower() for size in there}
    weights = {size.declared_grams for size in there}
    return [
        save(
            code=size.code,
            name=size.written_name,
            declared_amount=Decimal(size.amount),
            declared_unit=size.unit,
            brimful_ml=Decimal(size.brimful_ml),
            tare_grams=size.tare_grams,
            pieces_per_case=size.pieces_per_case,
        )
        for size in standard_sizes()
        if (chosen is None or size.code in chosen)
        and size.code not in taken
        and size.written_name.lower() not in taken
        and units.grams_from(Decimal(size.amount), size.unit) not in weights
    ]


def _check_declared(problems: Problems, size: Size | None, amount: Decimal, unit: str) -> None:
    if unit not in Size.Unit.values:
        problems.add("declared_unit", _("Choose oz, lb, g or kg."))
        return
    grams = units.grams_from(amount, unit) if amount > 0 else Decimal(0)
    if not GRAMS_MIN <= grams <= GRAMS_MAX:
        problems.add(
            "declared_amount",
            _("Enter a net weight between 5 g (0.18 oz) and 50 kg (110 lb)."),
        )
    if size is None or (amount, unit) == (size.declared_amount, size.declared_unit):
        return
    if Lot.objects.filter(product__size=size).exists():
        problems.add(
            "declared_amount",
            _(
                "Pieces with %(label)s on the label were already filled, so this weight "
                "can't be changed. Add a new size for another weight, and take this one "
                "out of use."
            )
            % {"label": filling.declared(size)},
        )


def _check_room(problems: Problems, amount: Decimal, unit: str, brimful_ml: Decimal) -> None:
    """Refuse a capacity that does not take the weight of even the driest, densest honey.

    Whether the weight of the honey at hand fits is told when a run is planned.
    """
    if unit not in Size.Unit.values or brimful_ml < BRIMFUL_ML_MIN:
        return
    size = Size(declared_amount=amount, declared_unit=unit, brimful_ml=brimful_ml)
    if not GRAMS_MIN <= size.declared_grams <= GRAMS_MAX:
        return
    driest = filling.fit(size, moisture_percent=MOISTURE_MIN, celsius=density.REFERENCE_CELSIUS)
    if not driest.fits:
        problems.add(
            "brimful_ml",
            _(
                "%(weight)s of honey does not fit: even the driest honey takes up "
                "%(needed)s, and this size has room for only %(brimful)s to the brim. "
                "Check both figures and their units."
            )
            % {
                "weight": filling.declared(size),
                "needed": words.small_volume(driest.needed_ml),
                "brimful": words.small_volume(brimful_ml),
            },
        )


def _check_between(
    problems: Problems,
    parameter: str,
    value: int | Decimal,
    low: int | Decimal,
    high: int | Decimal,
    unit: str = "",
) -> None:
    if not low <= value <= high:
        told = (
            _("Enter a figure from %(low)s to %(high)s %(unit)s.")
            if unit
            else _("Enter a figure from %(low)s to %(high)s.")
        )
        figures = {"low": words.number(low), "high": words.number(high), "unit": unit}
        problems.add(parameter, told % figures)
