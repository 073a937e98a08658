"""The page that sets drums and jars side by side, and the lines behind its figures."""

from dataclasses import dataclass
from decimal import Decimal
from urllib.parse import urlencode

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.pricing import charts
from apiary_sales.pricing.forms.drum_or_jar import WhatIfForm
from apiary_sales.pricing.models import BulkPrice
from apiary_sales.pricing.queries import comparison, costs, prices
from apiary_sales.pricing.rules.costs import TIER_OF_CHANNEL, Book, Channel, HoneyCost
from apiary_sales.pricing.rules.price_changes import Ending
from inventory.shared.forms.fields import as_typed
from inventory.shared.htmx import HtmxRequest
from inventory.shared.money import amount
from inventory.shared.weights import by_unit
from inventory.stock.models import Lot

SORT_LABELS = {
    "product": _("Product"),
    "channel": _("Channel"),
    "price": _("Price"),
    "per_pound": by_unit(_("A {unit} brings")),
    "difference": _("Compared with the drum"),
    "break_even": _("Break-even price"),
}
TIERS_OF_JARS = dict.fromkeys(TIER_OF_CHANNEL.values())

manages_prices = permission_required("pricing.manage_prices", raise_exception=True)


@dataclass(frozen=True)
class AskedComparison:
    """What a person wants compared, worked out from the address."""

    form: WhatIfForm
    book: Book
    lot: Lot | None
    honey: HoneyCost
    moisture: Decimal | None
    listed: BulkPrice | None
    bulk_list: prices.BulkList
    comparison: comparison.Comparison


@manages_prices
def page(request: HtmxRequest) -> HttpResponse:
    asked = compared(request.GET, is_of_lot=True)
    sort = request.GET.get("sort", "")
    sort, downward = (sort.lstrip("-"), sort.startswith("-"))
    if sort not in comparison.SORTS:
        sort, downward = "per_pound", True
    context = {
        "asked": asked,
        "form": asked.form,
        "comparison": asked.comparison,
        "ladder": charts.ladder(asked.comparison),
        "cost_bars": charts.cost_bars(asked.comparison.costs),
        "rows": asked.comparison.sorted_by(sort, downward=downward),
        "sort": sort,
        "downward": downward,
        "channels": [(series, channel.label) for channel, series in charts.CHANNEL_SERIES.items()],
        "tried": _tried(request.GET),
        "sorts": SORT_LABELS.items(),
        "keep": _links_to_keep(asked),
    }
    name = "pricing/_drum_or_jar.html" if request.htmx else "pricing/drum_or_jar.html"
    return render(request, name, context)


@manages_prices
def product(request: HttpRequest, code: str) -> HttpResponse:
    """Open the figures of one product to the lines they come from."""
    asked = compared(request.GET, is_of_lot=False)
    product = next((each for each in asked.book.products if each.code == code), None)
    if product is None:
        raise Http404
    return render(
        request,
        "pricing/product_margin.html",
        {
            "asked": asked,
            "product": product,
            "fill": asked.book.fill(product),
            "cost": asked.book.filled_cost(product, asked.honey),
            "rungs": [rung for rung in asked.comparison.rungs if rung.net_back.product == product],
            "drum": asked.comparison.drum,
            "tried": _tried(request.GET),
        },
    )


def compared(parameters: QueryDict, *, is_of_lot: bool) -> AskedComparison:
    """Work out what is asked; `is_of_lot` leaves out what the lot's honey may not be sold as."""
    today = timezone.localdate()
    book = costs.book(today)
    in_hand = costs.honey_in_hand()
    form = WhatIfForm(parameters, in_hand=in_hand, book=book)
    form.is_valid()
    lots = {lot.code: lot for lot, _grams in in_hand}
    lot = lots.get(form.figure("lot")) or next(iter(lots.values()), None)
    measured = lot.moisture_percent if lot else None
    moisture = form.figure("moisture") or measured
    bulk_list, listed = prices.bulk_list(today), None
    if moisture is not None:
        listed = bulk_list.row_for(
            colour_class=lot.colour_class if lot else None,
            moisture_percent=moisture,
            floral_source=lot.floral_source if lot else "",
        )
    list_price = listed.price_per_pound if listed else None
    form.show_kept(
        moisture=measured,
        drum_price=list_price,
        labour=amount(book.labour_cents_per_hour),
    )
    tried_price = form.figure("drum_price")
    book = book.supposing(form.what_if())
    honey = costs.honey_cost(lot)
    return AskedComparison(
        form=form,
        book=book,
        lot=lot,
        honey=honey,
        moisture=moisture,
        listed=listed,
        bulk_list=bulk_list,
        comparison=comparison.compare(
            book=book.fillable_with(lot) if lot and is_of_lot else book,
            honey=honey,
            drum_price=list_price if tried_price is None else tried_price,
        ),
    )


def _tried(parameters: QueryDict) -> str:
    """Return the figures that were tried as they stand in an address, without the sorting."""
    kept = parameters.copy()
    kept.pop("sort", None)
    for name in [name for name, value in kept.items() if not value]:
        kept.pop(name)
    return kept.urlencode()


def _links_to_keep(asked: AskedComparison) -> dict[str, str]:
    """Return the query strings of the pages on which tried prices are set for good."""
    links = {}
    form = asked.form
    if (price := form.figure("drum_price")) is not None:
        links["drum"] = _bulk_price_to_keep(asked, price)
    if (labour := form.figure("labour")) is not None:
        links["labour"] = urlencode({"labour": as_typed(amount(labour))})
    if (percent := form.figure("jar_percent")) is not None:
        links["percent"] = urlencode(
            {
                "tiers": [tier.value for tier in TIERS_OF_JARS],
                "percent": as_typed(percent),
                "ending": Ending.CENT.value,
                "valid_from": timezone.localdate().isoformat(),
            },
            doseq=True,
        )
    code, _colon, channel = (form.figure("jar") or "").rpartition(":")
    if code and (cents := form.figure("jar_price")) is not None:
        query = QueryDict(mutable=True)
        query[TIER_OF_CHANNEL[Channel(channel)].value] = str(Decimal(cents).scaleb(-2))
        links["jar_code"], links["jar"] = code, query.urlencode()
    return links


def _bulk_price_to_keep(asked: AskedComparison, price: Decimal) -> str:
    """Return the query string that sets a drum price for all honey priced as this lot is.

    That is the moisture step and source of the price in force, so that the new one takes its
    place; the step the lot falls in while there is none.
    """
    query = QueryDict(mutable=True)
    query["price"] = str(price)
    if asked.lot is not None:
        query["colour"] = asked.lot.colour_class or ""
    if asked.listed is not None:
        query["source"] = asked.listed.floral_source
        query["moisture"] = str(asked.listed.moisture_percent_max)
    elif asked.moisture is not None:
        query["moisture"] = str(asked.bulk_list.step_for(asked.moisture))
    return query.urlencode()
