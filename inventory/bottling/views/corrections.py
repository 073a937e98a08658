"""Pages that put right what was recorded: a run, and honey, parts and goods that came in."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.bottling.forms_corrections import (
    CorrectionForm,
    GoodsReceiptCorrectForm,
    HoneyReceiptCorrectForm,
    PartReceiptCorrectForm,
    RunCorrectForm,
)
from inventory.bottling.models import BottlingRun, GoodsReceipt, PackagingPart, PartReceipt
from inventory.bottling.queries import parts as part_queries
from inventory.bottling.services import (
    costs,
    delivery_corrections,
    receipt_corrections,
    run_corrections,
)
from inventory.bottling.views.goods import MANAGE_GOODS
from inventory.bottling.views.parts import MANAGE_PARTS
from inventory.bottling.views.runs import RunView
from inventory.shared.errors import NotAllowedNow
from inventory.shared.people import person_of, sees_costs
from inventory.shared.views import ActView
from inventory.stock.models import Item, Lot, Place


class CorrectView(ActView):
    """Correct something; what changes is shown while it is typed, and nothing is saved by that."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "preview" not in request.POST:
            return super().post(request, *args, **kwargs)
        form = self.get_form()
        if request.headers.get("HX-Request"):
            context = {"changes": _changes(form)}
            return render(request, "inventory/bottling/_changes.html", context)
        return self.render_to_response(self.get_context_data(form=form))

    def form_valid(self, form: Any) -> HttpResponse:
        self.told = form.told()
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> Any:
        return self.correct(
            recorded_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
            **self.told,
        )

    def correct(self, **told: Any) -> Any:
        """Call the service with what is changed."""
        raise NotImplementedError

    def repeat_url(self, made: Any) -> str:
        return self.next_url(made)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        form = context["form"]
        return context | {
            "changes": _changes(form) if form.is_bound else [],
            "back_url": self.next_url(None),
        }


def _changes(form: CorrectionForm) -> list[Any]:
    form.is_valid()
    return form.changes()


class RunCorrectView(CorrectView, RunView):
    form_class = RunCorrectForm
    template_name = "inventory/bottling/run_correct.html"

    def get_form_kwargs(self) -> dict[str, Any]:
        used: dict[PackagingPart, int] = {use.part: 0 for use in self.run.product.uses()}
        for line in part_queries.uses_of(self.run):
            part = line.item.part
            used[part] = line.quantity
        return super().get_form_kwargs() | {"run": self.run, "parts": used}

    def correct(self, **told: Any) -> BottlingRun:
        return run_corrections.correct(run=self.run, **told)

    def done_message(self, made: BottlingRun) -> str:
        return _("Run %(number)s is corrected. What it was before stays readable below.") % {
            "number": made.number
        }


class HoneyReceiptCorrectView(CorrectView):
    """Correct honey that came in: an extraction, a purchase, or another beekeeper's honey."""

    permission_required = "inventory.move_honey"
    form_class = HoneyReceiptCorrectForm
    template_name = "inventory/bottling/honey_receipt_correct.html"

    def prepare(self) -> None:
        self.lot = get_object_or_404(Lot.objects.bearing(self.kwargs["code"], Lot.BULK))
        self.refusal = ""
        self.nets: dict[Place, int] = {}
        try:
            posting = receipt_corrections.receipt_of(self.lot)
        except NotAllowedNow as error:
            self.refusal = error.message
        else:
            self.nets = receipt_corrections.grams_by_vessel(posting)

    def get_form_kwargs(self) -> dict[str, Any]:
        has_cost = (
            sees_costs(self.request) and self.lot.is_ours and self.lot.kind in costs.HAVE_A_COST
        )
        return super().get_form_kwargs() | {
            "lot": self.lot,
            "nets": self.nets,
            "has_cost": has_cost,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(lot=self.lot, refusal=self.refusal, **kwargs)

    def correct(self, **told: Any) -> Lot:
        return receipt_corrections.correct(lot=self.lot, **told)

    def done_message(self, made: Lot) -> str:
        return _("Lot %(lot)s is corrected, and what was made of it follows.") % {"lot": made.code}

    def next_url(self, made: Any) -> str:
        return reverse("inventory:lot_detail", args=[self.lot.code])


class ReceiptCorrectView(CorrectView):
    """Correct parts or goods that came in."""

    template_name = "inventory/bottling/receipt_correct.html"
    receipt: PartReceipt | GoodsReceipt

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"receipt": self.receipt}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(receipt=self.receipt, **kwargs)


class PartReceiptCorrectView(ReceiptCorrectView):
    permission_required = MANAGE_PARTS
    form_class = PartReceiptCorrectForm

    def prepare(self) -> None:
        found = PartReceipt.objects.select_related("part__item", "place", "supplier")
        self.receipt = self.parts = get_object_or_404(found, pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(part=self.parts.part, what=self.parts.part.name, **kwargs)

    def correct(self, **told: Any) -> PartReceipt:
        return delivery_corrections.correct_parts(receipt=self.parts, **told)

    def done_message(self, made: PartReceipt) -> str:
        return _corrected(made.part.item, made.pieces)

    def next_url(self, made: Any) -> str:
        return reverse("inventory:part_detail", args=[self.parts.part.code])


class GoodsReceiptCorrectView(ReceiptCorrectView):
    permission_required = MANAGE_GOODS
    form_class = GoodsReceiptCorrectForm

    def prepare(self) -> None:
        found = GoodsReceipt.objects.select_related("product__item", "place", "supplier", "lot")
        self.receipt = self.goods = get_object_or_404(found, pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        product = self.goods.product
        return super().get_context_data(product=product, what=product.name, **kwargs)

    def correct(self, **told: Any) -> GoodsReceipt:
        return delivery_corrections.correct_goods(receipt=self.goods, **told)

    def done_message(self, made: GoodsReceipt) -> str:
        return _corrected(made.product.item, made.quantity)

    def next_url(self, made: Any) -> str:
        return reverse("inventory:goods_detail", args=[self.goods.product.code])


def _corrected(item: Item, quantity: int) -> str:
    return _("Corrected: %(much)s of %(item)s came in.") % {
        "much": item.in_words(quantity),
        "item": item.name,
    }
