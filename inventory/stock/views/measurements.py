"""What was measured of a lot or in a vessel: added, removed, and printed as its certificate."""

from typing import Any

from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.shared import documents, words
from inventory.shared.forms.acts import ActForm
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock import papers
from inventory.stock.forms.measurements import MeasureAgainForm, MeasurementForm, NameBlendForm
from inventory.stock.models import Lot, Measurement, Place
from inventory.stock.queries import honey as queries
from inventory.stock.services import lots, measurements
from inventory.stock.services.measurements import MeasuredAgain


def honey_lot(code: str) -> Lot:
    """Return a lot of honey, not a packed one."""
    return get_object_or_404(Lot.objects.bearing(code, Lot.BULK))


def lot_url(lot: Lot) -> str:
    return reverse("inventory:lot_detail", args=[lot.code])


class MeasurementAddView(ActView):
    permission_required = "inventory.move_honey"
    form_class = MeasurementForm
    template_name = "inventory/honey/measurement_add.html"

    def prepare(self) -> None:
        self.lot = honey_lot(self.kwargs["code"])
        self.page_url = lot_url(self.lot)

    def get_initial(self) -> dict[str, Any]:
        return {"measured_by": person_of(self.request).display_name}

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "lot": self.lot}

    def act(self, data: dict[str, Any]) -> Measurement:
        return measurements.record(lot=self.lot, **data, recorded_by=person_of(self.request))

    def done_message(self, made: Measurement) -> str:
        return _("Recorded for lot %(lot)s: %(measurement)s.") % {
            "measurement": made,
            "lot": self.lot.code,
        }

    def next_url(self, made: Measurement) -> str:
        return self.page_url

    def repeat_url(self, made: Any) -> str:
        return self.page_url


class MeasureAgainView(ActView):
    """The honey in a vessel measured again."""

    permission_required = "inventory.move_honey"
    form_class = MeasureAgainForm
    template_name = "inventory/honey/measure_again.html"

    def prepare(self) -> None:
        self.place = get_object_or_404(
            Place, code=self.kwargs["code"], kind__in=Place.VESSELS, is_active=True
        )

    def get_initial(self) -> dict[str, Any]:
        return {"measured_by": person_of(self.request).display_name}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        vessel = queries.vessel(self.place)
        elsewhere = queries.places_of(vessel.lot, but=self.place) if vessel.lot else []
        return super().get_context_data(vessel=vessel, elsewhere=elsewhere, **kwargs)

    def act(self, data: dict[str, Any]) -> MeasuredAgain:
        return measurements.measure_again(
            place=self.place,
            moisture_percent=data.pop("moisture"),
            **data,
            recorded_by=person_of(self.request),
        )

    def done_message(self, made: MeasuredAgain) -> str:
        told = [str(each) for each in made.figures]
        if made.temperature:
            told.append(words.temperature(made.temperature.celsius))
        return _("Measured in %(place)s: %(figures)s.") % {
            "place": made.place.name,
            "figures": ", ".join(told),
        }

    def next_url(self, made: MeasuredAgain) -> str:
        return self.repeat_url(made.place)

    def repeat_url(self, made: Place) -> str:
        return reverse("inventory:place_detail", args=[made.code])


class NameBlendView(ActView):
    """What a blend is called, instead of by its sources."""

    permission_required = "inventory.move_honey"
    form_class = NameBlendForm
    template_name = "inventory/honey/name_blend.html"

    def prepare(self) -> None:
        blends = Lot.objects.filter(kind=Lot.Kind.BLEND)
        self.lot = get_object_or_404(blends.bearing(self.kwargs["code"], Lot.BULK))
        self.page_url = lot_url(self.lot)

    def edited(self) -> Model:
        return self.lot

    def get_initial(self) -> dict[str, Any]:
        return {"floral_source": self.lot.floral_source}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(sources=queries.source_shares(self.lot), **kwargs)

    def act(self, data: dict[str, Any]) -> Lot:
        return lots.name_blend(
            lot=self.lot, floral_source=data["floral_source"], named_by=person_of(self.request)
        )

    def done_message(self, made: Lot) -> str:
        return _("Lot %(lot)s is now called %(name)s.") % {
            "lot": made.code,
            "name": made.floral_source,
        }

    def next_url(self, made: Lot) -> str:
        return self.page_url


class MeasurementRemoveView(ActView):
    permission_required = "inventory.move_honey"
    form_class = ActForm
    template_name = "inventory/honey/measurement_remove.html"

    def prepare(self) -> None:
        found = Measurement.objects.select_related("lot")
        self.measurement = get_object_or_404(found, pk=self.kwargs["pk"])
        self.page_url = lot_url(self.measurement.lot)

    def act(self, data: dict[str, Any]) -> Measurement:
        return measurements.remove(measurement=self.measurement, removed_by=person_of(self.request))

    def done_message(self, made: Measurement) -> str:
        return _("The measurement is removed.")

    def next_url(self, made: Measurement) -> str:
        return self.page_url


@require_safe
def certificate(request: HttpRequest, code: str) -> HttpResponse:
    lot = honey_lot(code)
    return documents.serve(
        request,
        name=f"lot-{lot.code}.pdf",
        template_name=papers.CERTIFICATE,
        context=papers.certificate_context(lot),
    )
