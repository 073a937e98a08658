"""The five sections of the main menu: the address of each, and the permissions it needs."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Door:
    name: str
    label: str | Promise
    url_name: str
    # One of these permissions is enough; an empty list means that everyone may open it.
    permissions: tuple[str, ...] = ()

    @property
    def url(self) -> str:
        return reverse(self.url_name)


TODAY = Door("today", _("Today"), "web:today")
HONEY = Door("honey", _("Honey"), "inventory:honey")
BOTTLING = Door(
    "bottling",
    _("Bottling"),
    "inventory:bottling",
    ("inventory.run_bottling", "inventory.manage_parts"),
)
SELLING = Door(
    "selling",
    _("Selling"),
    "orders:selling",
    ("orders.take_orders", "orders.quote_drums", "orders.fulfil_orders"),
)
# For a person who may only sell at the stand, the selling section opens the stand page.
STAND = Door("selling", _("Stand"), "billing:stand", ("orders.sell_at_stand",))
MONEY = Door(
    "money",
    _("Money"),
    "billing:money",
    ("billing.view_money", "billing.issue_invoices", "billing.take_payments"),
)

# The first part of an address, and the door it is behind.
_FIRST_PARTS = {
    "": "today",
    "honey": "honey",
    "bottling": "bottling",
    "selling": "selling",
    "stand": "selling",
    "customers": "selling",
    "prices": "selling",
    "money": "money",
    "reports": "money",
}


def may(user, permissions: Iterable[str]) -> bool:
    """Tell whether a person has one of the permissions, or no permission is needed."""
    permissions = tuple(permissions)
    return not permissions or any(user.has_perm(permission) for permission in permissions)


def open_to(user) -> list[Door]:
    """Return the doors a person has business behind, in the order shown."""
    found: dict[str, Door] = {}
    for door in (TODAY, HONEY, BOTTLING, SELLING, STAND, MONEY):
        if door.name not in found and may(user, door.permissions):
            found[door.name] = door
    return list(found.values())


def behind(path: str) -> str:
    """Return the name of the door that an address is behind, or an empty string."""
    return _FIRST_PARTS.get(path.lstrip("/").split("/", 1)[0], "")
