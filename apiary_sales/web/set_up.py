"""What is set up once: the links of the settings page, and the first steps of a new house."""

from collections.abc import Callable
from dataclasses import dataclass

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.models import User
from apiary_sales.pricing.models import PiecePrice
from apiary_sales.web import doors
from inventory.bottling.models import PackagingPart, Size
from inventory.shared.models import House
from inventory.stock.models import Lot, Place


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


@dataclass(frozen=True)
class Step:
    """One thing to set up in a new house; `is_there` tells whether it has been."""

    label: str | Promise
    hint: str | Promise
    url_name: str
    is_there: Callable[[], bool]
    query: str = ""

    @property
    def url(self) -> str:
        return reverse(self.url_name) + self.query

    @property
    def is_done(self) -> bool:
        return self.is_there()


FIRST_STEPS = (
    Step(
        _("Set up a tank"),
        _("Enter its shape, and a dip gives the weight. Drums, pails and totes too"),
        "inventory:place_create",
        lambda: Place.objects.filter(kind__in=Place.VESSELS).exists(),
    ),
    Step(
        _("Set up a shelf for the jars"),
        _("A shelf, the stand or the van"),
        "inventory:place_create",
        lambda: Place.objects.filter(kind__in=Place.STORES).exists(),
        query=f"?kind={Place.Kind.SHELF.value}",
    ),
    Step(
        _("Add the sizes"),
        _("Add the usual ones all at once, or enter your own"),
        "inventory:size_list",
        lambda: Size.objects.exists(),
    ),
    Step(
        _("Add jars, lids and labels"),
        _("Then a run shows which parts are short, and a jar shows its cost"),
        "inventory:part_list",
        lambda: PackagingPart.objects.exists(),
    ),
    Step(
        _("Enter the prices"),
        _("For each size, at the stand and for shops"),
        "pricing:prices",
        lambda: PiecePrice.objects.exists(),
    ),
    Step(
        _("Enter the business details"),
        _("The name and address printed on papers"),
        "billing:settings",
        lambda: House.objects.exclude(street="").exists(),
    ),
    Step(
        _("Add the people"),
        _("Each with a name, a password and a role"),
        "accounts:people",
        lambda: User.objects.count() > 1,
    ),
    Step(
        _("Receive the first honey"),
        _("What is in the tank today, with its moisture"),
        "inventory:receive",
        lambda: Lot.objects.filter(product=None).exists(),
    ),
    Step(
        _("Plan the first run"),
        _("From the tank into jars"),
        "inventory:run_plan",
        lambda: False,
    ),
)


def first_steps(user) -> list[Step]:
    """Return what a new house sets up, in order, for its owner; nothing once jars were filled."""
    if not user.has_perm("accounts.manage_people"):
        return []
    if Lot.objects.filter(kind=Lot.Kind.PACKED).exists():
        return []
    return list(FIRST_STEPS)
