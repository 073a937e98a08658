"""Set what a product is taxed as, and how each kind of goods is taxed."""

from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import GoodsCategory, ProductTax, TaxRate
from apiary_sales.pricing.rules import tax
from inventory.bottling.models import Product
from inventory.shared.checks import save_checked
from inventory.shared.errors import Problems


@transaction.atomic
def set_class(*, product: Product, taxed_as: str) -> ProductTax | None:
    """Tax a product as honey or as other goods from now on; empty for what is usual for its kind.

    Invoices that were issued keep their tax. Raises `BadValue`.
    """
    problems = Problems()
    if taxed_as and taxed_as not in tax.CLASSES:
        problems.add("taxed_as", _("Choose honey or other goods."))
    problems.raise_any()
    row = ProductTax.objects.filter(product=product).first()
    if not taxed_as:
        if row:
            row.delete()
        return None
    row = row or ProductTax(product=product)
    row.taxed_as = taxed_as
    row.save()
    return row


@transaction.atomic
def set_category(*, goods: str, category: str, valid_from: date, reason: str = "") -> GoodsCategory:
    """Say how one kind of goods is taxed from a day on, with the reason where it is exempt.

    The reason is printed on invoices. What was said before counts up to that day; invoices that
    were issued keep their tax. Raises `BadValue` or `SeveralProblems`.
    """
    reason = " ".join(reason.split())
    problems = Problems()
    if goods not in TaxRate.Goods.values:
        problems.add("goods", _("Choose one from the list."))
    if category not in GoodsCategory.Category.values:
        problems.add("category", _("Choose one from the list."))
    elif category == GoodsCategory.Category.EXEMPT and not reason:
        problems.add(
            "reason",
            _(
                "Say why these goods are exempt, for example: food for home consumption, "
                "exempt by state law."
            ),
        )
    problems.raise_any()
    if category == GoodsCategory.Category.TAXABLE:
        reason = ""
    row = GoodsCategory(goods=goods, category=category, reason=reason, valid_from=valid_from)
    save_checked(row)
    return row
