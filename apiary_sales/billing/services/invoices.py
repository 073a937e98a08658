"""Bills for goods handed over: invoices, stand receipts and credit notes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing import rules
from apiary_sales.billing.models import Entry, Invoice, InvoiceLine
from apiary_sales.billing.services import adjustments, book, payments
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Fulfilment, FulfilmentLine, Order, OrderLine
from apiary_sales.orders.rules import service_units
from apiary_sales.orders.rules.lines import LineWanted, pounds_to_print
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import ProductTax, TaxRate
from apiary_sales.pricing.rules import tax
from inventory.shared import keys
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.models import House
from inventory.shared.money import cents_half_up
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.services import numbers

# What has no product; a product says itself what it is taxed as.
GOODS_TAXED_AS: dict[str, TaxRate.Goods] = {
    OrderLine.Kind.HONEY: TaxRate.Goods.HONEY,
    OrderLine.Kind.DRUM_DEPOSIT: TaxRate.Goods.OTHER,
    OrderLine.Kind.DRUM_SALE: TaxRate.Goods.OTHER,
    OrderLine.Kind.FREIGHT: TaxRate.Goods.FREIGHT,
    OrderLine.Kind.WEIGHED: TaxRate.Goods.OTHER,
}


@dataclass(frozen=True)
class Draft:
    """An invoice as it would be issued now, without a number, and its lines; neither is saved."""

    invoice: Invoice
    lines: list[InvoiceLine]


def find(key: str) -> Invoice | None:
    """Return the bill already made with this idempotency key."""
    return Invoice.objects.filter(idempotency_key=key).first()


def to_invoice(order: Order) -> QuerySet[FulfilmentLine]:
    """Return what was handed over of an order, not taken back, and is on no invoice yet."""
    return (
        FulfilmentLine.objects.filter(
            fulfilment__order=order,
            fulfilment__is_taken_back=False,
            invoice_lines__isnull=True,
        )
        .select_related(
            "order_line__drum",
            "order_line__product",
            "order_line__service",
            "lot",
            "fulfilment",
            "weighing",
        )
        .order_by("order_line", "id")
    )


def draft(order: Order, issued_on: date | None = None) -> Draft | None:
    """Return the invoice that `issue` would make now; None when there is nothing to invoice."""
    goods = list(to_invoice(order))
    if not goods:
        return None
    return _compose(order, goods, issued_on or timezone.localdate())


@transaction.atomic
def issue(*, order: Order, issued_by: Person, key: str, issued_on: date | None = None) -> Invoice:
    """Bill everything handed over of an order that is on no invoice yet, and return the invoice.

    It gets the next number of its series ("26-00017", stand receipts "R26-00042"), the tax of its
    day or the customer's exemption, and the addresses as they are now; its total is the sum of the
    rounded lines, owed from that moment. Raises `NotAllowedNow` when there is nothing to invoice,
    `BadValue` for an impossible date, `AlreadyRecorded` when the same form came before.
    """
    order = orders.lock(order)
    refuse_repeat(Invoice, key)
    issued_on = issued_on or timezone.localdate()
    goods = list(to_invoice(order))
    if not goods:
        raise NotAllowedNow(_why_nothing(order))
    _check_date(issued_on, max(line.fulfilment.filled_on for line in goods))
    draft = _compose(order, goods, issued_on)
    prefix = Invoice.RECEIPT_PREFIX if order.channel == Order.Channel.STAND else ""
    if not prefix:
        # Receipts of sales kept without signal come in later than the days they are of.
        _check_order_of_days(issued_on)
    made = _save(draft, prefix=prefix, issued_by=issued_by, key=key)
    payments.use_prepayments(invoice=made)
    return made


@transaction.atomic
def credit(
    *,
    invoice: Invoice,
    issued_by: Person,
    key: str,
    reason: str,
    issued_on: date | None = None,
    gives_money_back: bool = False,
    had_left: bool = False,
    spoils_weighed: bool = False,
) -> Invoice:
    """Take a whole invoice back by a credit note, bring its goods back, and return the note.

    A deposit given back before is left out: together the credit notes come to the invoice.
    What was paid on the invoice stays on the customer's account. `gives_money_back` says that the
    caller hands it back in the same transaction, as undoing a stand sale does; a paid receipt
    without a customer can be credited in no other way. `had_left` says that the goods were out of
    the house: their pieces are kept apart until somebody decides, and what was weighed out is
    spoiled; `spoils_weighed`, that only what was weighed out had. Raises `NotAllowedNow` for a
    second credit and for a credit note, `BadValue` without a reason, `AlreadyRecorded`.
    """
    if invoice.order is None:
        raise NotAllowedNow(
            _("Invoice %(invoice)s was written before the books began. Take it back instead.")
            % {"invoice": invoice}
        )
    # With the order locked, its goods are billed, and its invoices credited, once.
    orders.lock(invoice.order)
    refuse_repeat(Invoice, key)
    issued_on = issued_on or timezone.localdate()
    _check_credit(invoice, reason, issued_on, gives_money_back)
    for fulfilment in Fulfilment.objects.filter(
        lines__invoice_lines__invoice=invoice, is_taken_back=False
    ).distinct():
        orders.take_back(
            fulfilment=fulfilment,
            taken_by=issued_by,
            key=keys.part(key, fulfilment.pk),
            reason=reason,
            is_credited=True,
            had_left=had_left,
            spoils_weighed=spoils_weighed,
        )
    lines = [rules.negative(line) for line in _uncredited(invoice)]
    return _credit(invoice, lines, issued_on=issued_on, note=reason, issued_by=issued_by, key=key)


@transaction.atomic
def credit_deposit(
    *, invoice: Invoice, drums: int, issued_by: Person, key: str, issued_on: date | None = None
) -> Invoice:
    """Credit the deposit of so many drums that came back, with its tax, and return the note.

    It comes off what is to pay on the invoice; what was paid already stays on the customer's
    account, from where it can be given back. Raises `NotAllowedNow` when no drum of the invoice is
    out on deposit, `BadValue` for more than are, `AlreadyRecorded`.
    """
    if invoice.order is not None:
        orders.lock(invoice.order)
    refuse_repeat(Invoice, key)
    out = _deposits(invoice)
    there = sum(int(line.quantity) for line in out)
    if not there:
        raise NotAllowedNow(
            _("Invoice %(invoice)s has no drum out on deposit any more.") % {"invoice": invoice}
        )
    if not 1 <= drums <= there:
        raise BadValue(
            ngettext(
                "Invoice %(invoice)s has %(count)s drum out on deposit. Enter 1.",
                "Invoice %(invoice)s has %(count)s drums out on deposit. Enter from 1 to "
                "%(count)s.",
                there,
            )
            % {"invoice": invoice, "count": there},
            parameter="drums",
        )
    came_back = ngettext(
        "Deposit of %(count)s drum that came back",
        "Deposit of %(count)s drums that came back",
        drums,
    ) % {"count": drums}
    lines = []
    for line in out:
        if back := min(drums, int(line.quantity)):
            lines.append(rules.negative(rules.part(line, back)))
            drums -= back
    return _credit(
        invoice,
        lines,
        returns_deposit=True,
        issued_on=issued_on or timezone.localdate(),
        note=came_back,
        issued_by=issued_by,
        key=key,
    )


def drums_on_deposit(invoice: Invoice) -> int:
    """Return how many drums of an invoice are out on a deposit that no credit note gave back."""
    return sum(int(line.quantity) for line in _deposits(invoice))


def _deposits(invoice: Invoice) -> list[InvoiceLine]:
    return [
        line
        for line in _uncredited(invoice)
        if line.fulfilment_line.order_line.kind == OrderLine.Kind.DRUM_DEPOSIT
    ]


def _uncredited(invoice: Invoice) -> list[InvoiceLine]:
    """Return the lines of a bill, less what credit notes took off them; none is to be saved."""
    return rules.uncredited(
        invoice.lines.select_related("fulfilment_line__order_line"),
        InvoiceLine.objects.filter(invoice__credits=invoice),
    )


def _credit(
    invoice: Invoice,
    lines: list[InvoiceLine],
    *,
    issued_on: date,
    note: str,
    issued_by: Person,
    key: str,
    returns_deposit: bool = False,
) -> Invoice:
    """Save a credit note of these lines, and take what it comes to off its invoice."""
    made = Invoice(
        customer=invoice.customer,
        order=invoice.order,
        credits=invoice,
        returns_deposit=returns_deposit,
        issued_on=issued_on,
        due_on=issued_on,
        currency=invoice.currency,
        seller=_seller(House.current()),
        buyer=invoice.buyer,
        exemption=invoice.exemption,
        note=note.strip(),
    )
    _add_up(made, lines)
    _save(Draft(made, lines), prefix=Invoice.CREDIT_PREFIX, issued_by=issued_by, key=key)
    adjustments.make_room_for_credit(invoice=invoice, made_by=issued_by, key=key)
    book.credit(invoice, -made.total_cents)
    return made


def _why_nothing(order: Order) -> str:
    numbers = ", ".join(
        str(invoice) for invoice in Invoice.objects.filter(order=order).order_by("id")
    )
    if numbers:
        return _("Everything handed over for order %(order)s is already invoiced: %(numbers)s.") % {
            "order": order.number,
            "numbers": numbers,
        }
    return _(
        "No goods of order %(order)s have been handed over yet, so it can't be invoiced. "
        "Hand over the goods first."
    ) % {"order": order.number}


def _check_date(issued_on: date, handed_over_on: date) -> None:
    if issued_on > timezone.localdate():
        raise BadValue(
            _("An invoice can't be dated in the future. Choose today or earlier."),
            parameter="issued_on",
        )
    if issued_on < handed_over_on:
        raise BadValue(
            _("The goods were handed over on %(day)s; the invoice can't be older than that.")
            % {"day": date_format(handed_over_on)},
            parameter="issued_on",
        )


def _check_order_of_days(issued_on: date) -> None:
    """Refuse an invoice older than the last one of its series: numbers follow the days."""
    last = Invoice.objects.filter(series=_series("", issued_on)).order_by("-number").first()
    if last and issued_on < last.issued_on:
        raise BadValue(
            _(
                "The last invoice, %(last)s, is dated %(day)s, and invoice numbers must "
                "follow the dates. Choose that day or a later one."
            )
            % {"last": last, "day": date_format(last.issued_on)},
            parameter="issued_on",
        )


def _check_credit(invoice: Invoice, reason: str, issued_on: date, gives_money_back: bool) -> None:
    if invoice.is_credit_note:
        raise NotAllowedNow(_("A credit note can't be credited. Issue an invoice instead."))
    if note := invoice.full_credit_note:
        raise NotAllowedNow(
            _("Invoice %(invoice)s already has a credit note: %(note)s.")
            % {"invoice": invoice, "note": note}
        )
    if invoice.customer_id is None and invoice.allocations.exists() and not gives_money_back:
        raise NotAllowedNow(
            _(
                "Receipt %(receipt)s was paid at the stand. Undo the stand sale instead, so that "
                "the money goes back with the goods."
            )
            % {"receipt": invoice}
        )
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why the goods come back; it is printed on the credit note."))
    if issued_on > timezone.localdate():
        problems.add(
            "issued_on", _("A credit note can't be dated in the future. Choose today or earlier.")
        )
    problems.raise_any()


def _compose(order: Order, goods: Sequence[FulfilmentLine], issued_on: date) -> Draft:
    """Return the invoice of these goods, unsaved and without a number."""
    house, customer = House.current(), order.customer
    supplied_on = max(good.fulfilment.filled_on for good in goods)
    is_exempt = customer is not None and customer.is_exempt_on(supplied_on)
    lines = [_line(good) for good in goods]
    own = ProductTax.objects.by_product()
    taxes = tax.tax_invoice_lines(
        [tax.TaxLine(taxed_as(good.order_line, own), good.amount_cents) for good in goods],
        house.tax_rounding,
        rates={} if is_exempt else tax.rates_by_goods(TaxRate.objects.in_force(supplied_on)),
    )
    for line, taxed in zip(lines, taxes, strict=True):
        line.tax_name = taxed.name
        line.tax_percent = taxed.percent
        line.tax_cents = taxed.tax_cents
    at_once = order.channel == Order.Channel.STAND
    due_days = customer.terms_days if customer and not at_once else 0
    invoice = Invoice(
        customer=customer,
        order=order,
        issued_on=issued_on,
        supplied_on=supplied_on,
        due_on=issued_on + timedelta(days=due_days),
        language=customer.paper_language if customer else House.language(),
        **_discount_terms(customer, order, issued_on, house),
        currency=settings.CURRENCY,
        seller=_seller(house),
        buyer=_buyer(customer, order),
        exemption=_exemption(customer) if customer and is_exempt else "",
    )
    _add_up(invoice, lines)
    return Draft(invoice, lines)


def _discount_terms(
    customer: Customer | None, order: Order, issued_on: date, house: House
) -> dict[str, Any]:
    """Return what an early payment of this customer takes off, as fixed at issue; none is empty.

    A fee, interest or work that is billed by itself has none, nor what is paid at the stand.
    """
    without = (Order.Channel.STAND, Order.Channel.SERVICE)
    if customer is None or not customer.discount_percent or order.channel in without:
        return {}
    return {
        "discount_percent": customer.discount_percent,
        "discount_until": issued_on + timedelta(days=customer.discount_days),
        "discount_on_tax": house.discount_lowers_tax,
    }


def _add_up(invoice: Invoice, lines: Sequence[InvoiceLine]) -> None:
    total = rules.total_of(lines)
    invoice.net_cents = total.net_cents
    invoice.tax_cents = total.tax_cents
    invoice.total_cents = total.total_cents


def _save(draft: Draft, *, prefix: str, issued_by: Person, key: str) -> Invoice:
    """Number, save and enter a bill with its lines, and return it."""
    invoice, lines = draft.invoice, draft.lines
    invoice.series = _series(prefix, invoice.issued_on)
    invoice.number = numbers.next_number(f"invoice {invoice.series}")
    invoice.open_cents = 0 if invoice.is_credit_note else invoice.total_cents
    invoice.issued_by = issued_by
    invoice.idempotency_key = key
    invoice.save()
    for line in lines:
        line.invoice = invoice
    InvoiceLine.objects.bulk_create(lines)
    book.enter(
        kind=Entry.Kind.CREDIT_NOTE if invoice.is_credit_note else Entry.Kind.INVOICE,
        lines=[
            BookLine(Account.RECEIVABLE, invoice.total_cents, invoice.customer),
            BookLine(Account.SALES, -invoice.net_cents),
            BookLine(Account.SALES_TAX, -invoice.tax_cents),
        ],
        happened_on=invoice.issued_on,
        invoice=invoice,
    )
    return invoice


def _series(prefix: str, day: date) -> str:
    return f"{prefix}{day:%y}"


def taxed_as(line: OrderLine | LineWanted, own: Mapping[int, ProductTax]) -> str:
    """Return the kind of goods whose tax a line bears; a service and a product say so themselves.

    `own` are the classes that products have of their own, as `ProductTax.objects.by_product`.
    """
    if line.service is not None:
        return line.service.taxed_as
    if line.product is not None:
        return tax.class_of(line.product, own)
    return GOODS_TAXED_AS[line.kind]


def _line(good: FulfilmentLine) -> InvoiceLine:
    """Return the printed line of some goods; what is sold by weight is billed by the pound."""
    order_line = good.order_line
    if order_line.service is not None:
        quantity = service_units.amount(good.quantity)
        unit = InvoiceLine.Unit(order_line.service.unit)
    elif order_line.is_by_weight:
        gross_cents = good.amount_cents + order_line.discount_cents
        quantity = pounds_to_print(good.quantity, order_line.unit_price, gross_cents)
        unit = InvoiceLine.Unit.POUND
    else:
        quantity, unit = Decimal(good.quantity), InvoiceLine.Unit.PIECE
    discount_cents = 0
    if order_line.discount_cents:
        before = cents_half_up(quantity * order_line.unit_price)
        discount_cents = max(0, before - good.amount_cents)
    return InvoiceLine(
        fulfilment_line=good,
        description=order_line.description,
        lot_code=good.lot.code if good.lot else "",
        quantity=quantity,
        unit=unit,
        unit_price=order_line.unit_price,
        discount_cents=discount_cents,
        amount_cents=good.amount_cents,
    )


def _seller(house: House) -> dict[str, str]:
    """Return the house's address as printed on this day."""
    fields = ("name", "street", "city", "region", "postal_code", "country")
    more = ("phone", "email", "tax_number", "payment_note")
    return {field: getattr(house, field) for field in (*fields, *more)}


def _buyer(customer: Customer | None, order: Order) -> dict[str, str]:
    """Return the customer's address as printed on this day; empty for a buyer at the stand."""
    reference = {"order_number": order.number, "reference": order.customer_reference}
    if customer is None:
        return reference
    fields = ("name", "contact", "street", "city", "region", "postal_code", "country")
    return {**{field: getattr(customer, field) for field in fields}, **reference}


def _exemption(customer: Customer) -> str:
    return _("Exempt from sales tax, certificate %(number)s") % {
        "number": customer.certificate_number
    }
