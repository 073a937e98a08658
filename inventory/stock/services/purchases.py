"""Honey bought from another producer: received in drums, pails, totes or into a tank."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Unpack

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.shared import words
from inventory.shared.errors import Problems
from inventory.shared.money import cents_half_even
from inventory.shared.people import Person
from inventory.shared.weights import in_words, unit_grams, unit_name
from inventory.stock.models import Item, Lot, Place, Posting, Supplier
from inventory.stock.services import arrivals, honey, ledger, lots, suppliers
from inventory.stock.services.arrivals import HoneyFacts, VesselReceived

# More than any delivery costs; a figure above it is a slip of the finger.
COST_CENTS_MAX = 100_000_000
PRICE_PER_POUND_MAX = Decimal(1000)


@transaction.atomic
def receive(
    *,
    supplier: str,
    vessels: Sequence[VesselReceived],
    recorded_by: Person,
    key: str,
    cost_cents: int | None = None,
    price_per_pound: Decimal | None = None,
    **facts: Unpack[HoneyFacts],
) -> Lot:
    """Bring a delivery of bought honey into its vessels as one new lot, and return the lot.

    `supplier` is a name; a new one is added. The cost is of all of it, or a price a pound; without
    either it stays unknown until it is set. It is stock, and never harvest.
    Raises `BadValue`, `VesselTooSmall`, `StockReserved`, `NotAllowedNow`, `AlreadyRecorded`.
    """
    ledger.lock_items([Item.objects.honey()])
    # First, because a full vessel sent again would be weighed against what it already holds.
    ledger.refuse_repeat(key)
    lot, grams = _checked(supplier, vessels, cost_cents, price_per_pound, facts)
    lot.supplier = suppliers.named(supplier, kind=Supplier.Kind.PRODUCER)
    arrivals.bring_in(
        lot=lot,
        code=lots.next_code(lot.season, "P"),
        kind=Posting.Kind.PURCHASE,
        source=Place.objects.outside(Place.Kind.SUPPLIER),
        vessels=vessels,
        grams=grams,
        recorded_by=recorded_by,
        key=key,
    )
    return lot


def preview(
    *,
    supplier: str,
    vessels: Sequence[VesselReceived],
    cost_cents: int | None = None,
    price_per_pound: Decimal | None = None,
    **facts: Unpack[HoneyFacts],
) -> honey.HoneyPreview:
    """Say what a delivery would change, without doing it; raises as `receive`."""
    lot, grams = _checked(supplier, vessels, cost_cents, price_per_pound, facts)
    found = arrivals.preview(lot=lot, vessels=vessels, grams=grams)
    return replace(found, bought=lot, price_per_pound=price_per_pound)


def cost_of(grams: int, price_per_pound: Decimal) -> int:
    """Return what so many grams cost at a price a pound, in whole cents, half to the even."""
    return cents_half_even(price_per_pound * grams / unit_grams())


def check_cost(
    problems: Problems, *, cost_cents: int | None, price_per_pound: Decimal | None
) -> None:
    """Add what is wrong with a cost of all, or a price a pound, of which one may be given."""
    if cost_cents is not None and price_per_pound is not None:
        problems.add(
            "price_per_pound",
            in_words(_("Enter the cost of all of it, or the price a {unit}, not both.")),
        )
    if cost_cents is not None and not 0 <= cost_cents <= COST_CENTS_MAX:
        problems.add("cost_cents", _("Enter what all of it cost, from 0 to a million."))
    if price_per_pound is not None and not 0 <= price_per_pound <= PRICE_PER_POUND_MAX:
        problems.add(
            "price_per_pound",
            _("Enter the price of a %(unit)s, from 0 to %(most)s.")
            % {"most": words.number(PRICE_PER_POUND_MAX), "unit": unit_name()},
        )


def _checked(
    supplier: str,
    vessels: Sequence[VesselReceived],
    cost_cents: int | None,
    price_per_pound: Decimal | None,
    facts: HoneyFacts,
) -> tuple[Lot, list[int]]:
    problems = Problems()
    if not supplier.strip():
        problems.add("supplier", _("Enter who the honey comes from."))
    check_cost(problems, cost_cents=cost_cents, price_per_pound=price_per_pound)
    problems.raise_any()
    lot, grams = arrivals.make_lot(kind=Lot.Kind.BOUGHT, vessels=vessels, **facts)
    lot.cost_cents = cost_cents
    if price_per_pound is not None:
        lot.cost_cents = cost_of(lot.quantity_made, price_per_pound)
    return lot, grams
