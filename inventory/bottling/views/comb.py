"""Pages of comb honey: received from the hives, and cut; and creamed honey that is ready early."""

from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from inventory.bottling.forms_of_honey import (
    CombCutForm,
    CombReceiveForm,
    ReadyNowForm,
    comb_products,
    stores,
)
from inventory.bottling.models import CombCut
from inventory.bottling.queries import additions
from inventory.bottling.services import comb, setting
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Lot


class CombReceiveView(ActView):
    permission_required = "inventory.move_honey"
    form_class = CombReceiveForm
    template_name = "inventory/bottling/comb_receive.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            has_products=comb_products().exists(), has_places=stores().exists(), **kwargs
        )

    def act(self, data: dict[str, Any]) -> Lot:
        del data["pieces"], data["weight"]
        return comb.receive(
            cost_cents=data.pop("cost"), recorded_by=person_of(self.request), **data
        )

    def done_message(self, made: Lot) -> str:
        return _("Received %(much)s of %(product)s: lot %(lot)s.") % {
            "much": made.product.item.in_words(made.quantity_made) if made.product else "",
            "product": made.product,
            "lot": made.code,
        }

    def posting_to_undo(self, made: Lot):
        line = made.lines.select_related("posting").first()
        return line.posting if line else None

    def next_url(self, made: Lot) -> str:
        return reverse("inventory:lot_detail", args=[made.code, made.what])

    def repeat_url(self, made: Any) -> str:
        return reverse("inventory:bottling")


class CombCutView(ActView):
    permission_required = "inventory.run_bottling"
    form_class = CombCutForm
    template_name = "inventory/bottling/comb_cut.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            has_bulk_products=comb_products().filter(item__is_weighed=True).exists(),
            has_comb=additions.comb_in_stock(to_cut=True).exists(),
            has_products=comb_products().filter(item__is_weighed=False).exists(),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> CombCut:
        return comb.cut(
            loss_grams=data.pop("loss") or 0,
            drained_grams=data.pop("drained") or 0,
            moisture_percent=data.pop("moisture"),
            recorded_by=person_of(self.request),
            **data,
        )

    def done_message(self, made: CombCut) -> str:
        lot = made.packed_lot
        return _("Cut %(much)s of %(product)s: lot %(lot)s.") % {
            "much": lot.product.item.in_words(lot.quantity_made) if lot.product else "",
            "product": lot.product,
            "lot": lot.code,
        }

    def posting_to_undo(self, made: CombCut):
        return made.posting

    def next_url(self, made: CombCut) -> str:
        return reverse("inventory:lot_detail", args=[made.packed_lot.code, made.packed_lot.what])

    def repeat_url(self, made: CombCut) -> str:
        return self.next_url(made)


class ReadyNowView(ActView):
    permission_required = "inventory.run_bottling"
    form_class = ReadyNowForm
    template_name = "inventory/bottling/ready_now.html"

    @cached_property
    def lot(self) -> Lot:
        packed = Lot.objects.filter(kind=Lot.Kind.PACKED).select_related("product__item", "run")
        return get_object_or_404(packed.bearing(self.kwargs["code"], self.kwargs["product"]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(lot=self.lot, **kwargs)

    def act(self, data: dict[str, Any]) -> Lot:
        return setting.ready_now(lot=self.lot, said_by=person_of(self.request))

    def done_message(self, made: Lot) -> str:
        return _("Lot %(code)s is ready and can be sold.") % {"code": made.code}

    def next_url(self, made: Lot) -> str:
        return reverse("inventory:lot_detail", args=[made.code, made.what])
