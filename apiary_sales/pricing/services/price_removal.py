"""Take back a price that was entered by mistake and that nothing was sold at."""

from django.db import transaction

from apiary_sales.pricing.models import PiecePrice
from inventory.shared.services.removals import remove_unused


@transaction.atomic
def take_back(*, price: PiecePrice) -> None:
    """Remove a row of the price list; what was in force before it is in force again.

    The caller has made sure that nothing was sold at it.
    """
    remove_unused(price)
