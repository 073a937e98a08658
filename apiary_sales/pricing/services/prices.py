"""Set prices and tax rates: each a new row from a day on, so that the history stays."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from django.db import transaction
from django.db.models import TextChoices
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import BulkPrice, ContainerPrice, TaxRate
from apiary_sales.pricing.queries import prices as read
from inventory.bottling.models import ContainerSize
from inventory.physics import grading
from inventory.shared import words
from inventory.shared.checks import save_checked
from inventory.shared.errors import HouseError, NotAllowedNow, Problems

# A jar dearer than this is a slip of the finger.
PIECE_CENTS_MAX = 1_000_000
PER_POUND_MAX = Decimal(1000)
PERCENT_MAX = Decimal(100)


class Ending(TextChoices):
    """The cents a price may end in after a change by percent."""

    CENT = "cent", gettext_lazy("any cent")
    WHOLE = "00", gettext_lazy(".00")
    QUARTER = "25", gettext_lazy(".00, .25, .50 or .75")
    FORTY_NINE = "49", gettext_lazy(".49 or .99")
    NINETY_NINE = "99", gettext_lazy(".99")


# A price may end in `offset` and every `step` cents from there.
_ENDINGS = {
    Ending.CENT: (1, 0),
    Ending.WHOLE: (100, 0),
    Ending.QUARTER: (25, 0),
    Ending.FORTY_NINE: (50, 49),
    Ending.NINETY_NINE: (100, 99),
}


@dataclass(frozen=True)
class Change:
    """One price before and after a change by percent; without a new price, it ends that day."""

    tier: str
    container: ContainerSize
    min_pieces: int
    piece_cents: int
    new_piece_cents: int | None
    case_cents: int | None
    new_case_cents: int | None
    # Rounding alone would have made the case dearer than its pieces.
    is_case_capped: bool

    @property
    def tier_label(self) -> str:
        return str(Customer.Tier(self.tier).label)

    @property
    def is_different(self) -> bool:
        return (self.piece_cents, self.case_cents) != (self.new_piece_cents, self.new_case_cents)


@transaction.atomic
def set_piece(
    *,
    container: ContainerSize,
    tier: str,
    piece_cents: int | None,
    valid_from: date,
    min_pieces: int = 1,
    case_cents: int | None = None,
) -> ContainerPrice:
    """Set what a piece costs in a tier from a day on, at so many pieces or more; return the row.

    Without a price the offer ends that day, and with that of a single piece those for more. The
    same price set twice for the same day stays one row. Raises `BadValue` or `SeveralProblems`.
    """
    _lock([container])
    problems = Problems()
    if piece_cents is not None and piece_cents > PIECE_CENTS_MAX:
        problems.add(
            "piece_cents",
            _("%(price)s for one piece is too much. Check the decimal point.")
            % {"price": words.money(piece_cents)},
        )
    if case_cents is not None:
        _check_case(problems, container, piece_cents, case_cents)
    if min_pieces > 1 and piece_cents is not None:
        _check_break(problems, container, tier, valid_from, min_pieces, piece_cents)
    problems.raise_any()
    row = ContainerPrice(
        tier=tier,
        container=container,
        valid_from=valid_from,
        min_pieces=min_pieces,
        piece_cents=piece_cents,
        case_cents=case_cents,
    )
    same_day = ContainerPrice.objects.filter(
        tier=tier, container=container, valid_from=valid_from, min_pieces=min_pieces
    )
    if piece_cents is None and min_pieces == 1:
        _end_breaks(container, tier, valid_from)
    return _newest_or_saved(row, same_day, ("piece_cents", "case_cents"))


@transaction.atomic
def set_size(
    *,
    container: ContainerSize,
    wanted: Mapping[str, tuple[int | None, int | None]],
    valid_from: date,
) -> list[ContainerPrice]:
    """Set what a piece and a case cost in each tier from a day on; return the new rows.

    `wanted` names piece and case price by tier. A tier that stays as it is gets no row; one
    without a price any more ends that day. Raises `BadValue` or `SeveralProblems`, whose fields
    are named by tier: `stand_piece_cents`.
    """
    _lock([container])
    lists = read.price_lists(wanted, valid_from)
    rows, problems = [], Problems()
    for tier, (piece_cents, case_cents) in wanted.items():
        offer = lists[tier].of(container).offer()
        before = (offer.piece_cents, offer.case_cents) if offer else (None, None)
        if before == (piece_cents, case_cents):
            continue
        try:
            row = set_piece(
                container=container,
                tier=tier,
                piece_cents=piece_cents,
                case_cents=case_cents,
                valid_from=valid_from,
            )
        except HouseError as error:
            for problem in error.problems:
                problems.add(problem.field and f"{tier}_{problem.field}", problem.message)
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
            _("There is no colour class %(name)s. Choose one of the list.")
            % {"name": colour_class},
        )
    if not Decimal(10) <= moisture_percent_max <= Decimal(30):
        problems.add("moisture_percent_max", _("Moisture of honey lies between 10 and 30 percent."))
    if price_per_pound is not None and price_per_pound > PER_POUND_MAX:
        problems.add(
            "price_per_pound",
            _("%(price)s a pound is too much. Check the decimal point.")
            % {"price": words.money(int(price_per_pound * 100))},
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
    return _newest_or_saved(row, same_day, ("price_per_pound",))


@transaction.atomic
def set_tax_rate(*, name: str, goods: str, percent: Decimal, valid_from: date) -> TaxRate:
    """Set a tax rate on one kind of goods from a day on; 0 percent ends it; return the row.

    Raises `BadValue` or `SeveralProblems`.
    """
    name = " ".join(name.split())
    row = TaxRate(name=name, goods=goods, percent=percent, valid_from=valid_from)
    same_day = TaxRate.objects.filter(name__iexact=name, goods=goods, valid_from=valid_from)
    return _newest_or_saved(row, same_day, ("percent",))


def rounded(cents: Decimal, ending: str) -> int:
    """Return the price with a wanted ending that is nearest to `cents`; halfway goes up.

    A price of something never becomes nothing: the least is the lowest price with that ending
    that is more than nothing.

    >>> rounded(Decimal("872.4"), Ending.FORTY_NINE), rounded(Decimal("875"), Ending.WHOLE)
    (849, 900)
    """
    below, above = _around(cents, ending)
    nearest = above if above - cents <= cents - below else below
    if nearest <= 0 < cents:
        step, offset = _ENDINGS[Ending(ending)]
        return offset or step
    return max(nearest, 0)


def highest(cents: int, ending: str) -> int:
    """Return the highest price with a wanted ending up to `cents`; `cents` where there is none.

    >>> highest(5988, Ending.NINETY_NINE), highest(40, Ending.NINETY_NINE)
    (5899, 40)
    """
    below, _above = _around(Decimal(cents), ending)
    return below if below > 0 else cents


def _around(cents: Decimal, ending: str) -> tuple[int, int]:
    """Return the prices with a wanted ending next to `cents`, below and above."""
    step, offset = _ENDINGS[Ending(ending)]
    steps = (cents - offset) / step
    return (
        int(steps.to_integral_value(ROUND_FLOOR)) * step + offset,
        int(steps.to_integral_value(ROUND_CEILING)) * step + offset,
    )


def changes(
    *, tiers: Sequence[str], percent: Decimal, ending: str, valid_from: date
) -> list[Change]:
    """Work out every price of these tiers before and after a change by percent.

    Before is what would hold on `valid_from` if nothing were changed. A case never costs more than
    its pieces alone; a quantity price that is no lower than what fewer cost ends.
    Nothing is saved. Raises `BadValue`.
    """
    problems = Problems()
    if percent == 0:
        problems.add("percent", _("Enter by how much the prices go up or down."))
    elif not -PERCENT_MAX < percent <= PERCENT_MAX:
        problems.add(
            "percent",
            _("Prices can go up by 100 percent at most, and down by less than 100 percent."),
        )
    if not tiers:
        problems.add("tiers", _("Choose at least one price list."))
    problems.raise_any()
    factor = 1 + percent / 100
    return [
        change
        for tier, prices in read.price_lists(tiers, valid_from).items()
        for size in prices.sizes
        for change in changes_of(tier, size, factor, ending)
    ]


def changes_of(tier: str, size: read.SizePrices, factor: Decimal, ending: str) -> list[Change]:
    """Work out the prices of one size in one tier, each times a factor; see `changes`."""
    made, fewer_cents = [], None
    for row in size.breaks:
        piece_cents = rounded(row.piece_cents * factor, ending)
        case_cents = row.case_cents and rounded(row.case_cents * factor, ending)
        alone_cents = piece_cents * size.container.pieces_per_case
        is_dearer = case_cents is not None and case_cents > alone_cents
        if is_dearer:
            case_cents = highest(alone_cents, ending)
        if fewer_cents is not None and piece_cents >= fewer_cents:
            piece_cents = case_cents = None
        else:
            fewer_cents = piece_cents
        made.append(
            Change(
                tier=tier,
                container=size.container,
                min_pieces=row.min_pieces,
                piece_cents=row.piece_cents,
                new_piece_cents=piece_cents,
                case_cents=row.case_cents,
                new_case_cents=case_cents,
                is_case_capped=is_dearer and case_cents is not None,
            )
        )
    return made


def fingerprint(table: Iterable[Change]) -> str:
    """Return a short text that differs when any price of the table does."""
    figures = [
        (
            change.tier,
            change.container.pk,
            change.min_pieces,
            change.piece_cents,
            change.new_piece_cents,
            change.case_cents,
            change.new_case_cents,
        )
        for change in table
    ]
    return hashlib.sha256(repr(figures).encode()).hexdigest()[:32]


@transaction.atomic
def change_by_percent(
    *,
    tiers: Sequence[str],
    percent: Decimal,
    ending: str,
    valid_from: date,
    seen: str,
) -> list[ContainerPrice]:
    """Post the changes a person has seen as new rows from `valid_from`, and return the rows.

    `seen` is the `fingerprint` of the table that was shown. Raises `NotAllowedNow` when the prices
    are no longer those, which is also what happens when the same change is sent twice; `BadValue`
    as `changes` does.
    """
    _lock(ContainerSize.objects.filter(is_active=True))
    now = changes(tiers=tiers, percent=percent, ending=ending, valid_from=valid_from)
    if fingerprint(now) != seen:
        raise NotAllowedNow(
            _(
                "The prices have changed since this table was made. "
                "Look at the new table, then change them."
            )
        )
    rows = [
        ContainerPrice(
            tier=change.tier,
            container=change.container,
            valid_from=valid_from,
            min_pieces=change.min_pieces,
            piece_cents=change.new_piece_cents,
            case_cents=change.new_case_cents,
        )
        for change in now
        if change.is_different
    ]
    # One by one: what is created in bulk leaves no trace of who did it.
    for row in rows:
        row.save()
    return rows


def _check_case(
    problems: Problems, container: ContainerSize, piece_cents: int | None, case_cents: int
) -> None:
    if piece_cents is None:
        problems.add("case_cents", _("Enter the price of one piece too."))
    elif case_cents > piece_cents * container.pieces_per_case:
        problems.add(
            "case_cents",
            _("A case at %(case)s costs more than its %(count)s pieces alone, which are %(alone)s.")
            % {
                "case": words.money(case_cents),
                "count": container.pieces_per_case,
                "alone": words.money(piece_cents * container.pieces_per_case),
            },
        )


def _check_break(
    problems: Problems,
    container: ContainerSize,
    tier: str,
    on: date,
    min_pieces: int,
    piece_cents: int,
) -> None:
    """Refuse a price for many that is not below what one of the same costs for fewer."""
    fewer = read.price_for(container=container, tier=tier, on=on, pieces=min_pieces - 1)
    if fewer is None:
        problems.add("min_pieces", _("Set the price of a single piece first."))
    elif piece_cents >= fewer.piece_cents:
        problems.add(
            "piece_cents",
            _("Whoever takes fewer pays %(fewer)s a piece. Enter less than that.")
            % {"fewer": words.money(fewer.piece_cents)},
        )


def _end_breaks(container: ContainerSize, tier: str, on: date) -> None:
    standing = read.price_list(tier, on).of(container).quantity_breaks
    for row in standing:
        ContainerPrice.objects.create(
            tier=tier, container=container, valid_from=on, min_pieces=row.min_pieces
        )


def _lock(containers) -> None:
    """Hold these sizes until the transaction ends, so that two price changes take turns."""
    keys = sorted(container.pk for container in containers)
    list(ContainerSize.objects.select_for_update().filter(pk__in=keys).order_by("pk"))


def _newest_or_saved(row, same_day, figures: tuple[str, ...]):
    """Save the row, unless the newest of the same day already says the same; return that one."""
    newest = same_day.order_by("-id").first()
    if newest and all(getattr(newest, name) == getattr(row, name) for name in figures):
        return newest
    save_checked(row)
    return row
