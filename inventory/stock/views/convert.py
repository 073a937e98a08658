"""The live line under a figure: what it comes to, before anything is sent.

Each answers one line for the form as it stands, and nothing while a figure is missing; what is
wrong with a figure is said when the form is sent.
"""

from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _

from inventory.shared import words
from inventory.shared.errors import HouseError
from inventory.stock import dip_weights, rules
from inventory.stock.forms.dips import DipForm
from inventory.stock.forms.fields import plain
from inventory.stock.forms.honey import DrumFillForm
from inventory.stock.forms.places import PlaceForm
from inventory.stock.forms.receipt import ReceiveForm
from inventory.stock.models import Balance, Lot, Place, ProductionSettings
from inventory.stock.services import drums, lots, places


def receipt(request: HttpRequest, what: str) -> HttpResponse:
    """A line for one field of an extraction: its moisture, its colour, or its weight."""
    form = ReceiveForm(request.GET)
    form.is_valid()
    data = form.cleaned_data
    lines = {"moisture": _moisture_line, "colour": _colour_line, "weight": _weight_line}
    return _line(request, lines[what](data))


def _moisture_line(data: dict) -> str:
    moisture = data.get("moisture_known")
    if moisture is None:
        return ""
    lot = Lot(moisture_percent=moisture)
    limit = ProductionSettings.current().moisture_limit_percent
    said = _("= %(moisture)s %%: %(grade)s. %(warning)s") % {
        "moisture": plain(moisture, 2),
        "grade": words.grade(lot.moisture_grade),
        "warning": rules.moisture_warning(lot, limit),
    }
    return said.strip()


def _colour_line(data: dict) -> str:
    colour_mm = data.get("colour_mm")
    if colour_mm is None or not 0 <= colour_mm <= lots.COLOUR_MM_MAX:
        return ""
    colour_class = Lot(colour_mm=colour_mm).colour_class
    return f"= {words.colour(colour_class)}" if colour_class else ""


def _weight_line(data: dict) -> str:
    measured = data.get("measured")
    if measured is None:
        return ""
    figures = {
        "pounds": words.weight(measured.grams, 1),
        "kilograms": words.other_weight(measured.grams),
        "gallons": words.volume(measured.litres),
        "moisture": plain(data["moisture_known"], 2),
        "temperature": words.temperature(Decimal(20)),
        "uncertainty": words.weight(measured.uncertainty_grams),
    }
    if not measured.how:
        return (
            _("= %(pounds)s, %(kilograms)s; %(gallons)s at %(moisture)s %%, %(temperature)s")
            % figures
        )
    figures["temperature"] = words.temperature(data["honey_celsius"])
    return (
        _(
            "= %(pounds)s, %(kilograms)s, give or take %(uncertainty)s; "
            "%(gallons)s at %(moisture)s %%, %(temperature)s"
        )
        % figures
    )


def dip(request: HttpRequest, code: str) -> HttpResponse:
    """A line for a dip: litres and gallons, and the weight they mean in this vessel."""
    place = get_object_or_404(
        Place.objects.select_related("shape"), code=code, kind__in=Place.VESSELS
    )
    form = DipForm(request.GET)
    form.is_valid()
    depth_mm, celsius = form.cleaned_data.get("depth"), form.cleaned_data.get("celsius")
    there = Balance.objects.in_vessel(place)
    if depth_mm is None or celsius is None or there is None:
        return _line(request, "")
    try:
        weighed = dip_weights.of_depth(
            place,
            depth_mm,
            moisture_percent=there.honey_lot.honey_moisture,
            celsius=celsius,
            mark_mm=ProductionSettings.current().stick_mark_mm,
        )
    except HouseError as error:
        return _line(request, error.message)
    except ValueError as error:
        return _line(request, str(error))
    text = _(
        "= %(litres)s L, %(gallons)s; %(kilograms)s, %(pounds)s, give or take "
        "%(uncertainty)s, at %(moisture)s %%, %(temperature)s. The books say %(book)s."
    ) % {
        "litres": weighed.litres.quantize(Decimal("0.1")),
        "gallons": words.us_gallons(weighed.litres),
        "kilograms": words.other_weight(weighed.grams),
        "pounds": words.weight(weighed.grams, 1),
        "uncertainty": words.weight(weighed.uncertainty_grams),
        "moisture": plain(there.honey_lot.honey_moisture, 2),
        "temperature": words.temperature(celsius),
        "book": words.weight(there.quantity, 1),
    }
    return _line(request, text)


def drum(request: HttpRequest) -> HttpResponse:
    """A line for a drum that is filled: gross less tare is net, or what its volume weighs."""
    form = DrumFillForm(request.GET)
    form.is_valid()
    data = form.cleaned_data
    tank, filled, measured = data.get("tank"), data.get("drum"), data.get("drum_measured")
    is_weighed = measured is not None and measured.gross_grams is not None
    # By weight, the tank does not matter; the drum stands for one that is not chosen yet.
    if filled is None or measured is None or (tank is None and not is_weighed):
        return _line(request, "")
    try:
        went_in = drums.poured(tank=tank or filled, drum=filled, measured=measured)
    except HouseError as error:
        return _line(request, error.message)
    net = went_in.grams
    if not is_weighed:
        text = f"= {words.weight(net, 1)}, {words.other_weight(net)}. {went_in.how}"
        return _line(request, text)
    tare = measured.tare_grams
    text = _("= %(net)s net, %(kilograms)s (tare %(tare)s)") % {
        "net": words.weight(net, 1),
        "kilograms": words.other_weight(net),
        "tare": words.weight(filled.tare_grams if tare is None else tare, 1),
    }
    return _line(request, text)


def capacity(request: HttpRequest) -> HttpResponse:
    """A line for a vessel's measurements: what it holds, full to the brim."""
    form = PlaceForm(request.GET)
    form.is_valid()
    try:
        litres = places.capacity_of(form.shape())
    except (HouseError, KeyError):
        return _line(request, "")
    if litres is None:
        return _line(request, "")
    text = _("= %(gallons)s (%(litres)s L) full to the brim") % {
        "gallons": words.us_gallons(litres),
        "litres": litres.quantize(Decimal(1)),
    }
    return _line(request, text)


def _line(request: HttpRequest, text: str) -> HttpResponse:
    return render(request, "inventory/honey/_conversion.html", {"text": text})
