"""Returns at the stand that the office or the owner approves: of an older day, or with no receipt.

The stand asks, the office decides on a device of its own, and the stand gives the money back. Until
then nothing is booked: the jars are beside the till and the buyer waits, or comes again.

Without a receipt there is no sale to credit, and money that left the till for goods that were never
sold would be a hole in the books. So whoever approves names the receipt that it most likely was: a
sale of these goods at this place in the last sixty days with as many pieces left. The cheapest is
proposed first, and one of the lot on the jar before all others, since the lot is what a recall
asks for. What is given back is the price on that receipt, whatever the buyer says was paid. Where
there is none, the request is refused, and a house that gives money all the same enters an expense
for goodwill: then the jar was not bought here, as far as anybody knows, and is not stock.
"""

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, ReturnRequest, ReturnRequestLine
from apiary_sales.billing.models.stand_returns import DAYS_BACK
from apiary_sales.billing.services import credit_notes, stand_returns
from apiary_sales.billing.stand_return_rules import PiecesBack, allot
from apiary_sales.orders.models import OrderLine
from inventory.bottling.models import Product
from inventory.shared import words
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import own_places
from inventory.stock.models import Place

TEXT_MAX = 300
PIECES_MAX = 1_000
PRICE_CENTS_MAX = 100_000_000
State = ReturnRequest.State


@transaction.atomic
def ask(
    *, receipt: Invoice, lines: Sequence[PiecesBack], reason: str, asked_by: Person, key: str
) -> ReturnRequest:
    """Ask the office to approve that some of a stand sale comes back; return the request.

    Raises `NotAllowedNow` for what is no receipt or is taken back already, `BadValue` (or several)
    at `lines.<position>.pieces`, `AlreadyRecorded`.
    """
    refuse_repeat(ReturnRequest, key)
    problems = Problems()
    _check_text(problems, "reason", reason, _("Say why it comes back; the office reads it."))
    problems.raise_any()
    _check_is_left(receipt, lines)
    made = ReturnRequest.objects.create(
        receipt=receipt,
        place=receipt.stand_sale.place,
        reason=reason.strip(),
        asked_by=asked_by,
        idempotency_key=key,
    )
    _keep_lines(made, lines)
    return made


@transaction.atomic
def ask_without_receipt(
    *,
    place: Place,
    product: Product,
    pieces: int,
    price_cents: int,
    reason: str,
    asked_by: Person,
    key: str,
    lot_code: str = "",
) -> ReturnRequest:
    """Ask the office to approve a return for which the buyer has no receipt; return the request.

    `price_cents` is what the buyer says was paid for one, `lot_code` what is printed on it.
    Raises `BadValue` (or several), `AlreadyRecorded`.
    """
    refuse_repeat(ReturnRequest, key)
    problems = Problems()
    if place.kind not in Place.STORES:
        problems.add("place", _("Choose the shelf, stand or van where it came back."))
    own_places.check(problems, "place", place, asked_by)
    if product.item.is_weighed:
        problems.add(
            "product",
            _("%(product)s is sold by weight. Without its receipt it can't be taken back.")
            % {"product": product.name},
        )
    if not 1 <= pieces <= PIECES_MAX:
        problems.add("pieces", _("Enter how many pieces came back, from 1 to 1,000."))
    if not 0 <= price_cents <= PRICE_CENTS_MAX:
        problems.add("price_cents", _("Enter what the buyer says was paid for one."))
    if len(lot_code.strip()) > 30:
        problems.add("lot_code", _("Enter 30 characters or fewer."))
    _check_text(problems, "reason", reason, _("Say why it comes back; the office reads it."))
    problems.raise_any()
    return ReturnRequest.objects.create(
        place=place,
        product=product,
        pieces=pieces,
        price_cents=price_cents,
        lot_code=lot_code.strip(),
        reason=reason.strip(),
        asked_by=asked_by,
        idempotency_key=key,
    )


@transaction.atomic
def approve(
    *,
    request: ReturnRequest,
    approved_by: Person,
    key: str,
    receipt: Invoice | None = None,
    note: str = "",
) -> ReturnRequest:
    """Let the stand give the money back; return the request.

    `receipt` is the one that it most likely was, where the buyer has none. Nothing is booked yet.
    Raises `NotAllowedNow` where somebody decided before, or where it is credited already,
    `BadValue` at `receipt`, `AlreadyRecorded`.
    """
    request = _locked(request, key)
    _check_may_decide(approved_by)
    if request.state != State.ASKED:
        raise NotAllowedNow(_decided_before(request))
    problems = Problems()
    _check_text(problems, "note", note)
    problems.raise_any()
    if request.has_receipt:
        _check_is_left(_receipt_of(request), lines_of(request))
    else:
        _keep_lines(request, _found_on(request, receipt))
        request.receipt = receipt
    return _decide(request, State.APPROVED, approved_by, note, key)


@transaction.atomic
def refuse(*, request: ReturnRequest, refused_by: Person, key: str, note: str) -> ReturnRequest:
    """Say that no money is given back, or no more, as long as none was; return the request.

    Raises `BadValue` without a note, `NotAllowedNow`, `AlreadyRecorded`.
    """
    request = _locked(request, key)
    _check_may_decide(refused_by)
    if not request.is_open:
        raise NotAllowedNow(_decided_before(request))
    problems = Problems()
    _check_text(problems, "note", note, _("Say why it is refused; the stand reads it."))
    problems.raise_any()
    return _decide(request, State.REFUSED, refused_by, note, key)


@transaction.atomic
def give_back(
    *,
    request: ReturnRequest,
    given_by: Person,
    key: str,
    method: str = "",
    check_has_cleared: bool = False,
) -> ReturnRequest:
    """Take the goods of an approved return in and give its money back; return the request.

    Raises `NotAllowedNow` where it is not approved, and as `stand_returns.give_back`.
    """
    # The request first, then the order of its receipt, then the goods: one order for all.
    request = ReturnRequest.objects.select_for_update(of=("self",)).get(pk=request.pk)
    refuse_repeat(Invoice, key, made=request)
    if request.state == State.ASKED:
        raise NotAllowedNow(_("The office has not decided about this return yet."))
    if request.state != State.APPROVED:
        raise NotAllowedNow(_decided_before(request))
    request.credit_note = stand_returns.give_back(
        receipt=_receipt_of(request),
        lines=lines_of(request),
        given_by=given_by,
        key=key,
        reason=request.reason,
        method=method,
        check_has_cleared=check_has_cleared,
        is_approved=True,
    )
    request.state = State.GIVEN_BACK
    request.save(update_fields=["state", "credit_note"])
    return request


def lines_of(request: ReturnRequest) -> list[PiecesBack]:
    """Return what of the receipt comes back."""
    rows = request.lines.select_related(
        "line__invoice",
        "line__fulfilment_line__fulfilment",
        "line__fulfilment_line__order_line__product",
        "line__fulfilment_line__order_line__drum",
        "line__fulfilment_line__lot__product__item",
    )
    return [PiecesBack(row.line, row.pieces, row.is_on_shelf) for row in rows]


def _locked(request: ReturnRequest, key: str) -> ReturnRequest:
    """Lock a request; of two who decide at the same moment, one waits and is told."""
    found = ReturnRequest.objects.select_for_update(of=("self",))
    request = found.select_related("decided_by", "receipt", "product").get(pk=request.pk)
    if request.decision_key == key:
        raise AlreadyRecorded(_("This was decided already."), made=request)
    return request


def _check_may_decide(person: Person) -> None:
    if not person.has_perm(stand_returns.APPROVE):
        raise NotAllowedNow(_("Only the office or the owner decides about a return."))


def _decided_before(request: ReturnRequest) -> str:
    sentences = {
        State.APPROVED: _("%(person)s approved this return already."),
        State.REFUSED: _("%(person)s refused this return already."),
        State.GIVEN_BACK: _("The money of this return was given back already."),
    }
    return sentences[State(request.state)] % {"person": request.decided_by}


def _decide(
    request: ReturnRequest, state: str, person: Person, note: str, key: str
) -> ReturnRequest:
    request.state, request.note = state, note.strip()
    request.decided_by, request.decided_at = person, timezone.now()
    request.decision_key = key
    request.save()
    return request


def _receipt_of(request: ReturnRequest) -> Invoice:
    """Return the receipt of a request that has one, as every approved one does."""
    return Invoice.objects.select_related("order", "customer", "stand_sale__place").get(
        return_requests=request
    )


def _found_on(request: ReturnRequest, receipt: Invoice | None) -> list[PiecesBack]:
    """Return which lines of the receipt that was named these goods are; raises `BadValue`."""
    sales = request.sales_it_may_be()
    values = {
        "product": request.product.name if request.product else "",
        "place": request.place.name,
        "days": DAYS_BACK,
        "day": date_format(timezone.localdate(request.asked_at)),
    }
    if receipt is None or not sales.filter(receipt=receipt).exists():
        raise BadValue(
            _(
                "Choose the receipt of a sale of %(product)s at %(place)s in the %(days)s days "
                "before %(day)s. If there is none, refuse the return; to give money all the same, "
                "enter an expense for goodwill."
            )
            % values,
            parameter="receipt",
        )
    left = [
        row
        for row in credit_notes.left_on(receipt)
        if row.line.fulfilment_line is not None
        and row.line.fulfilment_line.order_line.kind == OrderLine.Kind.PACKED
        and row.line.fulfilment_line.order_line.product_id == request.product_id
    ]
    pieces = request.pieces or 0
    found = allot(left, pieces, request.lot_code)
    if (there := sum(each.pieces or 0 for each in found)) < pieces:
        raise BadValue(
            _(
                "Receipt %(receipt)s has %(there)s of %(product)s left to take back, and "
                "%(pieces)s came back. Choose another receipt, or refuse this and ask for each "
                "receipt apart."
            )
            % {
                **values,
                "receipt": receipt,
                "there": words.pieces(there),
                "pieces": words.pieces(pieces),
            },
            parameter="receipt",
        )
    return found


def _check_is_left(receipt: Invoice, lines: Sequence[PiecesBack]) -> None:
    """Refuse what can't be credited any more; raises at `lines.<position>.pieces`."""
    if not receipt.is_receipt:
        raise NotAllowedNow(
            _("%(invoice)s is not a stand receipt. Make a credit note for the invoice instead.")
            % {"invoice": receipt}
        )
    stand_returns.check_lines(receipt, lines)
    with stand_returns.lines_named(len(lines)):
        credit_notes.draft(receipt, [each.credit for each in lines])


def _keep_lines(request: ReturnRequest, lines: Sequence[PiecesBack]) -> None:
    ReturnRequestLine.objects.bulk_create(
        ReturnRequestLine(
            request=request, line=each.line, pieces=each.pieces, is_on_shelf=each.is_on_shelf
        )
        for each in lines
    )


def _check_text(problems: Problems, name: str, text: str, missing: str = "") -> None:
    if missing and not text.strip():
        problems.add(name, missing)
    elif len(text.strip()) > TEXT_MAX:
        problems.add(name, _("Enter 300 characters or fewer."))
