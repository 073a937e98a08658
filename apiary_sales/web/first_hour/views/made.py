"""The last page of the set-up: what was made, and the first run."""

from dataclasses import dataclass
from typing import Any

from django.contrib.auth.decorators import permission_required
from django.db.models import Count, Q, Sum
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from apiary_sales.accounts.models import SetUp, User
from apiary_sales.accounts.services import set_up
from apiary_sales.billing.queries import stock_value
from apiary_sales.billing.services import beginning
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import PiecePrice
from apiary_sales.web.first_hour import steps
from inventory.bottling.models import PackagingPart, Size
from inventory.shared import words
from inventory.stock.models import Balance, Item, Place


@dataclass(frozen=True)
class MadeLine:
    """One kind of thing that was made: how many, with more about it, and where it is."""

    label: str
    much: str
    more: str
    url: str


@permission_required("accounts.manage_people", raise_exception=True)
@require_http_methods(["GET", "HEAD", "POST"])
def made(request: HttpRequest) -> HttpResponse:
    """Show what was made; end the set-up when the person says so."""
    if request.method == "POST":
        set_up.end()
        to_run = "run" in request.POST
        return HttpResponseRedirect(reverse("inventory:run_plan" if to_run else "web:today"))
    row = SetUp.current()
    there, sizes = _in_stock(), Size.objects.count()
    context = {
        "marks": steps.marks(row),
        "lines": _lines(there, sizes),
        "has_honey": bool(there["vessels"]),
        "has_sizes": bool(sizes),
        "has_ended": row.ended_at is not None,
        "number": len(steps.STEPS),
        "count": len(steps.STEPS),
        "back_url": steps.STEPS[-1].url,
    }
    return render(request, "web/set_up/made.html", context)


def _in_stock() -> dict[str, Any]:
    """Return the grams of honey and in how many vessels, the pieces packed and of how many lots."""
    is_honey, is_packed = Q(item__kind=Item.Kind.HONEY), Q(item__kind=Item.Kind.PACKED)
    return Balance.objects.filter(quantity__gt=0, is_physical=True).aggregate(
        grams=Sum("quantity", filter=is_honey),
        vessels=Count("place", distinct=True, filter=is_honey),
        pieces=Sum("quantity", filter=is_packed),
        lots=Count("lot", distinct=True, filter=is_packed),
    )


def _lines(there: dict[str, Any], sizes: int) -> list[MadeLine]:
    kinds = dict(
        Place.objects.filter(is_active=True)
        .order_by()
        .values_list("kind")
        .annotate(count=Count("pk"))
    )
    owed = beginning.opening_invoices().aggregate(cents=Sum("open_cents"), count=Count("pk"))
    worth = stock_value.as_of(timezone.localdate())
    known_cents = sum(each.cents or 0 for each in worth)
    unknown = sum(1 for each in worth if each.cents is None)
    priced = PiecePrice.objects.in_force(timezone.localdate())
    stores = sum(kinds.get(kind, 0) for kind in Place.STORES)
    return [
        MadeLine(
            _("Tanks and drums"),
            words.number(sum(kinds.get(kind, 0) for kind in Place.VESSELS)),
            _("%(tanks)s tanks, %(drums)s drums; shelves, stand and van: %(stores)s")
            % {
                "tanks": kinds.get(Place.Kind.TANK, 0),
                "drums": kinds.get(Place.Kind.DRUM, 0),
                "stores": stores,
            },
            reverse("inventory:places"),
        ),
        MadeLine(
            _("Honey in bulk"),
            words.weight(there["grams"] or 0),
            _("in vessels: %(count)s") % {"count": there["vessels"]},
            reverse("inventory:honey"),
        ),
        MadeLine(
            _("Sizes"),
            words.number(sizes),
            _("with a price: %(count)s") % {"count": len({each.product_id for each in priced})},
            reverse("inventory:size_list"),
        ),
        MadeLine(
            _("Jars in stock"),
            words.number(there["pieces"] or 0),
            _("of lots: %(count)s") % {"count": there["lots"]},
            reverse("orders:stock"),
        ),
        MadeLine(
            _("Jars, lids and labels"),
            words.number(PackagingPart.objects.count()),
            _("kinds"),
            reverse("inventory:part_list"),
        ),
        MadeLine(
            _("Stock is worth"),
            words.money(known_cents),
            _("without what nobody knows the cost of: %(count)s") % {"count": unknown}
            if unknown
            else "",
            reverse("orders:stock"),
        ),
        MadeLine(
            _("Customers"),
            words.number(Customer.objects.count()),
            _("open invoices: %(count)s") % {"count": owed["count"]},
            reverse("customers:list"),
        ),
        MadeLine(
            _("Owed to you"),
            words.money(owed["cents"] or 0),
            "",
            reverse("billing:opening"),
        ),
        MadeLine(
            _("People"), words.number(User.objects.filter(is_active=True).count()), "",
            reverse("accounts:people"),
        ),
    ]  # fmt: skip
