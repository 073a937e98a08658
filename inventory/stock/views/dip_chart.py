"""The dip chart of a vessel: for one moisture and temperature, on the screen and on paper."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.physics.units import MM_PER_INCH
from inventory.shared import conventions, documents
from inventory.shared.forms.fields import as_typed
from inventory.stock import dip_chart as charts
from inventory.stock import vessels
from inventory.stock.forms.dip_chart import DipChartForm
from inventory.stock.forms.fields import plain, usual_temperature
from inventory.stock.models import Balance, Place, ProductionSettings

# Of the usual honey, for a vessel that is empty (common practice: ripe honey has 17 to 18 %).
USUAL_MOISTURE = Decimal("17.5")
# How many inches, and groups of centimetres, fit into a column of Letter paper: below the head of
# the first page, and on a full one.
EIGHTHS_IN_GROUP, INCHES_FIRST_PAGE, INCHES_FURTHER_PAGES = 8, 5, 7
CENTIMETRES_IN_GROUP, CENTIMETRE_GROUPS_A_PAGE = 10, 6

TWO_CENTIMETRES_MM = Decimal(20)
PAPER = "documents/dip_chart.html"

may_move_honey = permission_required("inventory.move_honey", raise_exception=True)


@require_safe
@may_move_honey
def dip_chart(request: HttpRequest, code: str) -> HttpResponse:
    """Show the chart in whole inches, or every 2 cm; the paper has every eighth and centimetre."""
    place = place_with_shape(code)
    form = chart_form(request.GET, place)
    metric = conventions.current().is_metric
    found = chart_rows(place, form, TWO_CENTIMETRES_MM if metric else MM_PER_INCH)
    context = {"place": place, "form": form, "rows": found, "settings": _settings()}
    context["metric"] = metric
    status = 422 if form.errors else 200
    return render(request, "inventory/honey/dip_chart.html", context, status=status)


@require_safe
@may_move_honey
def dip_chart_pdf(request: HttpRequest, code: str) -> HttpResponse:
    place = place_with_shape(code)
    form = chart_form(request.GET, place)
    context = paper_context(place, form)
    if form.errors:
        return dip_chart(request, code)
    return documents.serve(
        request,
        name=f"{_('Dip chart %(place)s') % {'place': place.code}}.pdf",
        template_name=PAPER,
        context=context,
    )


def paper_context(place: Place, form: DipChartForm) -> dict[str, Any]:
    """Return what the paper shows; none where the form has errors, which may be added here."""
    # A metric house has no stick in inches.
    is_metric = conventions.current().is_metric
    eighths = [] if is_metric else chart_rows(place, form, charts.EIGHTH_OF_AN_INCH_MM)
    centimetres = chart_rows(place, form, charts.CENTIMETRE_MM)
    if form.errors:
        return {}
    return {
        "place": place,
        "moisture_percent": form.cleaned_data["moisture_percent"],
        "celsius": form.cleaned_data["celsius"],
        "settings": _settings(),
        "eighths": charts.side_by_side(
            charts.grouped(eighths, step_mm=charts.EIGHTH_OF_AN_INCH_MM, steps=EIGHTHS_IN_GROUP),
            first_page=INCHES_FIRST_PAGE,
            further_pages=INCHES_FURTHER_PAGES,
        ),
        "centimetres": charts.side_by_side(
            charts.grouped(centimetres, step_mm=charts.CENTIMETRE_MM, steps=CENTIMETRES_IN_GROUP),
            first_page=CENTIMETRE_GROUPS_A_PAGE,
            further_pages=CENTIMETRE_GROUPS_A_PAGE,
        ),
    }


def chart_rows(place: Place, form: DipChartForm, step_mm: Decimal) -> list[charts.ChartRow]:
    """Return the rows of a valid form; none where it has errors, which may be added here."""
    if not form.is_valid():
        return []
    try:
        return charts.rows(
            vessels.shape_of(place),
            step_mm=step_mm,
            moisture_percent=form.cleaned_data["moisture_percent"],
            celsius=form.cleaned_data["celsius"],
            mark_mm=_settings().stick_mark_mm,
        )
    except ValueError as error:
        form.add_error("celsius", str(error))
        return []


def chart_form(parameters: QueryDict, place: Place) -> DipChartForm:
    """Return what was asked for; at first, the honey that is in the vessel, as warm as usual."""
    there = Balance.objects.in_vessel(place)
    moisture = there.honey_lot.moisture_percent if there else None
    number, unit = usual_temperature()
    usual = {
        "moisture_percent": as_typed(plain(moisture or USUAL_MOISTURE, 2)),
        "celsius": str(number),
        "celsius_unit": unit,
    }
    return DipChartForm(parameters or usual)


def place_with_shape(code: str) -> Place:
    """Return a vessel whose shape is known."""
    found = Place.objects.filter(kind__in=Place.VESSELS, shape__isnull=False)
    return get_object_or_404(found.select_related("shape"), code=code)


def _settings() -> ProductionSettings:
    return ProductionSettings.current()
