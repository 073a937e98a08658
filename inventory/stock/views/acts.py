"""The acts with bulk honey; each shows what will change before it is posted."""

from dataclasses import asdict
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.vary import vary_on_headers

from inventory.shared import words
from inventory.shared.errors import HouseError
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock import own_places
from inventory.stock.forms import honey as forms
from inventory.stock.forms.fields import VesselField
from inventory.stock.forms.receipt import ReceiveForm
from inventory.stock.models import Balance, Lot, Place, Posting
from inventory.stock.queries import honey as queries
from inventory.stock.services import drums, honey, ledger
from inventory.stock.services.honey import HoneyPreview


@method_decorator(vary_on_headers("HX-Request"), name="dispatch")
class HoneyActView(ActView):
    """An act with honey. `preview` says what it would change, from the same checked figures.

    The change is shown while the form is filled in (htmx asks for it with GET), or on the button
    *Show what will change* where there is no script; neither records anything.
    """

    permission_required: str | tuple[str, ...] = "inventory.move_honey"
    # Which fields an address may fill in: /honey/transfer/?source=tank-1
    filled_by_address: tuple[str, ...] = ()

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        raise NotImplementedError

    def get_initial(self) -> dict[str, Any]:
        given = {
            name: self.request.GET[name]
            for name in self.filled_by_address
            if name in self.request.GET
        }
        return super().get_initial() | given

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        return context | {"missing": _missing(context["form"])}

    def get(self, request, *args, **kwargs) -> HttpResponse:
        if request.htmx and "key" in request.GET:
            form = self.get_form_class()(**{**self.get_form_kwargs(), "data": request.GET})
            return render(request, "inventory/honey/_preview.html", self._previewed(form))
        return super().get(request, *args, **kwargs)

    def post(self, request, *args, **kwargs) -> HttpResponse:
        if "preview" in request.POST:
            form = self.get_form()
            previewed = self._previewed(form)
            return self.render_to_response(self.get_context_data(form=form, **previewed))
        return super().post(request, *args, **kwargs)

    def _previewed(self, form) -> dict[str, Any]:
        """Return the change a form means, or what is in its way once nothing is missing."""
        if not form.is_valid():
            return {}
        try:
            preview = self.preview(dict(form.cleaned_data))
        except HouseError as error:
            return {"problems": error.problems}
        return {"preview": preview, "measured": form.cleaned_data.get("measured")}

    def posting_to_undo(self, made: Any) -> Posting | None:
        return made

    def next_url_of_repeat(self, made: Any) -> str:
        return self.repeat_url(self.posting_to_undo(made))

    def repeat_url(self, made: Any) -> str:
        if isinstance(made, Posting):
            return reverse("inventory:posting_detail", args=[made.pk])
        return reverse("inventory:honey")


def _missing(form: forms.HoneyForm) -> str:
    """Return what the house has none of and the act needs: "vessel", "honey", "others", or nothing.

    "others" is honey of other beekeepers.
    """
    fields = [field for field in form.fields.values() if isinstance(field, VesselField)]
    # Of fields that ask for the same, one tells of all.
    asked = {(field.filled, field.of_others): field for field in fields}
    for _asked, field in sorted(asked.items()):
        if field.queryset is None or not field.queryset.exists():
            if field.of_others:
                return "others"
            return "honey" if field.filled else "vessel"
    return ""


def place_url(place: Place) -> str:
    return reverse("inventory:place_detail", args=[place.code])


class ReceiptView(HoneyActView):
    form_class = ReceiveForm
    template_name = "inventory/honey/receive.html"
    filled_by_address = ("place", "measured_by")

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        lot = Lot(
            kind=Lot.Kind.EXTRACTION,
            season=data["season"],
            floral_source=data["floral_source"],
            yard=data["yard"],
            moisture_percent=data["moisture_known"],
            colour_mm=data["colour_mm"],
            made_on=data["extracted_on"],
            quantity_made=data["measured"].grams,
            cost_cents=data["cost"],
        )
        return honey.preview_receipt(place=data["place"], lot=lot)

    def act(self, data: dict[str, Any]) -> Lot:
        self._key = data["key"]
        note = " ".join(part for part in (data["note"], str(data["measured"].how)) if part)
        return honey.receive(
            place=data["place"],
            grams=data["measured"].grams,
            season=data["season"],
            floral_source=data["floral_source"],
            yard=data["yard"],
            extracted_on=data["extracted_on"],
            moisture_percent=data["moisture"],
            refractive_index=data["refractive_index"],
            refractometer_celsius=data["refractometer_celsius"],
            colour_mm=data["colour_mm"],
            moisture_method=data["moisture_method"],
            colour_method=data["colour_method"],
            cost_cents=data["cost"],
            note=note,
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Lot) -> str:
        return _("Lot %(lot)s received: %(weight)s of %(source)s.") % {
            "lot": made.code,
            "weight": words.weight(made.quantity_made, 1),
            "source": made.floral_source,
        }

    def next_url(self, made: Lot) -> str:
        return reverse("inventory:lot_detail", args=[made.code])

    def posting_to_undo(self, made: Any) -> Posting | None:
        return ledger.find(self._key)


class HoneyMoveView(HoneyActView):
    """An act that moves honey into one vessel; `act` keeps it as `_target`."""

    _target: Place

    def done_message(self, made: Posting) -> str:
        """Say how much went where: "652 lb from Tank 1 into Drum D-014." """
        row = queries.PostingRow.of(queries.postings().get(pk=made.pk))
        movement = row.movements[0]
        return _("%(weight)s from %(sources)s into %(target)s.") % {
            "weight": words.weight(movement.quantity, 1),
            "sources": ", ".join(source.name for source in movement.sources),
            "target": self._target.name,
        }

    def next_url(self, made: Posting) -> str:
        return place_url(self._target)


class HoneyTransferView(HoneyMoveView):
    form_class = forms.TransferForm
    template_name = "inventory/honey/transfer.html"
    filled_by_address = ("source", "target")

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return honey.preview_transfer(
            source=data["source"],
            target=data["target"],
            grams=data["weight"],
            poured_on=data["poured_on"],
        )

    def act(self, data: dict[str, Any]) -> Posting:
        self._target = data["target"]
        return honey.transfer(
            source=data["source"],
            target=data["target"],
            grams=data["weight"],
            poured_on=data["poured_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )


class DrainView(HoneyMoveView):
    form_class = forms.DrainForm
    template_name = "inventory/honey/drain.html"
    filled_by_address = ("source", "target")

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return honey.preview_transfer(
            source=data["source"],
            target=data["target"],
            grams=None,
            poured_on=data["drained_on"],
        )

    def act(self, data: dict[str, Any]) -> Posting:
        self._target = data["target"]
        return drums.drain(
            drum=data["source"],
            target=data["target"],
            drained_on=data["drained_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )


class BlendView(HoneyMoveView):
    form_class = forms.BlendForm
    template_name = "inventory/honey/blend.html"
    filled_by_address = ("target", "source_1", "source_2")

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return honey.preview_blend(
            sources=data["sources"], target=data["target"], poured_on=data["poured_on"]
        )

    def act(self, data: dict[str, Any]) -> Posting:
        self._target = data["target"]
        return honey.blend(
            sources=data["sources"],
            target=data["target"],
            poured_on=data["poured_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def next_url(self, made: Posting) -> str:
        there = Balance.objects.in_vessel(self._target)
        if there is None:
            return place_url(self._target)
        return reverse("inventory:lot_detail", args=[there.honey_lot.code])


class DrumFillView(HoneyMoveView):
    form_class = forms.DrumFillForm
    template_name = "inventory/honey/drum_fill.html"
    filled_by_address = ("tank", "drum", "filled_on")

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return drums.preview_fill(
            tank=data["tank"],
            drum=data["drum"],
            measured=data["drum_measured"],
            filled_on=data["filled_on"],
        )

    def act(self, data: dict[str, Any]) -> Posting:
        self._tank, self._target, self._day = data["tank"], data["drum"], data["filled_on"]
        return drums.fill(
            tank=data["tank"],
            drum=data["drum"],
            **asdict(data["drum_measured"]),
            filled_on=data["filled_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def next_url(self, made: Posting) -> str:
        # Drums are filled one after another from the same tank, and written down so later on.
        given = {"tank": self._tank.code}
        if self._day and self._day != timezone.localdate():
            given["filled_on"] = self._day.isoformat()
        return f"{reverse('inventory:drum_fill')}?{urlencode(given)}"


class WeighAgainView(ActView):
    """A drum weighed again; what the scale and the books differ by goes on its own account."""

    permission_required = "inventory.move_honey"
    form_class = forms.WeighAgainForm
    template_name = "inventory/honey/weigh_again.html"

    def prepare(self) -> None:
        self.place = get_object_or_404(Place, code=self.kwargs["code"], kind=Place.Kind.DRUM)

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        vessel = queries.vessel(self.place)
        gross_grams = vessel.grams + (self.place.tare_grams or 0)
        return super().get_context_data(vessel=vessel, gross_grams=gross_grams, **kwargs)

    def act(self, data: dict[str, Any]) -> drums.WeighedAgain:
        return drums.weigh_again(
            drum=self.place,
            gross_grams=data["gross"],
            tare_grams=data["tare"],
            weighed_on=data["weighed_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: drums.WeighedAgain) -> str:
        figures = {
            "drum": made.drum.name,
            "difference": words.weight(abs(made.difference_grams), 1),
        }
        if made.difference_grams == 0:
            return _("%(drum)s weighs what the books say.") % figures
        if made.difference_grams > 0:
            return _("%(drum)s has %(difference)s more than the books said.") % figures
        return _("%(drum)s has %(difference)s less than the books said.") % figures

    def next_url(self, made: drums.WeighedAgain) -> str:
        return place_url(self.place)

    def posting_to_undo(self, made: drums.WeighedAgain) -> Posting | None:
        return made.posting

    def repeat_url(self, made: Any) -> str:
        return place_url(self.place)


class WriteOffView(HoneyActView):
    permission_required = ("inventory.write_off", own_places.USE_EVERY_PLACE)
    form_class = forms.WriteOffForm
    template_name = "inventory/honey/write_off.html"
    filled_by_address = ("place",)

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return honey.preview_write_off(
            place=data["place"], grams=data["weight"], written_off_on=data["written_off_on"]
        )

    def act(self, data: dict[str, Any]) -> Posting:
        self._place = data["place"]
        return honey.write_off(
            place=data["place"],
            grams=data["weight"],
            reason=data["reason"],
            written_off_on=data["written_off_on"],
            may_be_fed=data["may_be_fed"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        grams = sum(line.quantity for line in made.lines.all() if line.quantity > 0)
        return _("%(weight)s from %(place)s written off: %(kind)s.") % {
            "weight": words.weight(grams, 1),
            "place": self._place.name,
            "kind": made.get_kind_display(),
        }

    def next_url(self, made: Posting) -> str:
        return place_url(self._place)
