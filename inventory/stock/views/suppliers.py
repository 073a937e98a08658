"""Pages of suppliers: who they are, and the honey that came from them."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.shared.views import ActView
from inventory.stock.forms.suppliers import SupplierFilterForm, SupplierForm
from inventory.stock.models import Supplier
from inventory.stock.queries import owners
from inventory.stock.queries import suppliers as queries
from inventory.stock.services import suppliers

MANAGE = "inventory.manage_suppliers"
SUPPLIERS_A_PAGE = 50
ROWS_SHOWN = 50


@permission_required(MANAGE, raise_exception=True)
def supplier_list(request: HttpRequest) -> HttpResponse:
    form = SupplierFilterForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    found = queries.find(
        words=asked.get("words", ""),
        kind=asked.get("kind", ""),
        include_unused=asked.get("all", False),
    )
    page = Paginator(found, SUPPLIERS_A_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "page": page, "is_filtered": any(asked.values())}
    return render(request, "inventory/suppliers/list.html", context)


@permission_required(MANAGE, raise_exception=True)
def supplier_detail(request: HttpRequest, pk: int) -> HttpResponse:
    supplier = get_object_or_404(Supplier, pk=pk)
    receipts = supplier.part_receipts.filter(posting__reversed_by__reverses=None).select_related(
        "part"
    )
    goods = supplier.goods_receipts.filter(posting__reversed_by__reverses=None)
    context = {
        "supplier": supplier,
        "goods": goods.select_related("product__item", "lot")[:ROWS_SHOWN],
        "here": owners.here(supplier) if supplier.kind == Supplier.Kind.BEEKEEPER else [],
        "bought": queries.bought_from(supplier)[:ROWS_SHOWN],
        "receipts": receipts[:ROWS_SHOWN],
    }
    return render(request, "inventory/suppliers/detail.html", context)


class SupplierAddView(ActView):
    permission_required = MANAGE
    form_class = SupplierForm
    template_name = "inventory/suppliers/form.html"

    def get_initial(self) -> dict[str, Any]:
        kind = self.request.GET.get("kind", "")
        return {"kind": kind} if kind in Supplier.Kind.values else {}

    def act(self, data: dict[str, Any]) -> Supplier:
        del data["key"]
        return suppliers.add(**data)

    def done_message(self, made: Supplier) -> str:
        return _("Added %(name)s.") % {"name": made.name}

    def next_url(self, made: Supplier) -> str:
        return reverse("inventory:supplier_detail", args=[made.pk])


class SupplierEditView(SupplierAddView):
    def prepare(self) -> None:
        self.supplier = get_object_or_404(Supplier, pk=self.kwargs["pk"])

    def edited(self) -> Model:
        return self.supplier

    def get_initial(self) -> dict[str, Any]:
        names = [name for name in SupplierForm.base_fields if name != "key"]
        return {name: getattr(self.supplier, name) for name in names}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(supplier=self.supplier, **kwargs)

    def act(self, data: dict[str, Any]) -> Supplier:
        del data["key"]
        return suppliers.change(self.supplier, **data)

    def done_message(self, made: Supplier) -> str:
        return _("Saved %(name)s.") % {"name": made.name}
