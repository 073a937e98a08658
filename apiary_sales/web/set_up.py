"""What is set up once: the links of the settings page."""

from dataclasses import dataclass

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from . import doors


@dataclass(frozen=True)
class Page:
    label: str | Promise
    hint: str | Promise
    url_name: str
    permissions: tuple[str, ...] = ()

    @property
    def url(self) -> str:
        return reverse(self.url_name)


PAGES = (
    Page(
        _("People"),
        _("Who signs in, and what each may do"),
        "accounts:people",
        ("accounts.manage_people",),
    ),
    Page(
        _("Tanks and places"),
        _("Shape and size of each tank, drums, shelves, van"),
        "inventory:places",
        ("inventory.manage_places",),
    ),
    Page(
        _("Container sizes"),
        _("Declared weight, capacity, parts, case"),
        "inventory:container_list",
        ("inventory.manage_parts",),
    ),
    Page(
        _("Jars, lids and labels"),
        _("Packaging parts and when to order more"),
        "inventory:part_list",
        ("inventory.manage_parts",),
    ),
    Page(
        _("Bottling"),
        _("Cost of an hour, filling temperature, how cost is taken"),
        "inventory:production_settings",
        ("inventory.manage_parts",),
    ),
    Page(
        _("Price lists"),
        _("Jar prices by tier, drum prices by colour"),
        "pricing:prices",
        ("pricing.manage_prices",),
    ),
    Page(
        _("Customers"),
        _("Addresses, terms, tax certificates"),
        "customers:list",
        ("customers.manage_customers",),
    ),
    Page(
        _("Business details"),
        _("Name and address on papers, tax rates, invoice numbers"),
        "billing:settings",
        ("billing.issue_invoices",),
    ),
    Page(
        _("Back office"),
        _("Every table, for repairs: take care"),
        "admin:index",
        ("accounts.manage_people",),
    ),
)


def open_to(user) -> list[Page]:
    """Return the pages a person may open and that are there."""
    return [
        page for page in PAGES if doors.may(user, page.permissions) and doors.exists(page.url_name)
    ]
