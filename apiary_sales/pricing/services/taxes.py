"""Set what a product is taxed as."""

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import ProductTax
from apiary_sales.pricing.rules import tax
from inventory.bottling.models import Product
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
