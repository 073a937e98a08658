"""What "Find anything" finds of bottling: runs, products and packaging parts."""

from django.urls import reverse
from django.utils.translation import gettext_lazy

from inventory.bottling.models import Product
from inventory.shared import findable
from inventory.shared.findable import Findable, SearchWords, ThingPage

MANAGE_PARTS = ("inventory.manage_parts",)


def register() -> None:
    findable.register(
        Findable(
            name="run",
            number=30,
            label=gettext_lazy("Bottling runs"),
            one=gettext_lazy("Bottling run"),
            model="inventory.BottlingRun",
            fields=("number", "lot_code"),
            reads=lambda run: SearchWords(codes=(run.number, run.lot_code)),
            pages=(ThingPage((), lambda run: reverse("inventory:run_detail", args=[run.number])),),
            line=lambda run: findable.in_one_line(
                run.product.name, run.lot_code, str(run.get_status_display())
            ),
            day=lambda run: run.planned_for,
            along=("product",),
        )
    )
    findable.register(
        Findable(
            name="product",
            number=40,
            label=gettext_lazy("Products"),
            one=gettext_lazy("Product"),
            model="inventory.Product",
            fields=("code", "name", "gtin"),
            reads=lambda product: SearchWords(
                codes=(product.code, product.gtin), words=(product.name,)
            ),
            pages=(ThingPage(MANAGE_PARTS, _own_page), ThingPage((), _open_page)),
            line=lambda product: findable.in_one_line(
                str(product.get_kind_display()), product.code, product.gtin
            ),
        )
    )
    findable.register(
        Findable(
            name="part",
            number=50,
            label=gettext_lazy("Packaging parts"),
            one=gettext_lazy("Packaging part"),
            model="inventory.PackagingPart",
            fields=("code", "name"),
            reads=lambda part: SearchWords(codes=(part.code,), words=(part.name,)),
            pages=(ThingPage((), lambda part: reverse("inventory:part_detail", args=[part.code])),),
            line=lambda part: str(part.get_kind_display()),
        )
    )


def _own_page(product: Product) -> str:
    if product.kind == Product.Kind.HONEY:
        return reverse("inventory:product_edit", args=[product.code])
    if product.kind == Product.Kind.GIFT_BOX:
        return reverse("inventory:box_edit", args=[product.code])
    return reverse("inventory:goods_detail", args=[product.code])


def _open_page(product: Product) -> str:
    """Return a page of the product that everybody in the house may open."""
    if product.kind == Product.Kind.GOODS:
        return reverse("inventory:goods_detail", args=[product.code])
    return reverse("inventory:product_list")
