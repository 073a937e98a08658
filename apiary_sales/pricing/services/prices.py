"""Set prices and tax rates: each a new row from a day on, so that the history stays."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import NamedTuple, TypeVar

from django.db import models, transaction
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import BulkPrice, PiecePrice, TaxRate, priced_products
from apiary_sales.pricing.rules import price_changes
from apiary_sales.pricing.rules import prices as rules
from apiary_sales.pricing.rules.prices import PriceList, PricesOfProduct
from inventory.bottling.models import Product
from inventory.physics import grading
from inventory.shared import words
from inventory.shared.checks import save_checked
from inventory.shared.errors import HouseError, NotAllowedNow, Problems
from inventory.shared.weights import unit_name

# A jar dearer than this is a slip of the finger.
PIECE_CENTS_MAX = 1_000_000
PER_POUND_MAX = Decimal(1000)

PriceRow = TypeVar("PriceRow", bound=models.Model)


class PricesWanted(NamedTuple):
    """What a piece and a case of a product are to cost in one tier; None for no price any more."""

    piece_cents: int | None
    case_cents: int | None


@transaction.atomic
def set_piece(
    *,
    product: Product,
    tier: str,
    piece_cents: int | None,
    valid_from: date,
    min_pieces: int = 1,
    case_cents: int | None = None,
) -> PiecePrice:
    """Set what a piece costs in a tier from a day on, at so many pieces or more; return the row.

    Without a price the offer ends that day, and with that of a single piece those for more. The
    same price set twice for the same day stays one row. Raises `BadValue` or `SeveralProblems`.
    """
    _lock([product])
    problems = Problems()
    if piece_cents is not None and piece_cents > PIECE_CENTS_MAX:
        problems.add(
            "piece_cents",
            _("%(price)s for one piece is too much. Check the decimal point.")
            % {"price": words.money(piece_cents)},
        )
    if case_cents is not None:
        _check_case(problems, product, piece_cents, case_cents)
    if min_pieces > 1 and piece_cents is not None:
        _check_break(problems, product, tier, valid_from, min_pieces, piece_cents)
    problems.raise_any()
    row = PiecePrice(
        tier=tier,
        product=product,
        valid_from=valid_from,
        min_pieces=min_pieces,
        piece_cents=piece_cents,
        case_cents=case_cents,
    )
    same_day = PiecePrice.objects.filter(
        tier=tier, product=product, valid_from=valid_from, min_pieces=min_pieces
    )
    if piece_cents is None and min_pieces == 1:
        _end_breaks(product, tier, valid_from)
    return newest_or_saved(row, same_day, ("piece_cents", "case_cents"))


@transaction.atomic
def set_product(
    *,
    product: Product,
    wanted: Mapping[str, PricesWanted],
    valid_from: date,
) -> list[PiecePrice]:
    """Set what a piece and a case cost in each tier from a day on; return the new rows.

    `wanted` is by tier. A tier that stays as it is gets no row; one without a price any more ends
    that day. Raises `BadValue` or `SeveralProblems`, at `wanted.<tier>.piece_cents`.
    """
    _lock([product])
    lists = _price_lists(wanted, valid_from)
    rows, problems = [], Problems()
    for tier, (piece_cents, case_cents) in wanted.items():
        offer = lists[tier].of(product).offer()
        before = (offer.piece_cents, offer.case_cents) if offer else (None, None)
        if before == (piece_cents, case_cents):
            continue
        try:
            row = set_piece(
                product=product,
                tier=tier,
                piece_cents=piece_cents,
                case_cents=case_cents,
                valid_from=valid_from,
            )
        except HouseError as error:
            for problem in error.problems:
                # A problem of both prices together names none of the two.
                name = f".{problem.parameter}" if problem.parameter else ""
                problem.parameter = f"wanted.{tier}{name}"
                problems.add_error(problem)
        else:
            rows.append(row)
    problems.raise_any()
    return rows


@transaction.atomic
def set_bulk(
    *,
    price_per_pound: Decimal | None,
    valid_from: date,
    colour_class: str = "",
    moisture_percent_max: Decimal = Decimal(30),
    floral_source: str = "",
) -> BulkPrice:
    """Set the price a pound in drums for a colour, moisture step and source; return the row.

    An empty colour or source stands for any. Without a price the offer ends that day.
    Raises `BadValue` or `SeveralProblems`.
    """
    problems = Problems()
    if colour_class and colour_class not in grading.COLOUR_CLASSES:
        problems.add(
            "colour_class",
            _("There is no colour class %(name)s. Choose one from the list.")
            % {"name": colour_class},
        )
    if not Decimal(10) <= moisture_percent_max <= Decimal(30):
        problems.add("moisture_percent_max", _("Enter a moisture from 10 to 30 percent."))
    if price_per_pound is not None and price_per_pound > PER_POUND_MAX:
        problems.add(
            "price_per_pound",
            _("%(price)s a %(unit)s is too much. Check the decimal point.")
            % {"price": words.money(int(price_per_pound * 100)), "unit": unit_name()},
        )
    problems.raise_any()
    floral_source = " ".join(floral_source.split())
    row = BulkPrice(
        colour_class=colour_class,
        moisture_percent_max=moisture_percent_max,
        floral_source=floral_source,
        price_per_pound=price_per_pound,
        valid_from=valid_from,
    )
    same_day = BulkPrice.objects.filter(
        colour_class=colour_class,
        moisture_percent_max=moisture_percent_max,
        floral_source__iexact=floral_source,
        valid_from=valid_from,
    )
    return newest_or_saved(row, same_day, ("price_per_pound",))


@transaction.atomic
def set_tax_rate(
    *, name: str, goods: str, percent: Decimal, valid_from: date, jurisdiction: str = ""
) -> TaxRate:
    """Set a tax rate on one kind of goods from a day on; 0 percent ends it; return the row.

    `jurisdiction` is whose tax it is: a state, a county, a country.

    Raises `BadValue` or `SeveralProblems`.
    """
    name = " ".join(name.split())
    row = TaxRate(
        name=name,
        jurisdiction=" ".join(jurisdiction.split()),
        goods=goods,
        percent=percent,
        valid_from=valid_from,
    )
    same_day = TaxRate.objects.filter(name__iexact=name, goods=goods, valid_from=valid_from)
    return newest_or_saved(row, same_day, ("percent", "jurisdiction"))


@transaction.atomic
def change_by_percent(
    *,
    tiers: Sequence[str],
    percent: Decimal,
    ending: str,
    valid_from: date,
    seen: str,
) -> list[PiecePrice]:
    """Post the changes a person has seen as new rows from `valid_from`, and return the rows.

    `seen` is the `price_changes.fingerprint` of the table that was shown. Raises `NotAllowedNow`
    when the prices are no longer those, which is also what happens when the same change is sent
    twice; `BadValue` at `percent` or `tiers`.
    """
    _lock(Product.objects.for_sale())
    now = price_changes.changes(_price_lists(tiers, valid_from), percent=percent, ending=ending)
    if price_changes.fingerprint(now) != seen:
        raise NotAllowedNow(
            _(
                "The prices have changed since this table was made. "
                "Look at the new table, then change them."
            )
        )
    rows = [
        PiecePrice(
            tier=change.tier,
            product=change.product,
            valid_from=valid_from,
            min_pieces=change.min_pieces,
            piece_cents=change.new_piece_cents,
            case_cents=change.new_case_cents,
        )
        for change in now
        if change.is_different
    ]
    # Saved one by one, because `bulk_create` writes no audit log entries.
    for row in rows:
        row.save()
    return rows


def _check_case(
    problems: Problems, product: Product, piece_cents: int | None, case_cents: int
) -> None:
    if piece_cents is None:
        problems.add("case_cents", _("Enter the price of one piece too."))
    elif case_cents > piece_cents * product.pieces_per_case:
        problems.add(
            "case_cents",
            _(
                "A case at %(case)s costs more than its %(count)s pieces sold singly, "
                "%(alone)s. Enter a lower price for the case."
            )
            % {
                "case": words.money(case_cents),
                "count": product.pieces_per_case,
                "alone": words.money(piece_cents * product.pieces_per_case),
            },
        )


def _check_break(
    problems: Problems,
    product: Product,
    tier: str,
    on: date,
    min_pieces: int,
    piece_cents: int,
) -> None:
    """Refuse a quantity price that is not below the piece price for fewer pieces."""
    rows = PiecePrice.objects.filter(product=product, tier=tier)
    fewer = PricesOfProduct(product, tuple(rows.in_force(on))).offer(min_pieces - 1)
    if fewer is None:
        problems.add("min_pieces", _("Set the price of a single piece first."))
    elif piece_cents >= fewer.piece_cents:
        problems.add(
            "piece_cents",
            _("Customers who take fewer pay %(fewer)s per piece. Enter a price below that.")
            % {"fewer": words.money(fewer.piece_cents)},
        )


def _end_breaks(product: Product, tier: str, on: date) -> None:
    for row in _price_lists([tier], on)[tier].of(product).quantity_breaks:
        PiecePrice.objects.create(
            tier=tier, product=product, valid_from=on, min_pieces=row.min_pieces
        )


def _price_lists(tiers: Iterable[str], on: date) -> dict[str, PriceList]:
    return rules.price_lists(
        tiers,
        on,
        products=list(priced_products()),
        in_force=PiecePrice.objects.in_force(on),
    )


def _lock(products: Iterable[Product]) -> None:
    """Lock these products until the transaction ends, so that two price changes take turns."""
    keys = sorted(product.pk for product in products)
    list(Product.objects.select_for_update().filter(pk__in=keys).order_by("pk"))


def newest_or_saved(
    row: PriceRow, same_day: models.QuerySet[PriceRow], figures: tuple[str, ...]
) -> PriceRow:
    """Save the row, unless the newest of the same day already says the same; return that one."""
    newest = same_day.order_by("-id").first()
    if newest and all(getattr(newest, name) == getattr(row, name) for name in figures):
        return newest
    save_checked(row)
    return row
