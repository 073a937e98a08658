"""Pages on which honey comes in from somebody else."""

from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.shared import words
from inventory.shared.people import person_of
from inventory.stock.forms.deliveries import PurchaseForm
from inventory.stock.models import Lot, Posting
from inventory.stock.services import ledger, purchases
from inventory.stock.services.honey import HoneyPreview
from inventory.stock.views.acts import HoneyActView


class DeliveryView(HoneyActView):
    """Honey that comes in and becomes a lot, whose page is next."""

    _key: str

    def next_url(self, made: Lot) -> str:
        return reverse("inventory:lot_detail", args=[made.code])

    def posting_to_undo(self, made: Lot) -> Posting | None:
        return ledger.find(self._key)


class PurchaseView(DeliveryView):
    form_class = PurchaseForm
    template_name = "inventory/honey/purchase.html"
    filled_by_address = ("supplier", "place_1")

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return purchases.preview(**self._arguments(data))

    def act(self, data: dict[str, Any]) -> Lot:
        self._key = data["key"]
        return purchases.receive(
            **self._arguments(data), recorded_by=person_of(self.request), key=data["key"]
        )

    @staticmethod
    def _arguments(data: dict[str, Any]) -> dict[str, Any]:
        return {
            "supplier": data["supplier"],
            "vessels": data["vessels"],
            "cost_cents": data["cost"],
            "price_per_pound": data["price_per_pound"],
            **PurchaseForm.facts(data),
        }

    def done_message(self, made: Lot) -> str:
        return _("Lot %(lot)s received: %(weight)s of %(source)s from %(supplier)s.") % {
            "lot": made.code,
            "weight": words.weight(made.quantity_made, 1),
            "source": made.floral_source,
            "supplier": made.supplier,
        }
