"""The details of the house, as printed on papers from now on."""

from typing import Any

from django.db import transaction

from inventory.shared import checks
from inventory.shared.models import House


@transaction.atomic
def change(**fields: Any) -> House:
    """Set details of the house; bills already issued keep the ones of their day.

    Raises `BadValue` (or several) for what does not fit its field.
    """
    house = House.current()
    for name, value in fields.items():
        setattr(house, name, value)
    checks.save_checked(house)
    return house
