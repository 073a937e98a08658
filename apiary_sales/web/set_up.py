"""The links of the settings page."""

from dataclasses import dataclass

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.web import doors


@dataclass(frozen=True)
class SettingsPage:
    label: str | Promise
    hint: str | Promise
    url_name: str
    permissions: tuple[str, ...] = ()

    @property
    def url(self) -> str:
        return reverse(self.url_name)


PAGES = (
    SettingsPage(
        _("Guided set-up"),
        _("From the name of the house to the first numbers, a page a question"),
        "web:set_up",
        ("accounts.manage_people",),
    ),
    SettingsPage(
        _("People"),
        _("Who signs in, and what each may do"),
        "accounts:people",
        ("accounts.manage_people",),
    ),
    SettingsPage(
        _("Tanks and places"),
        _("Shape and size of each tank, drums, shelves, van"),
        "inventory:places",
        ("inventory.manage_places",),
    ),
    SettingsPage(
        _("Sizes"),
        _("Weight on the label, capacity, parts, case"),
        "inventory:size_list",
        ("inventory.manage_parts",),
    ),
    SettingsPage(
        _("Products"),
        _("Different honeys in one size, varieties and brands"),
        "inventory:product_list",
        ("inventory.manage_parts",),
    ),
    SettingsPage(
        _("Jars, lids and labels"),
        _("What you have, and when to order more"),
        "inventory:part_list",
        ("inventory.manage_parts",),
    ),
    SettingsPage(
        _("Suppliers and beekeepers"),
        _("Who sends parts and honey, and whose honey you work on"),
        "inventory:supplier_list",
        ("inventory.manage_suppliers",),
    ),
    SettingsPage(
        _("Other goods"),
        _("Wax, candles, books: what is sold that is no honey"),
        "inventory:goods_list",
        ("inventory.manage_goods",),
    ),
    SettingsPage(
        _("Bottling"),
        _("Labour cost per hour, filling temperature, cost method"),
        "inventory:production_settings",
        ("inventory.manage_parts",),
    ),
    SettingsPage(
        _("A jar's own page"),
        _("The public page behind the QR code on a jar: on or off, and what it shows"),
        "inventory:jar_page_settings",
        ("inventory.manage_jar_page",),
    ),
    SettingsPage(
        _("Price lists"),
        _("Jar prices by price list, drum prices by colour"),
        "pricing:prices",
        ("pricing.manage_prices",),
    ),
    SettingsPage(
        _("Customers"),
        _("Addresses, days to pay, tax certificates"),
        "customers:list",
        ("customers.manage_customers",),
    ),
    SettingsPage(
        _("Business details"),
        _("Name and address on papers, tax rates, invoice numbers"),
        "billing:settings",
        ("billing.issue_invoices",),
    ),
    SettingsPage(
        _("Bring in lists"),
        _("Customers, products, prices, stock and past sales from CSV or Excel files"),
        "imports:home",
        ("imports.bring_in_lists",),
    ),
    SettingsPage(
        _("E-mails"),
        _("The texts that e-mails and reminders begin with"),
        "mailing:text_list",
        ("billing.issue_invoices",),
    ),
    SettingsPage(
        _("Programs that are told"),
        _("A web shop or another program hears at once what happens here"),
        "webhooks:endpoints",
        ("webhooks.manage_webhooks",),
    ),
    SettingsPage(
        _("Sign-ins"),
        _("Who signed in from where, wrong passwords, and what is locked"),
        "accounts:sign_ins",
        ("accounts.manage_people",),
    ),
    SettingsPage(
        _("Changes"),
        _("Who changed what in sizes, prices, customers, places and people"),
        "accounts:changes",
        ("accounts.manage_people",),
    ),
    SettingsPage(
        _("Backups"),
        _("When the last one was made, and a copy to take away"),
        "keeping:backups",
        ("keeping.keep_house",),
    ),
    SettingsPage(
        _("The system"),
        _("Version, database, room on the disk, background work, log"),
        "keeping:system",
        ("keeping.keep_house",),
    ),
    SettingsPage(
        _("Export everything"),
        _("All books and files in one file that any spreadsheet opens"),
        "keeping:export",
        ("accounts.manage_people",),
    ),
    SettingsPage(
        _("Parts of a page"),
        _("Every button, field and drawing in each of its states, for who builds pages"),
        "web:design",
        ("accounts.manage_people",),
    ),
    SettingsPage(
        _("Back office"),
        _("All records, for repairs only. Be careful"),
        "admin:index",
        ("accounts.manage_people",),
    ),
)


def open_to(user) -> list[SettingsPage]:
    """Return the pages a person may open."""
    return [page for page in PAGES if doors.may(user, page.permissions)]
