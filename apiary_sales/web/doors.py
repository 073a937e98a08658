"""The five doors: where each is, and to whom it is open."""

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
    # Any one of these opens the door; none means that it is open to everyone.
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
# Who only minds the stand finds the stand behind the selling door.
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
    """Tell whether a person holds any one of the permissions, or none is asked."""
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
