"""A recall as papers: its record as PDF, and everybody who has the goods as CSV."""

from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from typing import Any

from django.utils.translation import gettext as _

from apiary_sales.orders.models import Recall
from apiary_sales.orders.queries import recall as answers
from apiary_sales.orders.queries import recall_progress
from apiary_sales.orders.queries.recall import RecallAnswer
from apiary_sales.orders.queries.trace import SaleRow
from inventory.shared import documents

# What a paper can hold; a longer list is in the CSV file.
ROWS_PRINTED = 400


def paper_context(record: Recall) -> dict[str, Any]:
    """Return what the paper of a recall shows."""
    answer = answers.from_json(record.answer)
    return {
        "record": record,
        "answer": answer,
        "progress": recall_progress.of(record),
        "given": answer.given[:ROWS_PRINTED],
        "sales": answer.sales[:ROWS_PRINTED],
        "sales_left": max(0, len(answer.sales) - ROWS_PRINTED),
        "unnamed": answer.unnamed[:ROWS_PRINTED],
        "unnamed_left": max(0, len(answer.unnamed) - ROWS_PRINTED),
        "places": answer.places[:ROWS_PRINTED],
        "waiting": answer.waiting[:ROWS_PRINTED],
        "back": answer.back[:ROWS_PRINTED],
        "handed_back": answer.handed_back[:ROWS_PRINTED],
        "handed_back_left": max(0, len(answer.handed_back) - ROWS_PRINTED),
        "shortages": answer.shortages[:ROWS_PRINTED],
        "shortages_left": max(0, len(answer.shortages) - ROWS_PRINTED),
        "lots": answer.lots[:ROWS_PRINTED],
        "lots_left": max(0, len(answer.lots) - ROWS_PRINTED),
    }


def paper(record: Recall) -> bytes:
    """Return the record of a recall as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf("documents/recall.html", paper_context(record))


def csv_rows(sales: Iterable[SaleRow], work_out: Callable[[], RecallAnswer]) -> Iterator[list[Any]]:
    """Yield the rows of a CSV file: who got it, what is in the house, and what waits for it.

    `sales` are read one by one, however many there are; the rest is worked out when these are sent.
    Quantities are exact: whole pieces, whole grams of bulk honey.
    """
    yield [
        _("What"),
        _("Buyer or place"),
        _("Contact person"),
        _("Telephone"),
        _("E-mail"),
        _("Order"),
        _("Invoice"),
        _("Day"),
        _("Lot"),
        _("Goods"),
        _("Unit"),
        _("Quantity"),
        _("Came back"),
        _("Still out"),
    ]
    sold, returned, unnamed, given, in_house, waits, short, unknown = (
        _("sold"),
        _("handed back to its owner"),
        _("sold without a name"),
        _("given away or used at home"),
        _("in the house"),
        _("not handed over yet"),
        _("to be settled"),
        _("to be settled, may be among it"),
    )
    units = {True: _("grams"), False: _("pieces")}
    for row in sales:
        yield [
            *(sold, row.name, row.contact, row.phone, row.email, row.order),
            ", ".join(invoice.number for invoice in row.invoices),
            *(row.handed_over_on, row.lot, row.description, units[row.is_weighed]),
            *(row.sold, row.came_back, row.still_out),
        ]
    answer = work_out()
    yield from chain(
        (
            [
                *(returned, row.name, row.contact, row.phone, row.email, None, None, row.day),
                *(row.lot, row.what, units[row.is_weighed], row.quantity, 0, row.quantity),
            ]
            for row in answer.handed_back
        ),
        (
            [
                *(unnamed, None, None, None, None, None, None),
                *(day.day, day.lot, day.description, units[day.is_weighed]),
                *(day.sold, day.came_back, day.still_out),
            ]
            for day in answer.unnamed
        ),
        (
            [
                *(given, None, None, None, None, None, None),
                *(None, lot.code, lot.what, units[lot.is_weighed]),
                *(lot.given_or_used, 0, lot.given_or_used),
            ]
            for lot in answer.given
        ),
        (
            [
                *(_("on consignment") if place.holder else in_house, place.holder or place.place),
                *(place.contact or None, place.phone or None, place.email or None, None, None),
                *(None, place.lot, None, units[place.is_weighed], place.quantity, None, None),
            ]
            for place in answer.places
        ),
        (
            [
                *(waits, order.name, None, order.phone, order.email, order.order, None),
                *(None, order.lot, None, units[order.is_weighed], order.quantity, None, None),
            ]
            for order in answer.waiting
        ),
        (
            [
                *(short if row.lot else unknown, row.place, None, None, None, None, None),
                *(row.day, row.lot or _("lot unknown"), row.what, units[row.is_weighed]),
                *(row.quantity, None, None),
            ]
            for row in answer.shortages
        ),
    )
