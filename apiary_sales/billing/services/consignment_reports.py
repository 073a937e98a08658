"""The sales report of a shop: what it sold of ours is handed over, and invoiced, in one go."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import ConsignmentReport
from apiary_sales.billing.services import invoices
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import consignments
from apiary_sales.orders.trade_models import ConsignmentShelf
from inventory.shared import keys
from inventory.shared.errors import Problems, parameters_named
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat


@transaction.atomic
def enter(
    *,
    shelf: ConsignmentShelf,
    lines: Sequence[PiecesWanted],
    sold_from: date,
    sold_until: date,
    entered_by: Person,
    key: str,
    reference: str = "",
) -> ConsignmentReport:
    """Book what a shop reports it sold from its shelf, invoice it, and return the report.

    The goods count as handed over on the last day of the report, at the prices agreed for that
    day. A report may not start before the one before it ends: what was sold is invoiced once.
    A wrong report is undone by a credit note for its invoice. Raises `BadValue`, `NotEnoughStock`,
    and `AlreadyRecorded` with the report made first.
    """
    ConsignmentShelf.objects.select_for_update(no_key=True).get(pk=shelf.pk)
    refuse_repeat(ConsignmentReport, key)
    problems = Problems()
    if sold_until < sold_from:
        problems.add("sold_until", _("The last day is before the first. Choose a later day."))
    last = ConsignmentReport.objects.standing().filter(shelf=shelf).first()
    if last and sold_from <= last.sold_until:
        problems.add(
            "sold_from",
            _("The last report of this shelf ends on %(day)s. Start after that day.")
            % {"day": date_format(last.sold_until)},
        )
    problems.raise_any()
    with parameters_named(sold_on="sold_until"):
        fulfilment = consignments.sell_reported(
            shelf=shelf,
            lines=lines,
            sold_on=sold_until,
            reference=reference,
            recorded_by=entered_by,
            key=keys.part(key, "sold"),
        )
    invoice = invoices.issue(
        order=fulfilment.order, issued_by=entered_by, key=keys.part(key, "invoice")
    )
    return ConsignmentReport.objects.create(
        shelf=shelf,
        sold_from=sold_from,
        sold_until=sold_until,
        reference=reference.strip(),
        fulfilment=fulfilment,
        invoice=invoice,
        entered_by=entered_by,
        idempotency_key=key,
    )
