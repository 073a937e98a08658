"""Dip readings: taken, shown beside the book, and accepted."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.shared import words
from inventory.shared.paging import by_days
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.forms import dips as forms
from inventory.stock.models import DipReading, Place, Posting
from inventory.stock.queries import honey as queries
from inventory.stock.services import dips


def choose(request: HttpRequest) -> HttpResponse:
    """Ask which vessel is dipped; those whose shape is known can be."""
    vessels = [
        vessel
        for vessel in queries.in_hand().vessels
        if vessel.place.kind in (Place.Kind.TANK, Place.Kind.TOTE) or vessel.drawn_as
    ]
    return render(request, "inventory/honey/dip_choose.html", {"vessels": vessels})


class DipView(ActView):
    permission_required = "inventory.move_honey"
    form_class = forms.DipForm
    template_name = "inventory/honey/dip.html"

    def prepare(self) -> None:
        self.place = get_object_or_404(
            Place.objects.select_related("shape"),
            code=self.kwargs["code"],
            kind__in=Place.VESSELS,
        )

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(
            vessel=queries.vessel(self.place),
            has_shape=hasattr(self.place, "shape"),
            dips=queries.dips(self.place)[:5],
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> DipReading:
        return dips.record(
            place=self.place,
            depth_mm=data["depth"],
            celsius=data["celsius"],
            read_on=data["read_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: DipReading) -> str:
        return _("%(place)s dipped at %(depth)s: %(weight)s.") % {
            "place": self.place.name,
            "depth": words.depth(made.depth_mm),
            "weight": words.weight(made.grams, 1),
        }

    def next_url(self, made: DipReading) -> str:
        return reverse("inventory:dip_detail", args=[made.pk])


class DipAcceptView(ActView):
    """A reading beside the book figure; accepting it brings the books to the reading."""

    permission_required = "inventory.adjust_stock"
    form_class = forms.AcceptDipForm
    template_name = "inventory/honey/dip_detail.html"

    def prepare(self) -> None:
        self.reading = get_object_or_404(queries.dips(), pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(**dip_context(self.reading), **kwargs)

    def act(self, data: dict[str, Any]) -> Posting:
        return dips.accept(
            reading=self.reading,
            reason=data["reason"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        return _("The books of %(place)s now match the dip: %(weight)s.") % {
            "place": self.reading.place.name,
            "weight": words.weight(self.reading.grams, 1),
        }

    def next_url(self, made: Posting) -> str:
        return reverse("inventory:place_detail", args=[self.reading.place.code])

    def posting_to_undo(self, made: Posting) -> Posting:
        return made

    def repeat_url(self, made: Posting) -> str:
        return reverse("inventory:posting_detail", args=[made.pk])


def dip_detail(request: HttpRequest, pk: int) -> HttpResponse:
    reading = get_object_or_404(queries.dips(), pk=pk)
    context = dip_context(reading)
    if request.user.has_perm("inventory.adjust_stock"):
        context["form"] = forms.AcceptDipForm()
    return render(request, "inventory/honey/dip_detail.html", context)


def dip_context(reading: DipReading) -> dict[str, Any]:
    return {"reading": reading, "outcome": queries.DipOutcome(reading)}


def dip_list(request: HttpRequest) -> HttpResponse:
    code = request.GET.get("place", "")
    place = Place.objects.filter(code=code).first()
    found: QuerySet = queries.dips(place)
    days = by_days(request, found, "read_at__date")
    context = {"days": days, "page": days.page, "place": place}
    return render(request, "inventory/honey/dip_list.html", context)
