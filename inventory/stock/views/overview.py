"""What honey there is, at a glance, and lot by lot."""

from collections.abc import Sequence
from typing import Any

from django.core.paginator import Paginator
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import conventions
from inventory.shared.paging import page_of
from inventory.shared.people import person_of, sees_costs
from inventory.shared.views import ActView
from inventory.stock import rules, seen
from inventory.stock.forms import lots as forms
from inventory.stock.models import Lot
from inventory.stock.origin import by_country, label_lines
from inventory.stock.queries import corrections, holds, measurements, shortages, warmings
from inventory.stock.queries import honey as queries
from inventory.stock.queries.flow import Harvest
from inventory.stock.queries.honey import LotStory
from inventory.stock.services import lots
from inventory.stock.views.flow import flow_url

LOTS_A_PAGE = 50
# Of the lots that a lot was made of, and of those it went into, its page shows so many at first.
LOTS_SHOWN = 20


def overview(request: HttpRequest) -> HttpResponse:
    in_hand = queries.in_hand()
    shown = request.GET.get("drums", "")
    shown = shown if shown in queries.DRUM_STATES else ""
    return render(
        request,
        "inventory/honey/overview.html",
        {
            "in_hand": in_hand,
            "drum_filters": _drum_filters(in_hand.drums, shown),
            "drums": _by_colour([drum for drum in in_hand.drums if shown in ("", drum.state)]),
            "shown": shown,
        },
    )


def _drum_filters(drums: list[queries.VesselContents], shown: str) -> list[dict]:
    words = {
        "": _("All drums"),
        "full": _("Full, free"),
        "reserved": _("Reserved drums"),
        "empty": _("Empty drums"),
        "others": _("Of other beekeepers"),
    }
    return [
        {
            "state": state,
            "label": label,
            "count": sum(state in ("", drum.state) for drum in drums),
            "is_shown": state == shown,
        }
        for state, label in words.items()
        # Most houses have none of others, and no use for a tab that is always empty.
        if state != "others" or any(drum.owner for drum in drums)
    ]


def _by_colour(drums: list[queries.VesselContents]) -> list[queries.VesselContents]:
    """Order drums from water white to dark amber, then those of unknown colour, then the empty."""
    ranks = {colour: rank for rank, colour in enumerate(COLOUR_CLASSES)}

    def rank(drum: queries.VesselContents) -> tuple:
        if drum.lot is None:
            return (len(ranks) + 1, drum.place.code)
        return (ranks.get(drum.lot.colour_class or "", len(ranks)), drum.place.code)

    return sorted(drums, key=rank)


def lot_list(request: HttpRequest) -> HttpResponse:
    form = forms.LotFilterForm(request.GET)
    wanted = form.cleaned_data if form.is_valid() else {}
    found = queries.lots(
        season=wanted.get("season"),
        words=wanted.get("words", ""),
        in_hand_only=wanted.get("in_hand", False),
    )
    page = Paginator(found, LOTS_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "inventory/honey/lot_list.html",
        {"form": form, "page": page, "is_filtered": any(wanted.values())},
    )


def lot_detail(request: HttpRequest, code: str, product: str = "") -> HttpResponse:
    """Show the one lot with this code, or all the lots that bear it."""
    known = queries.with_whether_undone(Lot.objects.bearing(code, product)).select_related(
        "product__item", "product__size", "run", "supplier", "owner"
    )
    found = list(known.order_by("product__size__brimful_ml", "id"))
    if not found:
        raise Http404
    if len(found) > 1:
        return render(request, "inventory/honey/lots_of_code.html", {"code": code, "lots": found})
    lot, house = found[0], conventions.house()
    story = seen.story(person_of(request), queries.lot_story(lot))
    if lot.kind == Lot.Kind.GOODS:
        return render(
            request,
            "inventory/stock/goods_lot.html",
            {
                "story": story,
                "made_of": queries.made_of(lot),
                **_put_right(lot),
                **_lists(request, story),
                "warmth": warmings.of_lot(lot),
            },
        )
    countries = by_country(story.made_from, house)
    came_in = rules.has_own_origin(lot) or (lot.is_from_the_hive and not story.origins)
    context = {
        "story": story,
        "flow_url": flow_url(Harvest(lot=lot)) if came_in and not story.is_undone else "",
        "sees_costs": sees_costs(request),
        "figures": None if lot.product else measurements.of_lot(lot),
        "warmth": warmings.of_lot(lot, family=story.sources),
        "hold_events": holds.events(holds.of_lots([lot.pk])),
        "countries": countries,
        "origin_lines": label_lines(countries, house),
        "has_own_origin": rules.has_own_origin(lot),
        **_put_right(lot),
        **_lists(request, story),
        "has_a_cost": lot.kind in (Lot.Kind.EXTRACTION, Lot.Kind.BOUGHT) and lot.is_ours,
    }
    return render(request, "inventory/honey/lot_detail.html", context)


def _lists(request: HttpRequest, story: LotStory) -> dict[str, Any]:
    """Return the first lots it was made of and went into; all of a list where it is asked for.

    The address asks for one of them, `?show=origins` or `?show=became`, which is then in pages.
    """
    lists: dict[str, Sequence[Any]] = {"origins": story.origins, "became": story.became}
    show = request.GET.get("show", "")
    page = page_of(request, lists[show]) if show in lists else None
    return {
        "rows": {
            name: page if page and name == show else each[:LOTS_SHOWN]
            for name, each in lists.items()
        },
        "long_lists": [name for name, each in lists.items() if len(each) > LOTS_SHOWN],
        "show": show,
        "page": page,
    }


def _put_right(lot: Lot) -> dict[str, Any]:
    """Return what is to be settled of a lot, and what was corrected of it."""
    return {"shortages": shortages.of_lot(lot), "corrections": corrections.of_lot(lot)}


class LotOriginView(ActView):
    """Set where the honey of a lot that came in was harvested."""

    permission_required = "inventory.move_honey"
    form_class = forms.LotOriginForm
    template_name = "inventory/honey/lot_origin.html"

    def prepare(self) -> None:
        self.lot = get_object_or_404(Lot.objects.bearing(self.kwargs["code"], Lot.BULK))

    def edited(self) -> Model:
        return self.lot

    def get_initial(self) -> dict[str, Any]:
        return {"country": self.lot.country, "region": self.lot.region}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(lot=self.lot, **kwargs)

    def act(self, data: dict[str, Any]) -> Lot:
        return lots.set_origin(lot=self.lot, country=data["country"], region=data["region"])

    def done_message(self, made: Lot) -> str:
        return _("The origin of lot %(lot)s is saved.") % {"lot": made.code}

    def next_url(self, made: Lot) -> str:
        return reverse("inventory:lot_detail", args=[made.code])
