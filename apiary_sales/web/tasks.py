"""Each person's tasks, one click from the first page."""

from dataclasses import dataclass

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.web import doors


@dataclass(frozen=True)
class Task:
    label: str | Promise
    hint: str | Promise
    url_name: str
    icon: str
    permissions: tuple[str, ...] = ()

    @property
    def url(self) -> str:
        return reverse(self.url_name)


TASKS = (
    Task(
        _("Stand sale"),
        _("Tap the jars, take the money"),
        "billing:stand",
        "stand",
        ("orders.sell_at_stand",),
    ),
    Task(
        _("Market day"),
        _("What to load, what came home, what it earned"),
        "billing:market_days",
        "list",
        ("orders.sell_at_stand",),
    ),
    Task(
        _("Bottling day"),
        _("All sizes of a tank at once"),
        "inventory:bottling_day_create",
        "bottling",
        ("inventory.run_bottling",),
    ),
    Task(
        _("Record a run"),
        _("Jars filled, broken, honey used"),
        "inventory:bottling",
        "bottling",
        ("inventory.run_bottling",),
    ),
    Task(
        _("Plan a run"),
        _("Is there enough honey, and are there enough jars?"),
        "inventory:run_plan",
        "list",
        ("inventory.run_bottling",),
    ),
    Task(
        _("Fill drums"),
        _("Gross weight less tare"),
        "inventory:drum_fill",
        "drum",
        ("inventory.move_honey",),
    ),
    Task(
        _("Dip the tank"),
        _("Depth and temperature"),
        "inventory:dip",
        "dip",
        ("inventory.move_honey",),
    ),
    Task(
        _("Receive honey"),
        _("A new extraction into a tank"),
        "inventory:receive",
        "honey",
        ("inventory.move_honey",),
    ),
    Task(
        _("Quote a drum buyer"),
        _("Choose drums, set a price"),
        "orders:quote_create",
        "selling",
        ("orders.quote_drums",),
    ),
    Task(
        _("New order"),
        _("For a shop or a delivery"),
        "orders:order_create",
        "order",
        ("orders.take_orders",),
    ),
    Task(
        _("Invoices"),
        _("Issued, paid, overdue"),
        "billing:money",
        "money",
        ("billing.issue_invoices", "billing.view_money"),
    ),
)


def of(user) -> list[Task]:
    """Return the tasks a person may do."""
    return [task for task in TASKS if doors.may(user, task.permissions)]
