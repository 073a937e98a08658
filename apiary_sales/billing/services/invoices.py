"""Bills for goods handed over: invoices and stand receipts; `credit_notes` takes them back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import chain
from typing import Any

from django.db import models
from django.db.models import QuerySet
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing import rules
from apiary_sales.billing.models import Entry, Invoice, InvoiceLine, InvoiceLineTax
from apiary_sales.billing.services import book, line_taxes, payments
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.orders.rules import service_units
from apiary_sales.orders.rules.lines import LineWanted, pounds_to_print
from apiary_sales.orders.services import orders, returns
from apiary_sales.pricing.models import ProductTax, TaxRate
from apiary_sales.pricing.rules import tax
from inventory.shared import acts, checks, conventions
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.models import House
from inventory.shared.money import cents_half_up
from inventory.shared.people import Person
from inventory.shared.prepared import Given, PreparedQuery
from inventory.shared.services import books_lock
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.services import numbers

# What has no product; a product says itself what it is taxed as.
GOODS_TAXED_AS: dict[str, str] = {
    OrderLine.Kind.HONEY: TaxRate.Goods.HONEY,
    OrderLine.Kind.DRUM_DEPOSIT: tax.DEPOSIT,
    OrderLine.Kind.DRUM_SALE: TaxRate.Goods.OTHER,
    OrderLine.Kind.FREIGHT: TaxRate.Goods.FREIGHT,
    OrderLine.Kind.WEIGHED: TaxRate.Goods.OTHER,
}


@dataclass(frozen=True)
class Draft:
    """A bill as it would be issued now, without a number; nothing of it is saved.

    `taxes` has, for each line, the taxes on it.
    """

    invoice: Invoice
    lines: list[InvoiceLine]
    taxes: list[list[InvoiceLineTax]]

    @property
    def tax_sums(self) -> list[rules.TaxSum]:
        """The tax by rate, as it is printed."""
        return rules.taxes_of(self.lines, chain(*self.taxes))


def find(key: str) -> Invoice | None:
    """Return the bill already made with this idempotency key."""
    return Invoice.objects.filter(idempotency_key=key).first()


def to_invoice(order: Order | Given) -> QuerySet[FulfilmentLine]:
    """Return what was handed over of an order, not taken back, and is on no invoice yet."""
    return (
        FulfilmentLine.objects.unbilled()
        .filter(fulfilment__order=order)
        .select_related(
            "order_line__product",
            "order_line__service",
            "lot",
            "fulfilment",
            "weighing",
        )
        .order_by("order_line", "id")
    )


_TO_INVOICE = PreparedQuery(lambda: to_invoice(Given("order", models.IntegerField())))


def draft(
    order: Order, issued_on: date | None = None, goods: Sequence[FulfilmentLine] | None = None
) -> Draft | None:
    """Return the invoice that `issue` would make now; None when there is nothing to invoice."""
    goods = _TO_INVOICE.rows(order=order.pk) if goods is None else goods
    if not goods:
        return None
    return compose(order, [(good, line_of(good)) for good in goods], issued_on)


@acts.act
def issue(
    *,
    order: Order,
    issued_by: Person,
    key: str,
    issued_on: date | None = None,
    expected_total_cents: int | None = None,
    goods: Sequence[FulfilmentLine] | None = None,
) -> Invoice:
    """Bill everything handed over of an order that is on no invoice yet, and return the invoice.

    It is dated and numbered now, or on `issued_on` where it is brought over from elsewhere: the
    numbers of a series run with its dates. The taxes and the certificate of the day of the
    hand-over count, and the addresses as they are now; its total is the sum of the rounded lines,
    owed from that moment. `expected_total_cents` is the total that was shown to the person;
    `goods` is all that was handed over, of an order that was made in the same act.
    Raises `NotAllowedNow` when there is nothing to invoice, `FiguresChanged`, `BadValue` for an
    impossible date, `AlreadyRecorded` when the same form came before.
    """
    if goods is None:
        order = orders.lock(order, "customer")
    refuse_repeat(Invoice, key)
    made = draft(order, issued_on, goods)
    if made is None:
        raise NotAllowedNow(_why_nothing(order))
    _check_date(made.invoice.issued_on, made.invoice.supplied_on)
    check_total(made, expected_total_cents)
    is_receipt = order.channel == Order.Channel.STAND
    prefix = Invoice.RECEIPT_PREFIX if is_receipt else Invoice.INVOICE_PREFIX
    bill = save(made, prefix=prefix, issued_by=issued_by, key=key)
    payments.use_prepayments(invoice=bill)
    return bill


def check_total(draft: Draft, expected_total_cents: int | None) -> None:
    """Raise `FiguresChanged` when a bill would not come to the total that was shown."""
    checks.check_total(abs(draft.invoice.total_cents), expected_total_cents)


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


def _check_order_of_days(invoice: Invoice) -> None:
    """Refuse a bill for an earlier day than the one numbered before it: numbers follow the days.

    One of today is never refused. Where the last one seems later than that, the clock of the
    machine was set, and selling goes on.
    """
    if invoice.issued_on >= timezone.localdate():
        return
    last = Invoice.objects.filter(series=invoice.series, number=invoice.number - 1).first()
    if last and invoice.issued_on < last.issued_on:
        raise BadValue(
            _(
                "The last one, %(last)s, is dated %(day)s, and numbers must follow the dates. "
                "Choose that day or a later one."
            )
            % {"last": last, "day": date_format(last.issued_on)},
            parameter="issued_on",
        )


def compose(
    order: Order,
    priced: Sequence[tuple[FulfilmentLine, InvoiceLine]],
    issued_on: date | None = None,
    *,
    certificate: ExemptionCertificate | None = None,
) -> Draft:
    """Return the bill of these goods at the prices of their lines, with the taxes due on them.

    The buyer's certificate of the day of the hand-over counts, unless another is given.
    """
    house, customer = House.current(), order.customer
    issued_on = issued_on or timezone.localdate()
    goods, lines = [good for good, _line in priced], [line for _good, line in priced]
    supplied_on = max(good.fulfilment.filled_on for good in goods)
    certificate = certificate or line_taxes.certificate_of(customer, supplied_on)
    own = ProductTax.objects.by_product()
    at_once = order.channel == Order.Channel.STAND
    taxes = line_taxes.put_on(
        lines,
        [taxed_as(good.order_line, own) for good in goods],
        on=supplied_on,
        house=house,
        certificate=certificate,
        rounding="" if customer is None or at_once else _rounding_for(customer),
    )
    due_days = customer.terms_days if customer and not at_once else 0
    invoice = Invoice(
        customer=customer,
        order=order,
        issued_on=issued_on,
        supplied_on=supplied_on,
        due_on=issued_on + timedelta(days=due_days),
        language=order.paper_language,
        **_discount_terms(customer, order, issued_on, house),
        currency=conventions.current().currency,
        seller=seller_of(house),
        buyer=_buyer(customer, order),
        exemption=_exemption(customer, certificate),
        prices_include_tax=house.prices_include_tax,
    )
    return add_up(invoice, lines, taxes)


def _exemption(customer: Customer | None, certificate: ExemptionCertificate | None) -> str:
    """Return what a bill says of a certificate, in the language of the paper."""
    if customer is None or certificate is None:
        return ""
    with translation.override(customer.paper_language):
        return certificate.sentence()


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


def add_up(invoice: Invoice, lines: list[InvoiceLine], taxes: list[list[InvoiceLineTax]]) -> Draft:
    """Return the draft of a bill of these lines, its total the sum of them and their rounding."""
    for line in lines:
        line.invoice = invoice
    total = rules.total_of(lines)
    invoice.net_cents = total.net_cents
    invoice.tax_cents = total.tax_cents
    invoice.rounding_cents = total.rounding_cents
    invoice.total_cents = total.total_cents
    return Draft(invoice, lines, taxes)


def save(draft: Draft, *, prefix: str, issued_by: Person, key: str) -> Invoice:
    """Number, save and enter a bill with its lines and their taxes, and return it.

    Raises `BadValue` where its day is closed, or an earlier one before that of the last one of its
    series.
    """
    invoice, lines = draft.invoice, draft.lines
    problems = Problems()
    books_lock.check_open(problems, "issued_on", invoice.issued_on)
    problems.raise_any()
    invoice.series = _series(prefix, invoice.issued_on)
    invoice.number = numbers.next_number(f"invoice {invoice.series}")
    _check_order_of_days(invoice)
    invoice.open_cents = 0 if invoice.is_credit_note else invoice.total_cents
    invoice.issued_by = issued_by
    invoice.idempotency_key = key
    invoice.save()
    for line in lines:
        line.invoice = invoice
    InvoiceLine.objects.bulk_create(lines)
    for line, taxes in zip(lines, draft.taxes, strict=True):
        for row in taxes:
            row.line = line
    InvoiceLineTax.objects.bulk_create(row for taxes in draft.taxes for row in taxes)
    _enter(invoice, lines)
    billed: dict[int, int] = {}
    for line in lines:
        if line.fulfilment_line_id:
            cents = billed.get(line.fulfilment_line_id, 0)
            billed[line.fulfilment_line_id] = cents + line.amount_cents
    returns.note_billed(billed)
    return invoice


def _enter(invoice: Invoice, lines: Sequence[InvoiceLine]) -> None:
    deposit_cents = sum(line.amount_cents for line in lines if line.is_deposit)
    book.enter(
        kind=Entry.Kind.CREDIT_NOTE if invoice.is_credit_note else Entry.Kind.INVOICE,
        lines=[
            BookLine(Account.RECEIVABLE, invoice.total_cents, invoice.customer),
            BookLine(Account.SALES, deposit_cents - invoice.net_cents),
            # What is held for a drum is owed to the buyer until the drum is back.
            BookLine(Account.DEPOSITS, -deposit_cents),
            BookLine(Account.SALES_TAX, -invoice.tax_cents),
            BookLine(Account.ROUNDING, -invoice.rounding_cents),
        ],
        # A sale at the stand counts on its own day, however late its receipt is written.
        happened_on=invoice.supplied_on if invoice.is_receipt else invoice.issued_on,
        invoice=invoice,
    )


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


def line_of(good: FulfilmentLine) -> InvoiceLine:
    """Return the printed line of some goods; what is sold by weight by its unit."""
    order_line = good.order_line
    if order_line.service is not None:
        quantity = service_units.amount(good.quantity)
        unit = InvoiceLine.Unit(order_line.service.unit)
    elif order_line.is_by_weight:
        gross_cents = good.amount_cents + order_line.discount_cents
        quantity = pounds_to_print(good.quantity, order_line.unit_price, gross_cents)
        unit = InvoiceLine.Unit(conventions.current().weight_unit)
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


def seller_of(house: House) -> dict[str, str]:
    """Return the house's address as printed on this day."""
    fields = ("name", "street", "city", "region", "postal_code", "country")
    more = ("country_code", "phone", "email", "tax_number", "payment_note")
    account = ("bank_account", "bank_code")
    return {field: getattr(house, field) for field in (*fields, *more, *account)}


def _buyer(customer: Customer | None, order: Order) -> dict[str, str]:
    """Return the customer's address as printed on this day; empty for a buyer at the stand."""
    reference = {"order_number": order.number, "reference": order.customer_reference}
    return reference if customer is None else {**buyer_of(customer), **reference}


def buyer_of(customer: Customer) -> dict[str, str]:
    """Return what a bill says of a customer on this day."""
    fields = ("name", "contact", "street", "city", "region", "postal_code", "country")
    more = ("country_code", "tax_number", "email", "buyer_reference")
    return {field: getattr(customer, field) for field in (*fields, *more)}


def _rounding_for(customer: Customer) -> str:
    """Return how the tax of a customer's invoices is rounded; empty is as the house rounds."""
    return tax.BY_RATE if customer.gets_data else ""
