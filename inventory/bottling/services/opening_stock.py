"""Jars that were filled before the books began, with the codes that are printed on them.

Other stock begins through the acts that it comes in by anyway: honey in vessels by `honey.receive`
or `purchases.receive`, parts by `parts.receive`, other goods by `goods.receive`.
"""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import Product
from inventory.bottling.services import packed_codes
from inventory.shared import checks, days
from inventory.shared.errors import Problems
from inventory.shared.people import Person
from inventory.stock import lot_codes, rules
from inventory.stock.models import Lot, Place, Posting
from inventory.stock.services import ledger, lots

# More than this for one lot of jars is a slip of the finger.
COST_CENTS_MAX = 100_000_000


@transaction.atomic
def receive_jars(
    *,
    product: Product,
    place: Place,
    pieces: int,
    lot_code: str,
    bottled_on: date,
    season: int,
    floral_source: str,
    begins_on: date,
    recorded_by: Person,
    key: str,
    best_by: date | None = None,
    cost_cents: int | None = None,
    colour_mm: Decimal | None = None,
    note: str = "",
) -> Lot:
    """Put jars on a shelf, stand or van with which the books begin, and return their lot.

    They bear `lot_code` and were filled on `bottled_on`; they are in the books from `begins_on`.
    `cost_cents` is what all of them cost, None where nobody knows. Which honey is in them is not in
    the books: a trace ends at this lot and says so. Jars with the same code at another place, or
    more of them, join the lot. Raises `BadValue`, `AlreadyRecorded`.
    """
    problems = Problems()
    lot_code = lot_code.strip()
    if not product.is_honey or product.item.is_weighed:
        problems.add(
            "product",
            _("%(product)s is no honey in jars. Receive it as goods.") % {"product": product.name},
        )
    rules.check_pieces(problems, "pieces", pieces)
    rules.check_store(problems, "place", place)
    lot_codes.check_code(problems, "lot_code", lot_code)
    lots.check_facts(problems, floral_source=floral_source, season=season, colour_mm=colour_mm)
    checks.check_day(problems, "begins_on", begins_on)
    checks.check_day(problems, "bottled_on", bottled_on)
    if bottled_on > begins_on:
        problems.add(
            "bottled_on", _("These jars were filled before the books began. Check the dates.")
        )
    if best_by and best_by < bottled_on:
        problems.add("best_by", _("This day is before the jars were filled. Check the date."))
    if cost_cents is not None and not 0 <= cost_cents <= COST_CENTS_MAX:
        problems.add("cost_cents", _("Enter what all of it cost, from 0 to a million."))
    problems.raise_any()
    ledger.lock_items([product.item])
    ledger.refuse_repeat(key)
    lot = _joined(product, lot_code, bottled_on)
    if lot is None:
        if taken := packed_codes.taken_error(lot_code, product, parameter="lot_code"):
            raise taken
        lot = Lot(
            kind=Lot.Kind.PACKED,
            code=lot_code,
            product=product,
            season=season,
            floral_source=floral_source.strip(),
            made_on=bottled_on,
            colour_mm=colour_mm,
            quantity_made=pieces,
            cost_cents=cost_cents,
            best_by=best_by,
            note=note.strip(),
        )
    else:
        is_known = lot.cost_cents is not None and cost_cents is not None
        lot.cost_cents = (lot.cost_cents or 0) + (cost_cents or 0) if is_known else None
        lot.quantity_made += pieces
    checks.save_checked(lot)
    ledger.post(
        kind=Posting.Kind.OPENING,
        lines=ledger.move(
            item=product.item,
            lot=lot,
            source=Place.objects.outside(Place.Kind.PACKING),
            target=place,
            quantity=pieces,
        ),
        recorded_by=recorded_by,
        key=key,
        note=note.strip(),
        occurred_at=days.moment(begins_on),
    )
    return lot


def _joined(product: Product, lot_code: str, bottled_on: date) -> Lot | None:
    """Return the opening lot of the same jars that is there already, or None."""
    return Lot.objects.filter(
        code__iexact=lot_code,
        product=product,
        made_on=bottled_on,
        lines__posting__kind=Posting.Kind.OPENING,
    ).first()
