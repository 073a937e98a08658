"""Set the work on one piece of a product, used while no run has recorded any."""

from collections.abc import Mapping
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import FillingTime
from inventory.bottling.models import Product
from inventory.shared.errors import Problems

# Nobody works an hour on one jar.
MINUTES_MAX = Decimal(60)


@transaction.atomic
def set_minutes(minutes: Mapping[Product, Decimal | None]) -> None:
    """Set the minutes of work on one piece of each product; None where they are not known.

    Raises `BadValue`, at `minutes.<code of the product>`.
    """
    problems = Problems()
    for product, each in minutes.items():
        if each is not None and not 0 <= each <= MINUTES_MAX:
            problems.add(
                f"minutes.{product.code}",
                _("%(product)s: enter from 0 to 60 minutes for one piece.")
                % {"product": product.name},
            )
    problems.raise_any()
    for product, each in minutes.items():
        if each is None:
            FillingTime.objects.filter(product=product).delete()
        else:
            FillingTime.objects.update_or_create(product=product, defaults={"minutes_each": each})
