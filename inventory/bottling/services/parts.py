"""Packaging parts: jars, lids, labels and cases, set up and received."""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import PackagingPart, PartReceipt
from inventory.shared import checks, codes, days, words
from inventory.shared.errors import Problems
from inventory.shared.people import Person
from inventory.stock import rules
from inventory.stock.models import Item, Place, Posting, Supplier
from inventory.stock.services import ledger, suppliers

# A shipment that cost more than this is a slip of the finger.
COST_CENTS_MAX = 100_000_000
UNIT_PRICE_MAX = Decimal(100_000)
# Two years: nobody waits longer for jars.
LEAD_TIME_DAYS_MAX = 730


@transaction.atomic
def save(
    *,
    name: str,
    kind: str,
    reorder_point: int = 0,
    is_active: bool = True,
    lead_time_days: int | None = None,
    part: PackagingPart | None = None,
) -> PackagingPart:
    """Add a part, or change one; its short name, which is in its address, stays as it was.

    `lead_time_days` are the days from an order to its delivery, None while they are not known.

    Raises `BadValue` when another part has the name, or for a figure that cannot be.
    """
    name = " ".join(name.split())
    problems = Problems()
    rivals = PackagingPart.objects.exclude(pk=part.pk) if part else PackagingPart.objects.all()
    if not name:
        problems.add("name", _("Enter a name, for example “Lid, 70 mm”."))
    elif rivals.filter(name__iexact=name).exists():
        problems.add(
            "name",
            _("There is a part called %(name)s already. Choose another name.") % {"name": name},
        )
    if not 0 <= reorder_point <= rules.PIECES_MAX:
        problems.add("reorder_point", _("Enter how many, from 0 to a million."))
    if lead_time_days is not None and not 0 <= lead_time_days <= LEAD_TIME_DAYS_MAX:
        problems.add(
            "lead_time_days", _("Enter the days until ordered ones arrive, from 0 to 730.")
        )
    problems.raise_any()
    if part is None:
        item = Item.objects.create(kind=Item.Kind.PART, name=name)
        part = PackagingPart(item=item, code=codes.free(PackagingPart, name, "part"))
    part.name, part.kind, part.reorder_point = name, kind, reorder_point
    part.is_active, part.lead_time_days = is_active, lead_time_days
    checks.save_checked(part)
    if part.item.name != name:
        part.item.name = name
        part.item.save(update_fields=["name"])
    return part


@transaction.atomic
def quote(
    *, part: PackagingPart, unit_price: Decimal | None, quoted_on: date | None = None
) -> PackagingPart:
    """Note what a supplier asks for one of a part, or take that off with None; return the part.

    Plans, prices and the comparison of drums and jars use it instead of the price that was paid
    last; the books keep the average of what was paid. Raises `BadValue`.
    """
    problems = Problems()
    if unit_price is not None:
        if not 0 <= unit_price <= UNIT_PRICE_MAX or unit_price != round(unit_price, 4):
            problems.add(
                "unit_price",
                _("Enter the price of one, from 0 to %(most)s, with up to four decimals.")
                % {"most": words.number(UNIT_PRICE_MAX)},
            )
        checks.check_day(problems, "quoted_on", quoted_on or timezone.localdate())
    problems.raise_any()
    part = PackagingPart.objects.select_for_update().get(pk=part.pk)
    part.quoted_price = unit_price
    part.quoted_on = None if unit_price is None else quoted_on or timezone.localdate()
    part.save(update_fields=["quoted_price", "quoted_on"])
    return part


@transaction.atomic
def receive(
    *,
    part: PackagingPart,
    place: Place,
    pieces: int,
    cost_cents: int,
    supplier: str,
    received_on: date,
    recorded_by: Person,
    key: str,
) -> PartReceipt:
    """Bring parts in with what all of them cost; `supplier` is a name, and a new one is added.

    Raises `BadValue` for figures that cannot be, `AlreadyRecorded`.
    """
    problems = Problems()
    rules.check_pieces(problems, "pieces", pieces)
    rules.check_store(problems, "place", place)
    if not 0 <= cost_cents <= COST_CENTS_MAX:
        problems.add("cost_cents", _("Enter what all of it cost, from 0 to a million."))
    checks.check_day(problems, "received_on", received_on)
    problems.raise_any()
    ledger.lock_items([part.item])
    ledger.refuse_repeat(key)
    posting = ledger.post(
        kind=Posting.Kind.PART_RECEIPT,
        lines=ledger.move(
            item=part.item,
            lot=None,
            source=Place.objects.outside(Place.Kind.SUPPLIER),
            target=place,
            quantity=pieces,
        ),
        recorded_by=recorded_by,
        key=key,
        note=supplier.strip(),
        occurred_at=days.moment(received_on),
    )
    receipt = PartReceipt(
        part=part,
        place=place,
        pieces=pieces,
        cost_cents=cost_cents,
        supplier=suppliers.named(supplier, kind=Supplier.Kind.PARTS),
        received_on=received_on,
        posting=posting,
    )
    checks.save_checked(receipt)
    return receipt
