"""Where every pound went: a harvest as drawing, table and file, and the entries behind it."""

from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _

from inventory.shared import words
from inventory.shared.csv_files import csv_bytes
from inventory.shared.weights import in_words, unit_name
from inventory.stock import flow_drawing
from inventory.stock.flow import Band, Form, Source, band_named
from inventory.stock.flow_drawing import Node, Ribbon
from inventory.stock.forms.flow import OTHERS, BandForm, HarvestForm
from inventory.stock.queries import flow as queries
from inventory.stock.queries import honey
from inventory.stock.queries.flow import FlowBook, Harvest, HarvestFlow, OriginRow

ENTRIES_A_PAGE = 50
# Percent of the width that the longest bar of the narrow drawing takes.
BAR_PERCENT = 100


def harvest_flow(request: HttpRequest) -> HttpResponse:
    """Show where the honey of a harvest is and went."""
    book = FlowBook()
    form = HarvestForm(request.GET, book=book)
    if not form.is_valid():
        return _wrong(request, form)
    told = book.of(form.harvest)
    return render(
        request,
        "inventory/honey/flow.html",
        {
            "form": form,
            "flow": told,
            "title": _title(form.harvest),
            "drawing": drawing(told),
            "origins": [(row, _origin_label(row), _origin_url(row)) for row in told.origins],
            "sources": [
                (source, grams, entries_url(form.harvest, source), _share(grams, told))
                for source, grams in told.sources.items()
            ],
            "bands": [
                (row, entries_url(form.harvest, row.band), _share(row.grams, told))
                for row in told.bands
            ],
            "query": _query(form.harvest),
        },
    )


def flow_csv(request: HttpRequest) -> HttpResponse:
    """Write the flow of a harvest as a file, in whole grams, by origin."""
    form = HarvestForm(request.GET, book=FlowBook())
    if not form.is_valid():
        return _wrong(request, form)
    rows = queries.table(form.book.of(form.harvest), form.book)
    response = HttpResponse(csv_bytes(rows), content_type="text/csv; charset=utf-8")
    name = content_disposition_header(True, f"{_title(form.harvest)}.csv")
    response["Content-Disposition"] = name or "attachment"
    return response


def flow_entries(request: HttpRequest, band: str) -> HttpResponse:
    """List the entries behind one band, which add up to it."""
    asked = band_named(band)
    if asked is None:
        raise Http404
    form = BandForm(request.GET, book=FlowBook())
    if not form.is_valid():
        return _wrong(request, form)
    found = form.book.entries(form.harvest, form.ends(asked))
    page = Paginator(found, ENTRIES_A_PAGE).get_page(request.GET.get("page"))
    postings = honey.postings_by_key([entry.posting for entry in page])
    return render(
        request,
        "inventory/honey/flow_entries.html",
        {
            "title": _title(form.harvest),
            "band": asked.label,
            "form_label": Form(form.cleaned_data["form"]).label
            if form.cleaned_data["form"]
            else "",
            "page": page,
            "rows": [(postings[entry.posting], entry.grams) for entry in page],
            "total": sum(entry.grams for entry in found),
            "flow_url": flow_url(form.harvest),
        },
    )


def _wrong(request: HttpRequest, form: HarvestForm) -> HttpResponse:
    return render(request, "inventory/honey/flow.html", {"form": form, "flow": None}, status=422)


def _title(harvest: Harvest) -> str:
    if harvest.lot is not None:
        return _("Where the honey of lot %(lot)s went") % {"lot": harvest.lot.code}
    if harvest.is_of_others:
        return _("Where the honey of other beekeepers went")
    if harvest.season is not None:
        return _("Where every %(unit)s of %(season)s went") % {
            "season": harvest.season,
            "unit": unit_name(),
        }
    return in_words(_("Where every {unit} went"))


def _query(harvest: Harvest) -> str:
    return urlencode(_asked(harvest))


def _asked(harvest: Harvest) -> dict[str, str]:
    if harvest.lot is not None:
        told = {"lot": harvest.lot.code}
        return {**told, "product": harvest.lot.what} if harvest.lot.product else told
    if harvest.is_of_others:
        return {"season": OTHERS}
    return {} if harvest.season is None else {"season": str(harvest.season)}


def flow_url(harvest: Harvest) -> str:
    """Return the address of the flow of a harvest."""
    query = _query(harvest)
    return reverse("inventory:honey_flow") + (f"?{query}" if query else "")


def entries_url(harvest: Harvest, band: Band | Source) -> str:
    """Return the address of the entries behind a band."""
    query = _query(harvest)
    address = reverse("inventory:honey_flow_entries", args=[band])
    return f"{address}?{query}" if query else address


def _share(grams: int, told: HarvestFlow) -> str:
    """Return how long the bar of the narrow drawing is, in percent of what came in."""
    if told.came_in <= 0:
        return "0"
    return f"{min(BAR_PERCENT, max(0, grams) * BAR_PERCENT / told.came_in):.2f}"


def _origin_url(row: OriginRow) -> str:
    if row.lot is not None:
        return flow_url(Harvest(lot=row.lot))
    return "" if row.owner else flow_url(Harvest(season=row.season))


def _origin_label(row: OriginRow) -> str:
    figures: dict[str, Any] = {"season": row.season, "owner": row.owner, "how": row.source.label}
    if row.lot is not None:
        return row.lot.code
    if row.owner:
        return _("%(owner)s %(season)s") % figures
    return _("%(how)s %(season)s") % figures


def drawing(told: HarvestFlow) -> flow_drawing.Drawing | None:
    """Return the drawing of a harvest: from what came in, by its form, to where it is."""
    left, ribbons = _came_in(told)
    in_form = {form: sum(row.of(form) for row in told.bands) for form in Form}
    for row in told.bands:
        for form in Form:
            if (grams := row.of(form)) < 0:
                # More was found than the books had: it came in here.
                in_form[form] -= grams
                ribbons.append(Ribbon(f"more-{row.band}", form, -grams))
            else:
                ribbons.append(Ribbon(form, row.band, grams))
    middle = [
        Node(form, str(form.label).capitalize(), words.weight(in_form[form], 1)) for form in Form
    ]
    more = {row.band: sum(min(0, row.of(form)) for form in Form) for row in told.bands}
    left += [
        Node(
            f"more-{row.band}",
            _found_label(row.band),
            words.weight(-more[row.band], 1),
            entries_url(told.harvest, row.band),
        )
        for row in told.bands
        if more[row.band]
    ]
    right = [
        Node(
            row.band,
            str(row.band.label),
            words.weight(row.grams - more[row.band], 1),
            entries_url(told.harvest, row.band),
        )
        for row in told.bands
    ]
    return flow_drawing.draw([left, middle, right], ribbons)


def _found_label(band: Band) -> str:
    if band == Band.TO_SETTLE:
        return str(band.label)
    return _("%(band)s, found") % {"band": band.label}


def _came_in(told: HarvestFlow) -> tuple[list[Node], list[Ribbon]]:
    """Return the bars of what came in, the largest with colours of their own, and their ribbons."""
    largest = sorted(told.origins, key=lambda row: -row.came_in)
    shown = largest[: flow_drawing.SERIES_MAX]
    nodes: list[Node] = []
    ribbons: list[Ribbon] = []
    for row in [row for row in told.origins if row in shown]:
        key, series = f"origin-{len(nodes)}", len(nodes) + 1
        url = _origin_url(row)
        if told.harvest.lot is not None:
            url = entries_url(told.harvest, row.source)
        label = _origin_label(row)
        nodes.append(Node(key, label, words.weight(row.came_in, 1), url, series))
        ribbons += [
            Ribbon(key, Form.BULK, row.came_in - row.pieces, series),
            Ribbon(key, Form.PIECES, row.pieces, series),
        ]
    rest = largest[flow_drawing.SERIES_MAX :]
    if rest:
        came_in, pieces = sum(row.came_in for row in rest), sum(row.pieces for row in rest)
        label = _("%(count)s others") % {"count": len(rest)}
        nodes.append(Node("rest", label, words.weight(came_in, 1), "#origins"))
        ribbons += [
            Ribbon("rest", Form.BULK, came_in - pieces),
            Ribbon("rest", Form.PIECES, pieces),
        ]
    return nodes, ribbons
