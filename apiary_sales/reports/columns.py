"""The columns of a report: what each is called, its unit, and how a figure of it is shown.

Here is the edge where whole cents and grams become prices, pounds and percent.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from typing import Any

from django.utils.formats import date_format, number_format
from django.utils.functional import Promise
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.reports.frames.make import plain
from apiary_sales.reports.frames.months import month_label
from inventory.shared import conventions, money, weights
from inventory.shared.templatetags import quantities

Row = Mapping[str, Any]
Address = Mapping[str, str]


class Unit(StrEnum):
    """What a figure counts; the value is its name in the API."""

    TEXT = "text"
    DAY = "day"
    MONTH = "month"
    YEAR = "year"
    COUNT = "count"
    PIECES = "pieces"
    DAYS = "days"
    GRAMS = "grams"
    GRAMS_EACH = "grams_each"
    CENTS = "cents"
    PERCENT = "percent"
    PER_POUND = "price_per_pound"
    PER_PIECE = "price_per_piece"


# Decimal places of the figures that are worked out, and what to multiply the fraction with.
DERIVED = {
    Unit.PERCENT: (Decimal("0.1"), Decimal(100)),
    # Also times the grams of the house's unit, which is known only when the report is made.
    Unit.PER_POUND: (Decimal("0.0001"), Decimal(1) / 100),
    Unit.PER_PIECE: (Decimal("0.0001"), Decimal(1) / 100),
    Unit.GRAMS_EACH: (Decimal("0.1"), Decimal(1)),
}
NOT_ENTERED = gettext_lazy("cost not entered")


@dataclass(frozen=True)
class Column:
    """One column: a column of the frame, or `part` over `whole`, two columns of the frame.

    `adds_up` columns have a total that is the sum of their rows; the total of a fraction is that
    of the totals. A total that `needs_every_row` is unknown where one of them is: beside another
    column it would be that of fewer rows. `says_unknown` replaces the dash of an unknown figure;
    `names` are those of a closed set of words. `url` is the address behind a figure,
    from its row and the filters.
    """

    name: str
    label: str | Promise
    unit: Unit = Unit.TEXT
    adds_up: bool = False
    needs_every_row: bool = False
    part: str = ""
    whole: str = ""
    # How many of `whole` are one of what the unit counts.
    scale: int = 1
    url: Callable[[Row, Address], str | None] | None = None
    says_unknown: str | Promise = ""
    names: Mapping[str, str | Promise] = field(default_factory=dict)
    is_left_out_when_nothing: bool = False
    is_kept_together: bool = False

    @property
    def is_number(self) -> bool:
        return self.unit not in (Unit.TEXT, Unit.DAY, Unit.MONTH, Unit.YEAR)

    @property
    def css(self) -> str:
        """The classes of a cell: figures stand right, codes and days stay on one line."""
        if self.is_number:
            return "number"
        return "nowrap" if self.is_kept_together or self.unit == Unit.DAY else ""

    @property
    def is_derived(self) -> bool:
        return bool(self.part)

    def value(self, row: Row) -> Any:
        """Return the figure of a row: int, Decimal, date or text; None when it is not known."""
        if not self.is_derived:
            return plain(row[self.name])
        part, whole = plain(row[self.part]), plain(row[self.whole])
        if part is None or not whole:
            return None
        step, factor = DERIVED[self.unit]
        if self.unit == Unit.PER_POUND:
            factor *= weights.unit_grams()
        return (Decimal(part) * factor * self.scale / Decimal(whole)).quantize(
            step, ROUND_HALF_EVEN
        )

    def shown(self, value: Any) -> SafeString | str:
        """Return a figure as a page shows it, with its unit."""
        if value is None:
            return str(self.says_unknown) or quantities.NOTHING
        return SHOWN[self.unit](self.named(value))

    def text(self, value: Any) -> str:
        """Return a figure in plain text, for the words beside a picture."""
        if value is None:
            return str(self.says_unknown) or _("not known")
        return WRITTEN[self.unit](self.named(value))

    def named(self, value: Any) -> Any:
        """Return the name of a word of a closed set, and anything else as it is."""
        return str(self.names[value]) if value in self.names else value

    def sort_key(self, value: Any) -> Any:
        """Return what a figure is sorted by; words are sorted as they are read."""
        value = self.named(value)
        return value.casefold() if isinstance(value, str) else value

    def drawn(self, value: Any) -> Decimal | int | None:
        """Return a figure in the unit of its axis."""
        if value is not None and self.unit == Unit.CENTS:
            return money.amount(value)
        return in_house_unit(value) if value is not None and self.unit == Unit.GRAMS else value

    def at_axis(self, value: Decimal) -> str:
        """Return a round figure as it stands at an axis: "$2,500", "40 lb", "97.5 %"."""
        is_money = self.unit in (Unit.CENTS, Unit.PER_POUND, Unit.PER_PIECE)
        # Money has no cents or two: "$2.50".
        text = _number(value, 0 if value == int(value) else 2 if is_money else 1)
        if is_money:
            return money.with_currency(text.replace("-", quantities.MINUS))
        unit = {Unit.GRAMS: weights.unit_word(), Unit.PERCENT: "%"}.get(self.unit, "")
        return f"{text} {unit}".strip()

    def exports(self) -> list[tuple[str, Callable[[Any], Any], str]]:
        """Return what a downloaded table shows: heading, the figure of a value, and its format.

        Weights come in the house's unit to read and as grams to reckon with.
        """
        return [
            (f"{self.label}{f', {unit}' if unit else ''}", figure, number_format_code)
            for unit, figure, number_format_code in EXPORTED[self.unit]()
        ]


def in_percent(part: int, whole: int) -> Decimal | None:
    """Return one whole number as percent of another, to a tenth; None of nothing."""
    if not whole:
        return None
    step, factor = DERIVED[Unit.PERCENT]
    return (Decimal(part) * factor / Decimal(whole)).quantize(step, ROUND_HALF_EVEN)


def in_house_unit(grams: int) -> Decimal:
    """Return the house's unit of weight to two decimals, half a hundredth to the even one."""
    return weights.in_units(grams).quantize(Decimal("0.01"), ROUND_HALF_EVEN)


def _number(value: Decimal | int, places: int) -> str:
    return number_format(round(Decimal(value), places), places, force_grouping=True)


def _weight_text(grams: int) -> str:
    """Return a weight with one decimal whatever it is of, so that a column lines up."""
    return _number(weights.in_units(grams), 1)


def _quantity(text: str, unit: str) -> SafeString:
    text = text.replace("-", quantities.MINUS, 1)
    return format_html('<span class="quantity"><b>{}</b> <small>{}</small></span>', text, unit)


def _money_text(amount: Decimal) -> str:
    return money.with_currency(_number(amount, 2).replace("-", quantities.MINUS))


def _same(value: Any) -> Any:
    return value


SHOWN: dict[Unit, Callable[[Any], SafeString | str]] = {
    Unit.TEXT: str,
    Unit.YEAR: str,
    Unit.DAY: lambda value: date_format(value),
    Unit.MONTH: lambda value: date_format(date.fromisoformat(f"{value}-01"), "YEAR_MONTH_FORMAT"),
    Unit.COUNT: lambda value: _number(value, 0),
    Unit.PIECES: lambda value: _quantity(_number(value, 0), _("pc")),
    Unit.DAYS: lambda value: _quantity(_number(value, 0), _("days")),
    Unit.GRAMS: lambda value: _quantity(_weight_text(value), weights.unit_word()),
    Unit.GRAMS_EACH: lambda value: _quantity(_number(value, 1), _("g")),
    Unit.CENTS: quantities.money,
    Unit.PERCENT: lambda value: _quantity(_number(value, 1), "%"),
    Unit.PER_POUND: lambda value: quantities.unit_price(round(value, 2)),
    Unit.PER_PIECE: lambda value: quantities.unit_price(round(value, 2)),
}
WRITTEN: dict[Unit, Callable[[Any], str]] = {
    **SHOWN,
    Unit.MONTH: lambda value: month_label(date.fromisoformat(f"{value}-01")),
    Unit.PIECES: lambda value: _("%(number)s pc") % {"number": _number(value, 0)},
    Unit.DAYS: lambda value: _("%(number)s days") % {"number": _number(value, 0)},
    Unit.GRAMS: lambda value: f"{_weight_text(value)} {weights.unit_word()}",
    Unit.GRAMS_EACH: lambda value: _("%(number)s g") % {"number": _number(value, 1)},
    Unit.CENTS: lambda value: _money_text(Decimal(value) / 100),
    Unit.PERCENT: lambda value: f"{_number(value, 1)} %",
    Unit.PER_POUND: lambda value: _money_text(value),
    Unit.PER_PIECE: lambda value: _money_text(value),
}
EXPORTED: dict[Unit, Callable[[], list[tuple[str, Callable[[Any], Any], str]]]] = {
    Unit.TEXT: lambda: [("", _same, "@")],
    Unit.DAY: lambda: [("", _same, "yyyy-mm-dd")],
    Unit.MONTH: lambda: [("", _same, "@")],
    Unit.YEAR: lambda: [("", _same, "0")],
    Unit.COUNT: lambda: [("", _same, "#,##0")],
    Unit.PIECES: lambda: [(_("pc"), _same, "#,##0")],
    Unit.DAYS: lambda: [(_("days"), _same, "#,##0")],
    Unit.GRAMS: lambda: [
        (weights.unit_word(), in_house_unit, "#,##0.00"),
        (_("g"), _same, "#,##0"),
    ],
    Unit.GRAMS_EACH: lambda: [(_("g"), _same, "0.0")],
    Unit.CENTS: lambda: [(conventions.current().currency, money.amount, "#,##0.00")],
    Unit.PERCENT: lambda: [("%", _same, "0.0")],
    Unit.PER_POUND: lambda: [(conventions.current().currency, _same, "#,##0.0000")],
    Unit.PER_PIECE: lambda: [(conventions.current().currency, _same, "#,##0.0000")],
}
