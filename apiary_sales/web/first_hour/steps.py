"""The steps of the guided set-up, in order, and which of them are done."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.db.models import Exists, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.models import SetUp, User
from apiary_sales.billing.queries import number_series
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import PiecePrice, TaxRate
from inventory.bottling.models import PackagingPart, PartReceipt, Size
from inventory.shared.models import House
from inventory.stock.models import Lot, Place, Posting, ProductionSettings


@dataclass(frozen=True)
class SetUpStep:
    """One page of the set-up; any row of `entered` tells that what it asks for was entered."""

    slug: str
    label: str | Promise
    hint: str | Promise
    entered: Callable[[], QuerySet[Any]]

    @property
    def url(self) -> str:
        return reverse(f"web:set_up_{self.slug}")


@dataclass(frozen=True)
class SetUpMark:
    """A step as the list beside the pages shows it."""

    step: SetUpStep
    is_done: bool
    is_left: bool

    @property
    def label(self) -> str | Promise:
        return self.step.label

    @property
    def hint(self) -> str | Promise:
        return self.step.hint

    @property
    def url(self) -> str:
        return self.step.url


STEPS = (
    SetUpStep(
        "house",
        _("Your house"),
        _("Name, address and logo on papers, and the day on which your books begin"),
        lambda: House.objects.exclude(street=""),
    ),
    SetUpStep(
        "market",
        _("Market and units"),
        _("Currency, pounds or kilograms, language, paper"),
        House.objects.none,
    ),
    SetUpStep(
        "tax",
        _("Tax"),
        _("The rates on honey and on other goods"),
        TaxRate.objects.all,
    ),
    SetUpStep(
        "tanks",
        _("Tanks"),
        _("With its shape, a dip in a tank gives the weight"),
        lambda: Place.objects.filter(kind=Place.Kind.TANK),
    ),
    SetUpStep(
        "drums",
        _("Drums and shelves"),
        _("Where honey and jars are kept"),
        lambda: Place.objects.filter(kind__in=Place.STORES),
    ),
    SetUpStep(
        "sizes",
        _("Sizes"),
        _("The jars, jugs and pails that you fill"),
        Size.objects.all,
    ),
    SetUpStep(
        "parts",
        _("Jars, lids and labels"),
        _("What each size is made up from"),
        PackagingPart.objects.all,
    ),
    SetUpStep(
        "prices",
        _("Prices"),
        _("For each size, at the stand and for shops"),
        PiecePrice.objects.all,
    ),
    SetUpStep(
        "people",
        _("People"),
        _("Each with a name, a password and a role"),
        lambda: User.objects.order_by("pk")[1:],
    ),
    SetUpStep(
        "costs",
        _("Costs"),
        _("An hour of work, and how long filling takes"),
        ProductionSettings.objects.all,
    ),
    SetUpStep(
        "honey",
        _("Opening day: honey"),
        _("What is in each tank and drum"),
        lambda: Lot.objects.filter(product=None),
    ),
    SetUpStep(
        "jars",
        _("Opening day: jars"),
        _("With the lot codes that are printed on them"),
        lambda: Lot.objects.filter(kind=Lot.Kind.PACKED),
    ),
    SetUpStep(
        "stock",
        _("Opening day: parts"),
        _("How many jars, lids and labels you have, and what they cost"),
        PartReceipt.objects.all,
    ),
    SetUpStep(
        "customers",
        _("Customers and what they owe"),
        _("Open invoices from the books before, and the money in hand"),
        Customer.objects.all,
    ),
    SetUpStep(
        "numbers",
        _("First numbers"),
        _("Invoices, receipts and orders go on from the books before"),
        number_series.begun,
    ),
)
BY_SLUG = {step.slug: step for step in STEPS}


def marks(row: SetUp | None = None) -> list[SetUpMark]:
    """Return all steps; one is done once it was saved, or what it asks for is there."""
    row = row or SetUp.current()
    done = {*row.steps_done, *_entered()}
    return [
        SetUpMark(step, is_done=step.slug in done, is_left=step.slug in row.steps_left)
        for step in STEPS
    ]


def _entered() -> list[str]:
    """Return the steps of which something was entered anywhere, asked at once."""
    # The pages of the set-up are shown to a person, so that there is a row to ask beside.
    asked = {step.slug: Exists(step.entered()) for step in STEPS}
    found = User.objects.order_by("pk").values(**asked).first() or {}
    return [slug for slug, is_there in found.items() if is_there]


def next_after(step: SetUpStep) -> str:
    """Return the address of the page after a step."""
    position = STEPS.index(step) + 1
    return STEPS[position].url if position < len(STEPS) else reverse("web:set_up_made")


def before(step: SetUpStep) -> str:
    """Return the address of the page before a step, empty for the first one."""
    position = STEPS.index(step)
    return STEPS[position - 1].url if position else ""


def go_on_at() -> str:
    """Return where the set-up goes on: the first step that was neither saved nor left."""
    waiting = (mark for mark in marks() if not mark.is_done and not mark.is_left)
    first = next(waiting, None)
    return first.url if first else reverse("web:set_up_made")


def to_do(user: User | AnonymousUser, *, were_jars_filled: bool) -> list[SetUpMark]:
    """Return the steps for the first page of an owner; none once all are done, or work began.

    `were_jars_filled` is the answer to `jars_filled_asked`.
    """
    if not user.has_perm("accounts.manage_people"):
        return []
    row = SetUp.current()
    if row.ended_at or were_jars_filled:
        return []
    shown = marks(row)
    return [] if all(mark.is_done for mark in shown) else shown


def jars_filled_asked() -> Exists:
    """Ask whether the house has filled jars itself, beside those from before its books."""
    packed = Lot.objects.filter(kind=Lot.Kind.PACKED)
    return Exists(packed.exclude(lines__posting__kind=Posting.Kind.OPENING))


def begins_on(row: SetUp | None = None) -> date:
    """Return the day on which the books begin: today while none was chosen."""
    return (row or SetUp.current()).begins_on or timezone.localdate()
