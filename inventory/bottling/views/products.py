"""Pages about products: honeys in their sizes, and the varieties and brands they are sold under."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.db.models import Model
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from inventory.bottling.forms_products import BrandForm, HoneyProductForm, VarietyForm
from inventory.bottling.models import Brand, Product, Size, Variety
from inventory.bottling.queries import products as product_queries
from inventory.bottling.services import products
from inventory.bottling.services.products import PartUse
from inventory.shared.views import ActView

MANAGE_PARTS = "inventory.manage_parts"


@require_safe
def product_list(request: HttpRequest) -> HttpResponse:
    """Every product by size, with its stock and limit."""
    return render(
        request,
        "inventory/bottling/product_list.html",
        {"listed": product_queries.product_list()},
    )


@require_POST
@permission_required(MANAGE_PARTS, raise_exception=True)
def product_switch(request: HttpRequest, code: str) -> HttpResponse:
    """Take a product out of use, or put it back."""
    product = get_object_or_404(Product, code=code)
    if product.is_active:
        products.take_out_of_use(product=product)
        said = _("%(product)s is out of use. Pieces already in stock stay in the books.")
    else:
        products.put_back_in_use(product=product)
        said = _("%(product)s is in use again.")
    messages.success(request, said % {"product": product.name})
    return HttpResponseRedirect(reverse("inventory:product_list"))


class HoneyProductCreateView(ActView):
    """Add a honey in a size."""

    permission_required = MANAGE_PARTS
    form_class = HoneyProductForm
    template_name = "inventory/bottling/product_form.html"
    product: Product | None = None

    def get_initial(self) -> dict[str, Any]:
        size = Size.objects.filter(code=self.request.GET.get("size", "")).first()
        form = self.request.GET.get("form", "")
        initial: dict[str, Any] = {"size": size.pk} if size else {}
        if form in Product.Form.values:
            initial["form"] = form
        return initial

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"product": self.product}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            product=self.product, has_sizes=Size.objects.filter(is_active=True).exists(), **kwargs
        )

    def act(self, data: dict[str, Any]) -> Product:
        del data["key"]
        if "counted" in data:
            data["is_weighed"] = data.pop("counted") == "weight"
        return products.save_honey(
            product=self.product,
            parts=[
                PartUse(line["part"], line["quantity"] or 1, line["per_pieces"] or 1)
                for line in self.form.part_lines.cleaned_data
                if line.get("part")
            ],
            **data,
        )

    def done_message(self, made: Product) -> str:
        return _("Added %(product)s. Set its prices before it is sold.") % {"product": made.name}

    def next_url(self, made: Product) -> str:
        return reverse("inventory:product_list")


class HoneyProductEditView(HoneyProductCreateView):
    def prepare(self) -> None:
        found = Product.objects.of_honey().filter(is_unlabelled=False)
        self.product = get_object_or_404(
            found.select_related("item", "size", "variety", "brand"), code=self.kwargs["code"]
        )

    def edited(self) -> Model | None:
        return self.product

    def get_initial(self) -> dict[str, Any]:
        fields = ("size", "variety", "form", "brand", "name", "gtin", "low_stock_pieces")
        return {field: getattr(self.product, field) for field in fields}

    def act(self, data: dict[str, Any]) -> Product:
        # A standard product is not asked what it is.
        if self.product and self.product.is_standard:
            data["size"] = self.product.size
        return super().act(data)

    def done_message(self, made: Product) -> str:
        return _("Saved %(product)s.") % {"product": made.name}


@require_safe
def variety_list(request: HttpRequest) -> HttpResponse:
    return render(
        request,
        "inventory/bottling/variety_list.html",
        {"varieties": product_queries.varieties()},
    )


class VarietyCreateView(ActView):
    permission_required = MANAGE_PARTS
    form_class = VarietyForm
    template_name = "inventory/bottling/variety_form.html"
    variety: Variety | None = None

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(variety=self.variety, **kwargs)

    def act(self, data: dict[str, Any]) -> Variety:
        del data["key"]
        return products.save_variety(variety=self.variety, **data)

    def done_message(self, made: Variety) -> str:
        return _("Saved %(variety)s.") % {"variety": made.name}

    def next_url(self, made: Variety) -> str:
        return reverse("inventory:variety_list")


class VarietyEditView(VarietyCreateView):
    def prepare(self) -> None:
        self.variety = get_object_or_404(Variety, pk=self.kwargs["pk"])

    def edited(self) -> Model | None:
        return self.variety

    def get_initial(self) -> dict[str, Any]:
        return {
            field: getattr(self.variety, field) for field in ("name", "floral_source", "is_active")
        }


@require_safe
def brand_list(request: HttpRequest) -> HttpResponse:
    return render(
        request, "inventory/bottling/brand_list.html", {"brands": product_queries.brands()}
    )


class BrandCreateView(ActView):
    permission_required = MANAGE_PARTS
    form_class = BrandForm
    template_name = "inventory/bottling/brand_form.html"
    brand: Brand | None = None

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(brand=self.brand, **kwargs)

    def act(self, data: dict[str, Any]) -> Brand:
        del data["key"]
        return products.save_brand(brand=self.brand, **data)

    def done_message(self, made: Brand) -> str:
        return _("Saved %(brand)s.") % {"brand": made.name}

    def next_url(self, made: Brand) -> str:
        return reverse("inventory:brand_list")


class BrandEditView(BrandCreateView):
    def prepare(self) -> None:
        self.brand = get_object_or_404(Brand, pk=self.kwargs["pk"])

    def edited(self) -> Model | None:
        return self.brand

    def get_initial(self) -> dict[str, Any]:
        return {field: getattr(self.brand, field) for field in ("name", "is_active")}
