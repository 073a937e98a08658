"""Pages that show and set what a pound costs: of honey by weight and of goods by weight."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from apiary_sales.pricing.forms.services import WeightPriceForm
from apiary_sales.pricing.models import WeightPrice
from apiary_sales.pricing.permissions import tiers_of
from apiary_sales.pricing.queries import weight_prices as read
from apiary_sales.pricing.services import weight_prices
from apiary_sales.pricing.views.prices import day_asked
from inventory.shared.people import person_of
from inventory.shared.views import ActView


@require_safe
def weight_price_list(request: HttpRequest) -> HttpResponse:
    on = day_asked(request)
    tiers = tiers_of(person_of(request))
    found = WeightPrice.objects.select_related("product", "variety").filter(tier__in=tiers)
    rows = found.order_by("-valid_from", "-id")
    return render(
        request,
        "pricing/weight.html",
        {
            "on": on,
            "today": timezone.localdate(),
            "tiers": tiers,
            "rows": read.table(on, tiers),
            "coming": rows.filter(valid_from__gt=on).order_by("valid_from", "id"),
            "history": rows.filter(valid_from__lte=on),
        },
    )


class WeightPriceSetView(ActView):
    """Set the price of a pound."""

    permission_required = "pricing.manage_prices"
    form_class = WeightPriceForm
    template_name = "pricing/weight_set.html"

    def get_initial(self) -> dict[str, Any]:
        asked = self.request.GET
        return {name: asked[name] for name in ("tier", "what") if name in asked}

    def act(self, data: dict[str, Any]) -> WeightPrice:
        return weight_prices.set_price(
            tier=data["tier"],
            product=self.form.product,
            variety=self.form.variety,
            price_per_pound=data["price_per_pound"],
            valid_from=data["valid_from"],
        )

    def done_message(self, made: WeightPrice) -> str:
        return _("The price by weight of %(what)s is set.") % {"what": made.what}

    def next_url(self, made: WeightPrice) -> str:
        return reverse("pricing:weight_prices")
