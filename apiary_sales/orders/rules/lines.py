"""The lines of an order: what may be on one, what it comes to, and how it is printed.

A problem of a line names the parameter `lines.<position>.<name>`, positions counted from 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import cast

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules import service_units, weighing
from apiary_sales.orders.rules.weighing import Weighed
from apiary_sales.pricing.models import Service
from inventory.bottling.models import Product
from inventory.shared import checks, conventions, words
from inventory.shared.errors import Problems
from inventory.shared.money import cents_half_up
from inventory.shared.weights import in_units, unit_grams, unit_word
from inventory.stock import rules
from inventory.stock.models import Lot, Place

LINES_MAX = 200
UNIT_PRICE_MAX = Decimal(1_000_000)
UNIT_PRICE_STEP = Decimal("0.0001")

# A drum scale shows half a pound: two decimals hide the gram that at-rest rounding adds. More are
# printed where two would not multiply out to the amount.
KILOGRAM_STEP, CENTI = Decimal("0.001"), Decimal("0.01")
POUND_STEPS = tuple(Decimal(1).scaleb(-places) for places in range(2, 6))

OF_PRODUCTS = (OrderLine.Kind.PACKED, OrderLine.Kind.WEIGHED)
DRUM_CHARGES = (OrderLine.Kind.DRUM_DEPOSIT, OrderLine.Kind.DRUM_SALE)


@dataclass(frozen=True)
class LineWanted:
    """What a buyer wants of one thing: pieces a piece price, grams a pound price, or charges.

    Honey names the vessel it is in as `drum`: a drum is sold whole unless the honey `is_drawn` from
    it into the buyer's own container; from other vessels it always is. A service is counted in
    hundredths of its unit. `weighed` says how a weight that is handed over at once was found.
    """

    kind: str
    quantity: int
    unit_price: Decimal
    product: Product | None = None
    drum: Place | None = None
    lot: Lot | None = None
    description: str = ""
    discount_cents: int = 0
    service: Service | None = None
    is_drawn: bool = False
    weighed: Weighed | None = None

    @property
    def gross_cents(self) -> int:
        """Amount before the discount: quantity times price, half a cent rounding up."""
        return gross_cents(self.kind, self.quantity, self.unit_price)

    @property
    def amount_cents(self) -> int:
        return self.gross_cents - self.discount_cents


def gross_cents(kind: str, quantity: int, unit_price: Decimal) -> int:
    """Return what a quantity of one kind of line comes to, half a cent rounding up."""
    if kind in OrderLine.BY_WEIGHT:
        return honey_cents(quantity, unit_price)
    if kind == OrderLine.Kind.SERVICE:
        return cents_half_up(service_units.exact(quantity) * Fraction(unit_price))
    return cents_half_up(quantity * Fraction(unit_price))


def amount_at(line: OrderLine, quantity: int) -> int:
    """Return what a line comes to at another quantity and its price; a discount stays."""
    gross = gross_cents(line.kind, quantity, line.unit_price)
    return gross - min(line.discount_cents, gross)


def product_of(line: LineWanted | OrderLine) -> Product:
    """Return the product that a line of jars or goods sells; every such line has one."""
    return cast(Product, line.product)


def vessel_of(line: LineWanted | OrderLine) -> Place:
    """Return the drum or tank that the honey of a line is in; every such line has one."""
    return cast(Place, line.drum)


def is_whole_drum(line: LineWanted | OrderLine) -> bool:
    """Tell whether a line sells a drum to the last gram: then it is reserved and leaves whole."""
    return (
        line.kind == OrderLine.Kind.HONEY
        and not line.is_drawn
        and vessel_of(line).kind == Place.Kind.DRUM
    )


def is_weighed_out(line: LineWanted | OrderLine) -> bool:
    """Tell whether the weight of a line is found when it is handed over."""
    return line.kind in OrderLine.BY_WEIGHT and not is_whole_drum(line)


def is_reserved(line: OrderLine) -> bool:
    """Tell whether the goods of a line are reserved when the order is taken.

    Honey from a tank is not reserved, because its lot changes with every filling. It is taken from
    the tank when the order is handed over.
    """
    return line.kind in OF_PRODUCTS or is_whole_drum(line)


def parameter_of(index: int, name: str) -> str:
    return f"lines.{index}.{name}"


def check(problems: Problems, lines: Sequence[LineWanted]) -> None:
    """Collect what is wrong with each line itself, whatever is in stock."""
    if not lines:
        problems.add("lines", _("Put at least one thing on the order."))
    elif len(lines) > LINES_MAX:
        problems.add("lines", _("An order can have up to 200 lines. Make two orders."))
    drums_seen: set[Place] = set()
    for index, line in enumerate(lines):
        if _check_goods(problems, index, line, drums_seen):
            _check_quantity(problems, index, line)
            _check_price(problems, index, line)


def _check_goods(problems: Problems, index: int, line: LineWanted, drums_seen: set[Place]) -> bool:
    """Return whether the line names what it sells well enough to look at its figures."""
    if line.kind not in OrderLine.Kind.values:
        problems.add(parameter_of(index, "kind"), _("Choose jars, honey, a drum or freight."))
        return False
    if line.product is not None and line.product.is_unlabelled:
        problems.add(
            parameter_of(index, "product"),
            _("%(product)s: these jars are not for sale. Label them first.")
            % {"product": line.product.name},
        )
        return False
    if line.kind in OF_PRODUCTS:
        return _check_product(problems, index, line)
    if line.kind == OrderLine.Kind.SERVICE and line.service is None:
        problems.add(parameter_of(index, "service"), _("Choose the service."))
        return False
    if line.kind == OrderLine.Kind.HONEY:
        if line.drum is None or not line.drum.is_vessel:
            problems.add(parameter_of(index, "drum"), _("Choose the drum or tank the honey is in."))
            return False
        if line.drum in drums_seen:
            problems.add(
                parameter_of(index, "drum"),
                _("%(drum)s is on the list twice. Remove one.") % {"drum": line.drum.name},
            )
        drums_seen.add(line.drum)
    return True


def _check_product(problems: Problems, index: int, line: LineWanted) -> bool:
    name, is_weighed = parameter_of(index, "product"), line.kind == OrderLine.Kind.WEIGHED
    if line.product is None:
        problems.add(name, _("Choose the product."))
        return False
    if line.product.item.is_weighed != is_weighed:
        sentence = _("%(product)s is sold by the piece, not by weight.")
        if not is_weighed:
            sentence = _("%(product)s is sold by weight, not by the piece.")
        problems.add(name, sentence % {"product": line.product.name})
        return False
    return True


def _check_quantity(problems: Problems, index: int, line: LineWanted) -> None:
    name = parameter_of(index, "quantity")
    if line.weighed is not None:
        weighing.check(problems, name, line.weighed)
    elif line.kind in OrderLine.BY_WEIGHT:
        checks.check_grams(problems, name, line.quantity)
    elif line.kind == OrderLine.Kind.SERVICE:
        service_units.check(problems, name, line.quantity)
    else:
        rules.check_pieces(problems, name, line.quantity)


def _check_price(problems: Problems, index: int, line: LineWanted) -> None:
    price, name = line.unit_price, parameter_of(index, "unit_price")
    if not Decimal(0) <= price <= UNIT_PRICE_MAX:
        problems.add(name, _("Enter a price from zero to a million."))
    elif price != price.quantize(UNIT_PRICE_STEP):
        problems.add(name, _("Enter a price with at most four decimals."))
    elif line.discount_cents < 0:
        problems.add(parameter_of(index, "discount_cents"), _("A discount can't be below zero."))
    elif line.quantity > 0 and line.discount_cents > line.gross_cents:
        problems.add(
            parameter_of(index, "discount_cents"),
            _(
                "The discount of %(discount)s is more than the amount of the line, "
                "%(gross)s. Enter a smaller discount."
            )
            % {
                "discount": words.money(line.discount_cents),
                "gross": words.money(line.gross_cents),
            },
        )


def honey_cents(grams: int, unit_price: Decimal) -> int:
    """Return what grams of honey come to at a price of the house's unit, half a cent rounding up.

    Grams become pounds by the exact pound of 453.59237 g, or kilograms.
    """
    return cents_half_up(Fraction(grams) / Fraction(unit_grams()) * Fraction(unit_price))


def pounds_to_print(grams: int, unit_price: Decimal, gross_cents: int) -> Decimal:
    """Return the weight to print, with the fewest decimals that still give the amount.

    Kilograms are exact to the gram, so they are printed as they are.
    """
    if conventions.current().is_metric:
        exact, short = in_units(grams).quantize(KILOGRAM_STEP), in_units(grams).quantize(CENTI)
        return short if short == exact else exact
    pounds = in_units(grams)
    steps = [pounds.quantize(step) for step in POUND_STEPS]
    for shown in steps:
        if cents_half_up(shown * unit_price) == gross_cents:
            return shown
    return steps[0]


def printed_pounds(grams: int, unit_price: Decimal) -> Decimal:
    """Return the weight that is printed of so much honey at a price of the house's unit."""
    return pounds_to_print(grams, unit_price, honey_cents(grams, unit_price))


def printed_quantity(line: OrderLine) -> str:
    """Write the quantity of a line as papers print it, with its unit: "24", "655.50 lb"."""
    if line.kind in OrderLine.BY_WEIGHT:
        pounds = printed_pounds(line.quantity, line.unit_price)
        return f"{number_format(pounds, force_grouping=True)}\N{NO-BREAK SPACE}{unit_word()}"
    if line.service is not None:
        return f"{service_units.in_words(line.quantity)} {line.service.get_unit_display()}"
    return number_format(line.quantity, force_grouping=True)


def _plain(figure: Decimal) -> Decimal:
    return Decimal(f"{figure.normalize():f}")


def describe(line: LineWanted) -> str:
    """Name a line as it is printed: "One pound", "Drum 7: Clover, White, 17.4 %"."""
    if line.kind in OF_PRODUCTS:
        return product_of(line).name
    if line.service is not None:
        return line.service.name
    if line.kind != OrderLine.Kind.HONEY:
        return str(OrderLine.Kind(line.kind).label).capitalize()
    if line.lot is None:
        return vessel_of(line).name
    traits = [
        line.lot.floral_source,
        line.lot.colour_class,
        f"{words.number(_plain(line.lot.honey_moisture))}\N{NO-BREAK SPACE}%",
    ]
    return f"{vessel_of(line).name}: {', '.join(trait for trait in traits if trait)}"
