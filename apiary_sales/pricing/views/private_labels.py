"""Pages that say whose private label a brand is."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from apiary_sales.pricing.forms.private_labels import PrivateLabelForm
from apiary_sales.pricing.models import PrivateLabel
from apiary_sales.pricing.queries import private_labels as read
from apiary_sales.pricing.services import private_labels
from inventory.bottling.models import Brand
from inventory.shared.views import ActView


@permission_required("pricing.manage_prices", raise_exception=True)
def private_label_list(request: HttpRequest) -> HttpResponse:
    return render(request, "pricing/private_labels.html", {"brands": read.brands()})


class PrivateLabelSetView(ActView):
    """Sell a brand to one customer alone, or to everybody."""

    permission_required = "pricing.manage_prices"
    form_class = PrivateLabelForm
    template_name = "pricing/private_label_set.html"

    def prepare(self) -> None:
        found = Brand.objects.select_related("private_label")
        self.brand = get_object_or_404(found, pk=self.kwargs["pk"])

    def edited(self) -> Model:
        return self.brand

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [PrivateLabel.objects.filter(brand=self.brand)]

    def get_initial(self) -> dict[str, Any]:
        label = getattr(self.brand, "private_label", None)
        return {"customer": label.customer_id if label else None}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(brand=self.brand, **kwargs)

    def act(self, data: dict[str, Any]) -> PrivateLabel | None:
        return private_labels.set_customer(brand=self.brand, customer=data["customer"])

    def done_message(self, made: PrivateLabel | None) -> str:
        if made is None:
            return _("%(brand)s is sold to everybody.") % {"brand": self.brand.name}
        return _("%(brand)s is sold only to %(customer)s.") % {
            "brand": self.brand.name,
            "customer": made.customer.name,
        }

    def next_url(self, made: PrivateLabel | None) -> str:
        return reverse("pricing:private_labels")
