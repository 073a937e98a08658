"""What honey there is, at a glance, and lot by lot."""

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from inventory.physics.grading import COLOUR_CLASSES
from inventory.stock.forms import lots as forms
from inventory.stock.models import Lot
from inventory.stock.queries import honey as queries
from inventory.stock.queries import measurements

LOTS_A_PAGE = 50


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
    }
    return [
        {
            "state": state,
            "label": label,
            "count": sum(state in ("", drum.state) for drum in drums),
            "is_shown": state == shown,
        }
        for state, label in words.items()
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
    lots = queries.lots(
        season=wanted.get("season"),
        words=wanted.get("words", ""),
        in_hand_only=wanted.get("in_hand", False),
    )
    page = Paginator(lots, LOTS_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "inventory/honey/lot_list.html",
        {"form": form, "page": page, "is_filtered": any(wanted.values())},
    )


def lot_detail(request: HttpRequest, code: str, product: str = "") -> HttpResponse:
    """Show the one lot with this code, or all the lots that bear it."""
    lots = Lot.objects.bearing(code, product).select_related(
        "product__size", "product__item", "run"
    )
    found = list(lots.order_by("product__size__brimful_ml", "id"))
    if not found:
        raise Http404
    if len(found) > 1:
        return render(request, "inventory/honey/lots_of_code.html", {"code": code, "lots": found})
    lot = found[0]
    if lot.kind == Lot.Kind.GOODS:
        return render(
            request,
            "inventory/stock/goods_lot.html",
            {"story": queries.lot_story(lot), "made_of": queries.made_of(lot)},
        )
    context = {
        "story": queries.lot_story(lot),
        "figures": None if lot.product else measurements.of_lot(lot),
    }
    return render(request, "inventory/honey/lot_detail.html", context)
