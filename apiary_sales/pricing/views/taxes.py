"""The pages that set what a product is taxed as, and how each kind of goods is taxed."""

from typing import Any

from django.db.models import Model, QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from apiary_sales.pricing.forms.taxes import USUAL, WORDS, GoodsCategoryForm, ProductTaxForm
from apiary_sales.pricing.models import GoodsCategory, ProductTax
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.services import taxes
from inventory.bottling.models import Product
from inventory.shared.views import ActView


class ProductTaxSetView(ActView):
    permission_required = "pricing.manage_prices"
    form_class = ProductTaxForm
    template_name = "pricing/product_tax.html"

    @cached_property
    def product(self) -> Product:
        return get_object_or_404(Product, code=self.kwargs["code"])

    def edited(self) -> Model:
        return self.product

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [ProductTax.objects.filter(product=self.product)]

    def get_initial(self) -> dict[str, Any]:
        row = ProductTax.objects.filter(product=self.product).first()
        return {"taxed_as": row.taxed_as if row else USUAL}

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"product": self.product}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(product=self.product, **kwargs)

    def act(self, data: dict[str, Any]) -> ProductTax | None:
        return taxes.set_class(product=self.product, taxed_as=data["taxed_as"])

    def done_message(self, made: ProductTax | None) -> str:
        own = {self.product.pk: made} if made else {}
        return _("%(product)s is taxed as %(goods)s.") % {
            "product": self.product.name,
            "goods": WORDS[tax.class_of(self.product, own)],
        }

    def next_url(self, made: ProductTax | None) -> str:
        return reverse("pricing:product_prices", args=[self.product.code])


class GoodsCategorySetView(ActView):
    """Say how one kind of goods is taxed."""

    permission_required = "pricing.manage_prices"
    form_class = GoodsCategoryForm
    template_name = "pricing/tax_category_set.html"

    def act(self, data: dict[str, Any]) -> GoodsCategory:
        return taxes.set_category(**data)

    def done_message(self, made: GoodsCategory) -> str:
        return _("From %(day)s on: %(goods)s, %(category)s.") % {
            "day": date_format(made.valid_from),
            "goods": made.get_goods_display(),
            "category": made.get_category_display(),
        }

    def next_url(self, made: GoodsCategory) -> str:
        return reverse("pricing:tax_rates")
