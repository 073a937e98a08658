"""Remove products and sizes that were entered by mistake and never used."""

from django.db import transaction

from inventory.bottling.models import Brand, Product, Size, Variety
from inventory.shared.services.removals import remove_unused


@transaction.atomic
def remove_product(*, product: Product) -> None:
    """Remove a product and its item of the ledger; raises `CannotReverse` where it was used."""
    item = product.item
    remove_unused(product)
    remove_unused(item)


@transaction.atomic
def remove_size(*, size: Size) -> None:
    """Remove a size that has no products any more; raises `CannotReverse` where it has."""
    remove_unused(size)


@transaction.atomic
def remove_name(*, name: Variety | Brand) -> None:
    """Remove a variety or brand that no product has; raises `CannotReverse` where one has it."""
    remove_unused(name)
