"""Places: each with what is in it, and how tanks, drums and shelves are set up."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from inventory.shared.errors import HouseError
from inventory.shared.forms.fields import as_typed
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock import own_places, seen
from inventory.stock.forms import places as forms
from inventory.stock.forms.fields import (
    as_length,
    as_volume,
    as_weight,
    between_points,
    plain,
)
from inventory.stock.models import Place, TankShape
from inventory.stock.queries import honey as queries
from inventory.stock.services import places

MANAGE_PLACES = "inventory.manage_places"

manages_places = permission_required(MANAGE_PLACES, raise_exception=True)

POSTINGS_ON_PAGE = 10
PLACES_A_PAGE = 50
HOUSE_KINDS = (*Place.VESSELS, *Place.FOR_GOODS)


def place_list(request: HttpRequest) -> HttpResponse:
    form = forms.PlaceFilterForm(request.GET)
    asked = form.asked()
    found = seen.places(person_of(request), queries.places(**asked))
    page = Paginator(found, PLACES_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "inventory/honey/place_list.html",
        {"form": form, "page": page, "is_filtered": bool(asked)},
    )


def place_detail(request: HttpRequest, code: str) -> HttpResponse:
    person = person_of(request)
    place = _place(code, (*HOUSE_KINDS, Place.Kind.RETURNED))
    if not seen.places(person, Place.objects.filter(pk=place.pk)).exists():
        raise Http404
    rows = seen.postings(person, queries.newest_at(place))[:POSTINGS_ON_PAGE]
    context: dict[str, Any] = {
        "place": place,
        "postings": [queries.PostingRow.of(posting) for posting in rows],
    }
    if place.is_vessel:
        vessel = queries.vessel(place)
        context |= {
            "vessel": vessel,
            "gross_grams": vessel.grams + (place.tare_grams or 0),
            "shape": getattr(place, "shape", None),
            "dips": queries.dips(place)[:5],
            "warmth": queries.warmth(place),
        }
        return render(request, "inventory/honey/vessel_detail.html", context)
    context["stock"] = queries.stock_at(place)
    context["may_count"] = own_places.may_book_count(person, place)
    return render(request, "inventory/stock/store_detail.html", context)


@manages_places
def place_create(request: HttpRequest) -> HttpResponse:
    form = forms.NewPlaceForm(request.POST or None, initial=_new_place(request))
    if form.is_valid():
        try:
            made = places.create(
                kind=form.cleaned_data["kind"], code=form.cleaned_data["code"], **form.figures()
            )
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(request, _("%(place)s is set up.") % {"place": made.name})
            return redirect("inventory:place_detail", made.code)
    return _form_page(request, "inventory/honey/place_form.html", form)


def _new_place(request: HttpRequest) -> dict[str, str]:
    return {"kind": request.GET.get("kind", Place.Kind.TANK)}


@manages_places
def drums_create(request: HttpRequest) -> HttpResponse:
    form = forms.DrumsForm(request.POST or None)
    if form.is_valid():
        data = form.cleaned_data
        try:
            made = places.create_drums(
                first_code=data["code"],
                count=data["count"],
                tare_grams=data["tare"],
                capacity_litres=data["capacity"],
            )
        except HouseError as error:
            form.refuse(error)
        else:
            text = ngettext(
                "%(first)s is set up.", "%(count)s drums are set up: %(first)s to %(last)s.",
                len(made),
            )  # fmt: skip
            figures = {"count": len(made), "first": made[0].code, "last": made[-1].code}
            messages.success(request, text % figures)
            return redirect("inventory:places")
    return _form_page(request, "inventory/honey/drums_form.html", form)


class PlaceEditView(ActView):
    permission_required = MANAGE_PLACES
    template_name = "inventory/honey/place_form.html"
    form_class = forms.PlaceForm

    def prepare(self) -> None:
        self.place = _place(self.kwargs["code"])

    def edited(self) -> Place:
        return self.place

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [TankShape.objects.filter(place=self.place)]

    def get_initial(self) -> dict[str, Any]:
        return _as_typed(self.place)

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"has_shape": self.place.is_vessel}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(place=_place(self.place.code), **kwargs)

    def act(self, data: dict[str, Any]) -> Place:
        return places.change(place=self.place, **self.form.figures())

    def done_message(self, made: Place) -> str:
        return _("%(place)s is changed.") % {"place": made.name}

    def next_url(self, made: Place) -> str:
        return reverse("inventory:place_detail", args=[made.code])


@manages_places
@require_POST
def place_use(request: HttpRequest, code: str) -> HttpResponse:
    """Take a place out of use, or back into it."""
    place = _place(code)
    try:
        if place.is_active:
            places.take_out_of_use(place=place)
            text = _("%(place)s is out of use.")
        else:
            places.put_in_use(place=place)
            text = _("%(place)s is in use again.")
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, text % {"place": place.name})
    return redirect("inventory:place_detail", place.code)


def _as_typed(place: Place) -> dict[str, Any]:
    """Return a place as its form shows it; every figure comes back as the same one."""
    typed: dict[str, Any] = {"name": place.name, "note": place.note}
    if place.tare_grams is not None:
        typed["tare"] = as_weight(place.tare_grams)
    shape = getattr(place, "shape", None)
    if shape is None:
        if place.capacity_litres is not None:
            typed["capacity"] = as_volume(place.capacity_litres)
        return typed
    typed |= {"form": shape.form, "end": shape.end}
    if shape.form == TankShape.Form.TABLE:
        points = "\n".join(
            f"{point.depth_mm}{between_points()} {as_typed(plain(point.litres, 3))}"
            for point in shape.points.all()
        )
        return typed | {"points": points, "points_unit": "mm"}
    for name in ("diameter", "length", "cone"):
        if (mm := getattr(shape, f"{name}_mm")) is not None:
            typed[name] = as_length(mm)
    return typed


def _place(code: str, kinds: tuple[str, ...] = HOUSE_KINDS) -> Place:
    found = Place.objects.select_related("shape").filter(kind__in=kinds)
    return get_object_or_404(found, code=code)


def _form_page(request: HttpRequest, template_name: str, form, **context) -> HttpResponse:
    status = 422 if form.errors else 200
    return render(request, template_name, {"form": form, **context}, status=status)
