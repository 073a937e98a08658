"""The reports there are: what each counts, in words, and how it is shown."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from apiary_sales.orders.models import Order
from apiary_sales.reports import accounting, answers, catalogue_money, forms, year_on_year
from apiary_sales.reports.columns import NOT_ENTERED, Address, Column, Row, Unit
from apiary_sales.reports.frames import bottling, sales, stock
from apiary_sales.reports.frames.make import plain
from apiary_sales.reports.report import FilteredReport, Picture, Report
from inventory.bottling.models import BottlingRun
from inventory.shared.days import month_end
from inventory.shared.weights import by_unit
from inventory.stock.models import Item, Place

if TYPE_CHECKING:
    import pandas as pd

SALES, BOTTLING, STOCK = (
    gettext_lazy("Sales"),
    gettext_lazy("Bottling"),
    gettext_lazy("Stock"),
)
NO_SALES = gettext_lazy("There were no sales on these days with these filters.")
NO_RUNS = gettext_lazy("No bottling run was recorded on these days with these filters.")
NO_STOCK = gettext_lazy("There was no stock with these filters.")

WHAT_SALES_ARE = gettext_lazy(
    "Goods are counted on the day they were handed over. Goods that are ordered but not "
    "yet handed over, and goods that were taken back or credited, are not counted."
)
WHAT_AMOUNTS_ARE = gettext_lazy(
    "Amounts are after discounts and before sales tax. Other goods (wax, candles), and drums, "
    "deposits and freight, are left out unless they are chosen as goods. They have no weight."
)
WHAT_IS_BROUGHT_IN = gettext_lazy(
    "Past sales that were brought in from a list count on their day, before the first sale in "
    "your books in that channel, so that no day is counted twice. They have no order, no lot and "
    "no cost."
)
WHAT_WEIGHTS_ARE = gettext_lazy(
    "The weight of jars is the weight on their label; the weight of honey in bulk is the "
    "weight on the scale. Weights are rounded here; the download has the exact grams."
)
WHAT_COSTS_ARE = gettext_lazy(
    "The cost of each line is recorded when the goods are handed over. For jars it is the "
    "honey, parts and labour of their lot, or the average of their product if that is chosen "
    "in the settings. For bulk it is the honey of the lot, for other goods what was paid for them "
    "or what they were made of. Margin is sales less that cost; "
    "general costs and costs of selling are not included."
)
WHAT_UNKNOWN_COST_MEANS = gettext_lazy(
    "If the cost of a lot was not entered, its sales are shown under “Sales without a "
    "cost” and are left out of every margin and percentage."
)
WHAT_CHARGES_COST = gettext_lazy(
    "The cost of drums and freight is not recorded. If drums, deposits and freight are "
    "chosen, they are also shown under “Sales without a cost”."
)
WHAT_NO_MINUTES_MEAN = gettext_lazy(
    "If the minutes of a bottling run were not entered, the cost of its jars does not "
    "include labour. The page of their lot says so too."
)
WHAT_SEASONS_ARE = gettext_lazy(
    "A season is the year in which the honey was extracted, not the year of sale. A blend counts "
    "in each season that is in it, by the grams of each: pieces, grams and cents stay whole, what "
    "rounding leaves over goes to the largest remainder, and all seasons come to what was sold. "
    "Bought honey counts in the season that was entered with its delivery, beside your own, so a "
    "season's figures are not those of your own harvest alone."
)
WHAT_SIZES_ARE = gettext_lazy("All varieties and labels of a size are counted together.")
SALES_DEFINITION = (WHAT_SALES_ARE, WHAT_AMOUNTS_ARE, WHAT_WEIGHTS_ARE, WHAT_IS_BROUGHT_IN)
MARGIN_DEFINITION = (
    *SALES_DEFINITION,
    WHAT_COSTS_ARE,
    WHAT_UNKNOWN_COST_MEANS,
    WHAT_NO_MINUTES_MEAN,
)

PIECES = Column("pieces", gettext_lazy("Jars"), Unit.PIECES, adds_up=True)
GOODS_PIECES = Column(
    "goods_pieces",
    gettext_lazy("Other goods"),
    Unit.PIECES,
    adds_up=True,
    is_left_out_when_nothing=True,
)
GRAMS = Column("grams", gettext_lazy("Honey"), Unit.GRAMS, adds_up=True)
AMOUNT = Column("amount_cents", gettext_lazy("Sales"), Unit.CENTS, adds_up=True)
BROUGHT_IN = Column(
    "brought_in_cents",
    gettext_lazy("Of these, brought in"),
    Unit.CENTS,
    adds_up=True,
    is_left_out_when_nothing=True,
)
NO_COST = Column(
    "no_cost_cents",
    gettext_lazy("Sales without a cost"),
    Unit.CENTS,
    adds_up=True,
    is_left_out_when_nothing=True,
)
COST = Column(
    "cost_cents", gettext_lazy("Cost"), Unit.CENTS, adds_up=True, says_unknown=NOT_ENTERED
)
MARGIN = Column(
    "margin_cents", gettext_lazy("Margin"), Unit.CENTS, adds_up=True, says_unknown=NOT_ENTERED
)
MARGIN_PERCENT = Column(
    "margin_percent",
    gettext_lazy("Margin, percent of sales"),
    Unit.PERCENT,
    part="margin_cents",
    whole="known_cents",
)
PRICE_A_POUND = Column(
    "sales_per_pound",
    by_unit(gettext_lazy("Sales per {unit}")),
    Unit.PER_POUND,
    part="honey_cents",
    whole="nanograms",
    scale=sales.NANO,
)
MARGIN_A_POUND = Column(
    "margin_per_pound",
    by_unit(gettext_lazy("Margin per {unit}")),
    Unit.PER_POUND,
    part="margin_cents",
    whole="known_nanograms",
    scale=sales.NANO,
)
MARGIN_A_PIECE = Column(
    "margin_per_piece",
    gettext_lazy("Margin per piece"),
    Unit.PER_PIECE,
    part="margin_cents",
    whole="known_goods_pieces",
)
LINES = Column("lines", gettext_lazy("Lines"), Unit.COUNT, adds_up=True)
GOODS_GRAMS = Column(
    "goods_grams",
    gettext_lazy("Other goods by weight"),
    Unit.GRAMS,
    adds_up=True,
    is_left_out_when_nothing=True,
)
SOLD = [LINES, PIECES, GRAMS, GOODS_PIECES, GOODS_GRAMS, AMOUNT, BROUGHT_IN]
OF_GOODS = (GOODS_PIECES, GOODS_GRAMS, MARGIN_A_PIECE)
# Of other goods alone, and of all that was sold; elsewhere it is only honey, or charges.
IDLE_COLUMNS = {
    sales.GOODS: (PIECES, GRAMS, PRICE_A_POUND, MARGIN_A_POUND),
    sales.ALL: (MARGIN_A_PIECE,),
}
EARNED = [NO_COST, COST, MARGIN, MARGIN_PERCENT]
CHANNELS = dict(Order.Channel.choices)


def lines_url(address: Address, **more: str | None) -> str:
    """Return the address of the sales behind a row: the filters asked for, and the row's own."""
    known = forms.SalesForm.base_fields
    asked: dict[str, str | None] = {**address, **more}
    wanted = {name: value for name, value in asked.items() if name in known}
    return _url("reports:report", "sale-lines") + _query(wanted)


def runs_url(address: Address, **more: str | None) -> str:
    """Return the address of the runs behind a row."""
    return _url("reports:report", "yield-by-run") + _query({**address, **more})


def _url(name: str, key: str) -> str:
    return reverse(name, args=[key])


def _query(wanted: Mapping[str, str | None]) -> str:
    said = {
        name: value
        for name, value in wanted.items()
        if value or (name in forms.ALL_DAYS and value is not None)
    }
    return f"?{urlencode(said)}" if said else ""


def _lot_url(row: Row, _address: Address) -> str | None:
    return _url("inventory:lot_detail", row["lot"]) if row["lot"] else None


def _fixed(*columns: Column) -> Any:
    """Return these columns, without those that say nothing of the goods that are asked for."""

    def wanted(_frame: pd.DataFrame, asked: Any) -> list[Column]:
        idle = IDLE_COLUMNS.get(getattr(asked, "goods", sales.HONEY), OF_GOODS)
        return [column for column in columns if column not in idle]

    return wanted


def _product_lines(row: Row, address: Address) -> str:
    if row["goods"] == sales.PACKED:
        return lines_url(address, product=row["product_key"])
    if row["goods"] == sales.GOODS:
        return lines_url(address, goods=sales.GOODS, product=row["product_key"])
    return lines_url(address, goods=row["goods"])


def _size_lines(row: Row, address: Address) -> str:
    if row["goods"] == sales.PACKED:
        return lines_url(address, size=row["size_key"])
    return lines_url(address, goods=row["goods"])


def _variety_lines(row: Row, address: Address) -> str:
    if row["goods"] == sales.PACKED:
        return lines_url(address, variety=row["variety_key"])
    return lines_url(address, goods=row["goods"])


def _season_lines(row: Row, address: Address) -> str:
    season = plain(row["season"])
    return lines_url(address, season=sales.NONE if season is None else str(season))


def _way_lines(row: Row, address: Address) -> str:
    if row["goods"] == sales.BULK:
        return lines_url(address, goods=sales.BULK)
    return lines_url(address, goods=sales.PACKED, channel=row["channel"])


def _month_lines(address: Address, year: int, month: int, **more: str) -> str:
    """Return the address of the sales of a month, within the days asked for."""
    first = date(year, month, 1)
    last = month_end(first)
    since = max(first, date.fromisoformat(address.get("since") or first.isoformat()))
    until = min(last, date.fromisoformat(address.get("until", last.isoformat())))
    return lines_url(address, since=since.isoformat(), until=until.isoformat(), **more)


def _one_month_lines(row: Row, address: Address) -> str:
    year, month = map(int, row["month"].split("-"))
    return _month_lines(address, year, month)


def _season_columns(frame: pd.DataFrame, asked: sales.SalesFilters) -> list[Column]:
    """Return the month and a column for each season in the frame."""

    def behind(season: int) -> Any:
        def url(row: Row, address: Address) -> str:
            years, month = divmod(int(row["age"]), 12)
            return _month_lines(address, season + years, month + 1, season=str(season))

        return url

    unit = Unit.GRAMS if asked.measure == "grams" else Unit.CENTS
    years = [int(name.split("_")[1]) for name in frame.columns if name.startswith("season_")]
    return [
        Column("month", gettext_lazy("Month of the season")),
        *(
            Column(f"season_{year}", str(year), unit, adds_up=True, url=behind(year))
            for year in years
        ),
        *(
            Column(f"by_then_{year}", _("%(year)s by then") % {"year": year}, unit)
            for year in years
        ),
    ]


def _is_unfinished_of_season(row: Row, name: str, asked: sales.SalesFilters) -> bool:
    """Tell whether a month of a season is the one of today."""
    if not name.startswith(("season_", "by_then_")):
        return False
    today = timezone.localdate()
    years, month = divmod(int(row["age"]), 12)
    return (int(name.rpartition("_")[2]) + years, month + 1) == (today.year, today.month)


def _below_nothing(made: FilteredReport) -> list[str]:
    names = stock.below_nothing(made.frame)
    if not names:
        return []
    return [
        _(
            "At the end of this day the books show less than zero of %(names)s: some of it "
            "went out before the day entered for its arrival. The figure below zero is "
            "shown and lowers the total. Check the days that were entered."
        )
        % {"names": ", ".join(names)}
    ]


def _thing_url(row: Row, _address: Address) -> str:
    is_part = row["kind"] == Item.Kind.PART
    return _url("inventory:part_detail" if is_part else "inventory:lot_detail", row["key"])


SALE_LINES = Report(
    slug="sale-lines",
    title=gettext_lazy("Sales, line by line"),
    sentence=gettext_lazy("Every line that was handed over, with its order, lot, cost and margin."),
    subject=SALES,
    definition=(
        *MARGIN_DEFINITION,
        WHAT_CHARGES_COST,
        gettext_lazy(
            "Each row is the amount of one lot that was handed over for one line of an order."
        ),
    ),
    form=forms.SalesForm,
    frame=sales.lines,
    listing=sales.listed_lines,
    columns=_fixed(
        Column("order", gettext_lazy("Order"), is_kept_together=True),
        Column("day", gettext_lazy("Handed over"), Unit.DAY),
        Column("customer", gettext_lazy("Customer")),
        Column("channel", gettext_lazy("Channel"), names=CHANNELS),
        Column("what", gettext_lazy("Goods")),
        Column("lot", gettext_lazy("Lot"), url=_lot_url, is_kept_together=True),
        PIECES,
        GRAMS,
        GOODS_PIECES,
        GOODS_GRAMS,
        AMOUNT,
        BROUGHT_IN,
        NO_COST,
        COST,
        MARGIN,
    ),
    picture=None,
    opens=lambda row, _address: _url("orders:order_detail", row["order"]) if row["order"] else None,
    nothing=NO_SALES,
    answers=answers.of_lines,
)
SALES_BY_SIZE = Report(
    slug="sales-by-size",
    title=gettext_lazy("Sales by size"),
    sentence=gettext_lazy("How many jars of each size were sold, and for how much."),
    subject=SALES,
    definition=(*SALES_DEFINITION, WHAT_SIZES_ARE),
    form=forms.SalesForm,
    frame=sales.by_size,
    columns=_fixed(Column("size", gettext_lazy("Size")), *SOLD, PRICE_A_POUND),
    picture=Picture("bars", gettext_lazy("Sales by size"), ("amount_cents",)),
    opens=_size_lines,
    nothing=NO_SALES,
    answers=answers.of_parts,
)
SALES_BY_VARIETY = Report(
    slug="sales-by-variety",
    title=gettext_lazy("Sales by variety"),
    sentence=gettext_lazy("What each variety of honey in jars brought in and earned."),
    subject=SALES,
    definition=(
        *MARGIN_DEFINITION,
        gettext_lazy(
            "A variety is what the label of the jar says, whatever lot it was filled from. "
            "Jars without a variety on their label are one row."
        ),
    ),
    form=forms.HoneySalesForm,
    frame=sales.by_variety,
    columns=_fixed(
        Column("variety", gettext_lazy("Variety")),
        PIECES,
        GRAMS,
        AMOUNT,
        BROUGHT_IN,
        *EARNED,
        MARGIN_A_POUND,
    ),
    picture=Picture(
        "bars", gettext_lazy("Sales and margin by variety"), ("amount_cents", "margin_cents")
    ),
    opens=_variety_lines,
    nothing=NO_SALES,
    answers=answers.of_parts,
)
SALES_BY_PRODUCT = Report(
    slug="sales-by-product",
    title=gettext_lazy("Sales by product"),
    sentence=gettext_lazy("How many of each product were sold, and for how much."),
    subject=SALES,
    definition=SALES_DEFINITION,
    form=forms.SalesForm,
    frame=sales.by_product,
    columns=_fixed(Column("product", gettext_lazy("Product")), *SOLD, PRICE_A_POUND),
    picture=Picture("bars", gettext_lazy("Sales by product"), ("amount_cents",)),
    opens=_product_lines,
    nothing=NO_SALES,
    answers=answers.of_parts,
)
SALES_BY_CHANNEL = Report(
    slug="sales-by-channel",
    title=gettext_lazy("Sales by channel"),
    sentence=gettext_lazy("What the stand, the shops, deliveries and drums brought in."),
    subject=SALES,
    definition=SALES_DEFINITION,
    form=forms.SalesForm,
    frame=sales.by_channel,
    columns=_fixed(
        Column("channel", gettext_lazy("Channel"), names=CHANNELS), *SOLD, PRICE_A_POUND
    ),
    picture=Picture("bars", gettext_lazy("Sales by channel"), ("amount_cents",)),
    opens=lambda row, address: lines_url(address, channel=row["channel"]),
    nothing=NO_SALES,
    answers=answers.of_parts,
)
SALES_BY_CUSTOMER = Report(
    slug="sales-by-customer",
    title=gettext_lazy("Sales by customer"),
    sentence=gettext_lazy("Who bought how much, the largest buyer first."),
    subject=SALES,
    definition=(
        *SALES_DEFINITION,
        gettext_lazy("Buyers at the stand without a name are shown together in one row."),
    ),
    form=forms.SalesForm,
    frame=sales.by_customer,
    columns=_fixed(Column("customer", gettext_lazy("Customer")), *SOLD),
    picture=Picture("bars", gettext_lazy("Sales by customer"), ("amount_cents",)),
    opens=lambda row, address: lines_url(address, customer=row["customer_key"]),
    nothing=NO_SALES,
    answers=answers.of_parts,
)
SALES_BY_MONTH = Report(
    slug="sales-by-month",
    title=gettext_lazy("Sales by month"),
    sentence=gettext_lazy("How sales rise and fall over the months."),
    subject=SALES,
    definition=(
        *SALES_DEFINITION,
        gettext_lazy(
            "Months without sales are shown too, from the first month with sales to this month."
        ),
    ),
    form=forms.MonthsForm,
    frame=sales.by_month,
    columns=_fixed(Column("month", gettext_lazy("Month"), Unit.MONTH), *SOLD),
    picture=Picture("columns", gettext_lazy("Sales by month"), ("amount_cents",)),
    opens=_one_month_lines,
    nothing=NO_SALES,
    answers=answers.of_months,
)
SALES_BY_SEASON = Report(
    slug="sales-by-season",
    title=gettext_lazy("Sales by season"),
    sentence=gettext_lazy("What the honey of each season brought in, whenever it was sold."),
    subject=SALES,
    definition=(WHAT_SEASONS_ARE, *MARGIN_DEFINITION, WHAT_CHARGES_COST),
    form=forms.BySeasonForm,
    frame=sales.by_season,
    columns=_fixed(
        Column("season", gettext_lazy("Season"), Unit.YEAR, says_unknown=gettext_lazy("none")),
        *SOLD,
        *EARNED,
    ),
    picture=Picture("bars", gettext_lazy("Sales by season"), ("amount_cents",)),
    opens=_season_lines,
    nothing=NO_SALES,
    answers=answers.of_seasons,
)
SEASON_AGAINST_SEASON = Report(
    slug="season-against-season",
    title=gettext_lazy("Compare seasons"),
    sentence=gettext_lazy("This season's honey month by month, next to earlier seasons."),
    subject=SALES,
    definition=(
        WHAT_SEASONS_ARE,
        gettext_lazy(
            "Months are counted from January of the season, so each row is the same time "
            "of the year in every season. A month that has not started yet has no figure."
        ),
        gettext_lazy(
            "“By then” is all that the season's honey has come to by the end of the month. That is "
            "drawn, as far as the newest season has come."
        ),
        *MARGIN_DEFINITION,
    ),
    form=forms.SeasonsForm,
    frame=sales.season_against_season,
    columns=_season_columns,
    picture=Picture(
        "lines",
        gettext_lazy("What each season's honey has come to by the end of each month"),
        label="month_short",
        begins="by_then_",
        newest_first=True,
        as_far_as_newest=True,
    ),
    opens=lambda _row, _address: None,
    nothing=NO_SALES,
    answers=answers.of_seasons_by_month,
    is_unfinished=_is_unfinished_of_season,
    names_main=True,
)
MARGIN_BY_SIZE = Report(
    slug="margin-by-size",
    title=gettext_lazy("Margin by size"),
    sentence=gettext_lazy("What each size earned after the cost of its honey, parts and labour."),
    subject=SALES,
    definition=(*MARGIN_DEFINITION, WHAT_SIZES_ARE),
    form=forms.HoneySalesForm,
    frame=sales.by_size,
    columns=_fixed(
        Column("size", gettext_lazy("Size")),
        PIECES,
        GRAMS,
        AMOUNT,
        BROUGHT_IN,
        *EARNED,
        MARGIN_A_POUND,
    ),
    picture=Picture(
        "bars", gettext_lazy("Sales and margin by size"), ("amount_cents", "margin_cents")
    ),
    opens=_size_lines,
    nothing=NO_SALES,
    answers=answers.of_margins,
)
MARGIN_BY_PRODUCT = Report(
    slug="margin-by-product",
    title=gettext_lazy("Margin by product"),
    sentence=gettext_lazy(
        "What each product earned after the cost of its honey, parts and labour."
    ),
    subject=SALES,
    definition=MARGIN_DEFINITION,
    form=forms.MarginForm,
    frame=sales.by_product,
    columns=_fixed(
        Column("product", gettext_lazy("Product")),
        PIECES,
        GRAMS,
        GOODS_PIECES,
        GOODS_GRAMS,
        AMOUNT,
        *EARNED,
        MARGIN_A_POUND,
        MARGIN_A_PIECE,
    ),
    picture=Picture(
        "bars", gettext_lazy("Sales and margin by product"), ("amount_cents", "margin_cents")
    ),
    opens=_product_lines,
    nothing=NO_SALES,
    answers=answers.of_margins,
)
BULK_AGAINST_RETAIL = Report(
    slug="bulk-against-retail",
    title=gettext_lazy("Compare bulk and retail"),
    sentence=by_unit(
        gettext_lazy("What a {unit} brought in jars, and what a {unit} brought in drums.")
    ),
    subject=SALES,
    definition=(
        *MARGIN_DEFINITION,
        by_unit(
            gettext_lazy(
                "Sales per {unit} are sales divided by the label weight of jars and the net "
                "weight of bulk. Margin per {unit} counts only the {units} whose cost is known."
            )
        ),
    ),
    form=forms.HoneySalesForm,
    frame=sales.bulk_against_retail,
    columns=_fixed(
        Column("way", gettext_lazy("Sold as")),
        GRAMS,
        AMOUNT,
        PRICE_A_POUND,
        *EARNED,
        MARGIN_A_POUND,
    ),
    picture=Picture(
        "bars",
        by_unit(gettext_lazy("Sales and margin per {unit}")),
        ("sales_per_pound", "margin_per_pound"),
    ),
    opens=_way_lines,
    nothing=NO_SALES,
    answers=answers.of_ways,
)

WHAT_RUNS_ARE = gettext_lazy(
    "Each recorded bottling run is counted on the day it was bottled. Runs that were "
    "undone or only planned are not counted."
)
WHERE_HONEY_WENT = gettext_lazy(
    "All the honey drawn from the tank is divided into four amounts: on the labels of "
    "filled jars, above the label, in broken jars (each at its label weight), and lost in "
    "filling."
)
RUNS = Column("runs", gettext_lazy("Runs"), Unit.COUNT, adds_up=True)
FILLED = Column("filled", gettext_lazy("Filled"), Unit.PIECES, adds_up=True)
LABEL_GRAMS = Column("label_grams", gettext_lazy("On the labels"), Unit.GRAMS, adds_up=True)
OVER_GRAMS = Column("over_grams", gettext_lazy("Above the label"), Unit.GRAMS, adds_up=True)
OVER_PERCENT = Column(
    "over_percent",
    gettext_lazy("Percent of label weight"),
    Unit.PERCENT,
    part="over_grams",
    whole="label_grams",
)
ESTIMATED_RUNS: dict[str, Any] = {
    "is_from_zero": False,
    "hollow": "estimated_runs",
    "hollow_words": gettext_lazy("a run whose honey was estimated, not measured"),
}
OVERFILL = Report(
    slug="overfill",
    title=gettext_lazy("Overfill given away"),
    sentence=gettext_lazy(
        "How much honey went into jars above their label weight, and what it cost."
    ),
    subject=BOTTLING,
    definition=(
        WHAT_RUNS_ARE,
        WHERE_HONEY_WENT,
        gettext_lazy(
            "Jars with too little honey are subtracted from jars with too much, so a "
            "figure can be below zero. The cost is the overfill's share of the cost of the "
            "honey drawn, without parts and labour. Runs whose honey has no cost are "
            "counted in the weight but not in the cost."
        ),
    ),
    form=forms.RunsForm,
    frame=bottling.overfill,
    columns=_fixed(
        Column("product", gettext_lazy("Product")),
        RUNS,
        Column(
            "estimated_runs",
            gettext_lazy("Of them estimated"),
            Unit.COUNT,
            adds_up=True,
            is_left_out_when_nothing=True,
        ),
        FILLED,
        LABEL_GRAMS,
        OVER_GRAMS,
        OVER_PERCENT,
        Column(
            "over_grams_each",
            gettext_lazy("In each jar"),
            Unit.GRAMS_EACH,
            part="over_grams",
            whole="filled",
        ),
        Column(
            "over_cents",
            gettext_lazy("Cost given away"),
            Unit.CENTS,
            adds_up=True,
            says_unknown=NOT_ENTERED,
        ),
    ),
    picture=Picture(
        "bars",
        gettext_lazy("Cost of the honey above the label, by product"),
        ("over_cents",),
        beside=("over_grams",),
    ),
    opens=lambda row, address: runs_url(address, product=row["product_key"]),
    nothing=NO_RUNS,
    answers=answers.of_overfill,
)
YIELD_BY_RUN = Report(
    slug="yield-by-run",
    title=gettext_lazy("Yield and loss by run"),
    sentence=gettext_lazy(
        "Of the honey each run drew, how much can be sold and where the rest went."
    ),
    subject=BOTTLING,
    definition=(
        WHAT_RUNS_ARE,
        WHERE_HONEY_WENT,
        gettext_lazy("Yield is the honey on the labels divided by the honey drawn."),
    ),
    form=forms.RunsForm,
    frame=bottling.runs_by_size,
    columns=_fixed(
        Column("run", gettext_lazy("Run"), is_kept_together=True),
        Column("day", gettext_lazy("Bottled"), Unit.DAY),
        Column("product", gettext_lazy("Product")),
        Column("lot", gettext_lazy("Honey"), url=_lot_url, is_kept_together=True),
        FILLED,
        Column("drawn_grams", gettext_lazy("Drawn"), Unit.GRAMS, adds_up=True),
        Column(
            "measured_by",
            gettext_lazy("Measured by"),
            names=dict(BottlingRun.DrawnBy.choices),
        ),
        LABEL_GRAMS,
        OVER_GRAMS,
        OVER_PERCENT,
        Column("broken_grams", gettext_lazy("Broken"), Unit.GRAMS, adds_up=True),
        Column("loss_grams", pgettext_lazy("yield", "Lost"), Unit.GRAMS, adds_up=True),
        Column(
            "yield_percent",
            gettext_lazy("Yield"),
            Unit.PERCENT,
            part="label_grams",
            whole="drawn_grams",
        ),
    ),
    picture=Picture(
        "multiples",
        gettext_lazy("Yield of each run, by size"),
        ("yield_percent",),
        "size",
        **ESTIMATED_RUNS,
    ),
    opens=lambda row, _address: _url("inventory:run_detail", row["run"]),
    nothing=NO_RUNS,
    answers=answers.of_runs,
    rows_a_page=25,
    more_pictures=(
        Picture(
            "multiples",
            gettext_lazy("Honey above the label of each run, in percent of it, by size"),
            ("over_percent",),
            "size",
            limit=0,
            limit_words=gettext_lazy("the weight on the label"),
            **ESTIMATED_RUNS,
        ),
    ),
)

KIND = Column("kind", gettext_lazy("Kind"), names=dict(Item.Kind.choices))
THING = Column("name", gettext_lazy("Lot or part"))
WHAT = Column("what", gettext_lazy("What"))
STOCK_PIECES = Column("pieces", gettext_lazy("Pieces"), Unit.PIECES)
VALUE = Column(
    "value_cents", gettext_lazy("Value"), Unit.CENTS, adds_up=True, says_unknown=NOT_ENTERED
)
WHAT_STOCK_IS_WORTH = gettext_lazy(
    "The value of a lot is its share of the cost of the whole lot; for jars it is the "
    "average of their product if that is chosen in the settings. The value of a part is its "
    "average cost when received. All costs are those known today. Goods that have no cost "
    "yet are not in the total. Goods that came back and wait for a decision are not counted."
)
STOCK_VALUE = Report(
    slug="stock-value",
    title=gettext_lazy("Stock value"),
    sentence=gettext_lazy("What the honey, jars, other goods and parts in stock cost, on any day."),
    subject=STOCK,
    definition=(
        gettext_lazy(
            "Everything in tanks and drums, on shelves, at the stand and in the van is "
            "counted, reserved or not, as recorded in the books at the end of the day you "
            "choose."
        ),
        gettext_lazy(
            "Extractions, bottling runs, parts and goods received, goods made and sales count from "
            "the day "
            "entered for them; a dip counts from the time it was read. Moving honey, "
            "filling drums, other counts, write-offs and undoing count from the time they "
            "were recorded. If those were recorded late, the figures for an earlier day "
            "may be wrong."
        ),
        WHAT_STOCK_IS_WORTH,
        gettext_lazy(
            "“As it was known” has the entries and the costs that were known at the end of that "
            "day. A closed day keeps the value that it had when it was closed, and what is "
            "entered late for it counts on the first open day."
        ),
        WHAT_NO_MINUTES_MEAN,
        WHAT_WEIGHTS_ARE,
    ),
    form=forms.StockValueForm,
    frame=stock.value,
    columns=_fixed(THING, KIND, WHAT, STOCK_PIECES, GRAMS, GOODS_GRAMS, VALUE),
    picture=Picture("bars", gettext_lazy("Stock value"), ("value_cents",), "what", adds_up=True),
    opens=_thing_url,
    nothing=NO_STOCK,
    warns=_below_nothing,
    answers=answers.of_stock,
)
SLOW_STOCK = Report(
    slug="slow-stock",
    title=gettext_lazy("Slow-moving stock"),
    sentence=gettext_lazy("Lots that have not been sold, bottled or used for a long time."),
    subject=STOCK,
    definition=(
        gettext_lazy(
            "These are lots in stock that were not sold, bottled or used for other goods for at "
            "least the number of days you choose. A lot of which none left counts from the day it "
            "was made or came in. Moving honey between tanks and drums does not count as movement."
        ),
        WHAT_STOCK_IS_WORTH,
        WHAT_NO_MINUTES_MEAN,
        WHAT_WEIGHTS_ARE,
    ),
    form=forms.SlowStockForm,
    frame=stock.slow,
    columns=_fixed(
        THING,
        KIND,
        WHAT,
        Column("made_on", gettext_lazy("Made"), Unit.DAY),
        Column(
            "left_on",
            gettext_lazy("Last sold or used"),
            Unit.DAY,
            says_unknown=gettext_lazy("never"),
        ),
        Column("idle_days", gettext_lazy("No movement"), Unit.DAYS),
        Column("best_by", gettext_lazy("Best by"), Unit.DAY),
        STOCK_PIECES,
        GRAMS,
        GOODS_GRAMS,
        VALUE,
    ),
    picture=Picture(
        "bars",
        gettext_lazy("Days without movement, and what the lot cost"),
        ("idle_days",),
        "name",
        beside=("value_cents",),
    ),
    opens=_thing_url,
    nothing=gettext_lazy("No lot has gone that long without movement."),
    answers=answers.of_slow_stock,
)
GONE = Report(
    slug="gone-by-reason",
    title=gettext_lazy("Written off, by reason"),
    sentence=gettext_lazy(
        "What was skimmed off, spilled, broken, sampled, fed, used or given away, and what counts "
        "found missing or too much."
    ),
    subject=STOCK,
    definition=(
        gettext_lazy(
            "Each row is a reason with a lot or part. What a count or a weighing found missing "
            "counts as gone; what it found beyond the books is below zero. What was undone is left "
            "out, and so is what belongs to other beekeepers."
        ),
        WHAT_STOCK_IS_WORTH,
        WHAT_WEIGHTS_ARE,
    ),
    form=forms.GoneForm,
    frame=stock.gone,
    columns=_fixed(
        Column("reason", gettext_lazy("Reason"), names=dict(Place.Kind.choices)),
        THING,
        KIND,
        WHAT,
        STOCK_PIECES,
        GRAMS,
        GOODS_GRAMS,
        VALUE,
    ),
    picture=Picture(
        "bars",
        gettext_lazy("Cost of what is gone, by reason"),
        ("value_cents",),
        "reason",
        adds_up=True,
        beside=("grams",),
    ),
    opens=_thing_url,
    nothing=gettext_lazy("Nothing was written off, and no count differed."),
    answers=answers.of_gone,
)

YEAR_ON_YEAR = year_on_year.report(
    subject=SALES, definition=MARGIN_DEFINITION, nothing=NO_SALES, lines_url=lines_url
)

REPORTS = {
    report.slug: report
    for report in (
        MARGIN_BY_SIZE,
        MARGIN_BY_PRODUCT,
        BULK_AGAINST_RETAIL,
        SALES_BY_SIZE,
        SALES_BY_PRODUCT,
        SALES_BY_VARIETY,
        SALES_BY_CHANNEL,
        SALES_BY_CUSTOMER,
        SALES_BY_MONTH,
        YEAR_ON_YEAR,
        SALES_BY_SEASON,
        SEASON_AGAINST_SEASON,
        SALE_LINES,
        OVERFILL,
        YIELD_BY_RUN,
        STOCK_VALUE,
        SLOW_STOCK,
        GONE,
        *catalogue_money.REPORTS,
        *accounting.REPORTS,
    )
}


def by_subject() -> list[tuple[str, list[Report]]]:
    """Return the reports under their subjects, in the order of the list."""
    found: dict[str, list[Report]] = {}
    for report in REPORTS.values():
        found.setdefault(str(report.subject), []).append(report)
    return list(found.items())
