"""Measurements of a lot: added, removed, and printed as its certificate."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.shared import documents
from inventory.shared.forms.acts import ActForm
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock import papers
from inventory.stock.forms.measurements import MeasurementForm
from inventory.stock.models import Lot, Measurement
from inventory.stock.services import measurements


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
