"""The page that sells by weight at the stand; it works with and without script."""

from typing import Any, cast

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.forms.stand_messages import SELL
from apiary_sales.billing.forms.stand_weight import SellByWeightForm
from apiary_sales.billing.models import StandSale
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.services import stand
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.billing.views.stand_words import sold_text
from apiary_sales.orders.queries.by_weight import offers
from apiary_sales.orders.rules.lines import LineWanted
from inventory.shared.models import House
from inventory.shared.people import person_of
from inventory.shared.views import ShowFirstView
from inventory.stock.models import Place


class SellByWeightView(ShowFirstView):
    """Sell honey or goods by weight into the buyer's own container."""

    permission_required = SELL
    form_class = SellByWeightForm
    template_name = "billing/stand_weight.html"

    def prepare(self) -> None:
        places = list(stand_queries.places(person_of(self.request)))
        self.place = stand_queries.chosen(places, self.request.GET.get("place"))
        self.offers = offers(self.place, timezone.localdate()) if self.place else []

    def get_form_kwargs(self) -> dict[str, Any]:
        user = self.request.user
        return {
            **super().get_form_kwargs(),
            "offers": self.offers,
            "may_set_price": user.has_perm("pricing.manage_prices"),
            "may_name_buyer": user.has_perm("orders.take_orders"),
        }

    def act(self, data: dict[str, Any]) -> StandSale:
        return stand.sell(
            # A valid form has a line, and goods or honey only where there is a place.
            lines=[cast(LineWanted, self.form.line)],
            place=cast(Place, self.place),
            payments=[PaymentMade(data["method"], tendered_cents=data["tendered"])],
            source=StandSale.Source.WEIGHT,
            customer=data.get("customer"),
            sold_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: StandSale) -> str:
        return _("%(sold)s The receipt shows the weights.") % {"sold": sold_text(made)}

    def next_url(self, made: StandSale) -> str:
        return reverse("billing:receipt", args=[made.invoice.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        line = context["form"].line
        return {
            **context,
            "place": self.place,
            "offers": self.offers,
            "line": line,
            "total": stand.total_of(line) if line else None,
            "prices_include_tax": House.current().prices_include_tax,
        }
