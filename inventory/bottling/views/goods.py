"""Pages about other goods: what there is, what came in, and what the house made."""

from typing import Any

from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.bottling.forms_goods import GoodsForm, GoodsMakeForm, GoodsReceiveForm
from inventory.bottling.models import GoodsMade, GoodsReceipt, Product
from inventory.bottling.queries import corrections
from inventory.bottling.queries import goods as goods_queries
from inventory.bottling.services import goods
from inventory.shared import conventions, words
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.forms.amounts import PIECES
from inventory.stock.models import Place, Posting

MANAGE_GOODS = "inventory.manage_goods"
ROWS_SHOWN = 20


def goods_list(request: HttpRequest) -> HttpResponse:
    """All goods with their stock and what they cost."""
    context = {"goods": goods_queries.all_goods()}
    return render(request, "inventory/bottling/goods_list.html", context)


def goods_of(code: str) -> Product:
    return get_object_or_404(Product.objects.of_goods(), code=code)


def goods_detail(request: HttpRequest, code: str) -> HttpResponse:
    """Some goods: where they are, what they cost, what came in and what was made."""
    product = goods_of(code)
    made = goods_queries.made(product)[:ROWS_SHOWN]
    context = {
        "product": product,
        "row": goods_queries.of(product),
        "receipts": goods_queries.receipts(product)[:ROWS_SHOWN],
        "corrections": corrections.of_goods(product),
        "made": [(each, goods_queries.materials_of(each)) for each in made],
    }
    return render(request, "inventory/bottling/goods_detail.html", context)


class GoodsCreateView(ActView):
    permission_required = MANAGE_GOODS
    form_class = GoodsForm
    template_name = "inventory/bottling/goods_form.html"
    product: Product | None = None

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"product": self.product}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(product=self.product, **kwargs)

    def act(self, data: dict[str, Any]) -> Product:
        del data["key"]
        return goods.save(product=self.product, **data)

    def done_message(self, made: Product) -> str:
        return _("Added %(part)s.") % {"part": made.name}

    def next_url(self, made: Product) -> str:
        return reverse("inventory:goods_detail", args=[made.code])


class GoodsEditView(GoodsCreateView):
    def prepare(self) -> None:
        self.product = goods_of(self.kwargs["code"])

    def edited(self) -> Model | None:
        return self.product

    def done_message(self, made: Product) -> str:
        return _("Saved %(part)s.") % {"part": made.name}


class GoodsComeView(ActView):
    """Goods come into the books; the address may say which: ?product=<short name>."""

    permission_required = MANAGE_GOODS

    def get_initial(self) -> dict[str, Any]:
        asked = Product.objects.of_goods().filter(code=self.request.GET.get("product", ""))
        product = asked.first() or Product.objects.in_use().of_goods().first()
        if product is None:
            return {}
        unit = conventions.current().weight_unit if product.item.is_weighed else PIECES
        return {"product": product.pk, "quantity": [None, unit]}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            has_goods=Product.objects.in_use().of_goods().exists(),
            has_places=Place.objects.filter(kind__in=Place.STORES, is_active=True).exists(),
            **kwargs,
        )

    def posting_to_undo(self, made: GoodsReceipt | GoodsMade) -> Posting:
        return made.posting

    def next_url(self, made: GoodsReceipt | GoodsMade) -> str:
        return reverse("inventory:goods_detail", args=[made.product.code])

    def repeat_url(self, made: Any) -> str:
        return reverse("inventory:goods_list")


class GoodsReceiveView(GoodsComeView):
    form_class = GoodsReceiveForm
    template_name = "inventory/bottling/goods_receive.html"

    def act(self, data: dict[str, Any]) -> GoodsReceipt:
        return goods.receive(
            cost_cents=data.pop("cost"), recorded_by=person_of(self.request), **data
        )

    def done_message(self, made: GoodsReceipt) -> str:
        return _("Received %(much)s of %(goods)s for %(cost)s, lot %(lot)s.") % {
            "much": made.product.item.in_words(made.quantity),
            "goods": made.product.name,
            "cost": words.money(made.cost_cents),
            "lot": made.lot.code,
        }


class GoodsMakeView(GoodsComeView):
    form_class = GoodsMakeForm
    template_name = "inventory/bottling/goods_make.html"

    def form_valid(self, form: GoodsMakeForm) -> HttpResponse:
        self.materials = form.materials()
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> GoodsMade:
        return goods.make(materials=self.materials, recorded_by=person_of(self.request), **data)

    def done_message(self, made: GoodsMade) -> str:
        return _("Made %(much)s of %(goods)s, lot %(lot)s.") % {
            "much": made.product.item.in_words(made.quantity),
            "goods": made.product.name,
            "lot": made.lot.code,
        }
