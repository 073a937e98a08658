"""Invoices, payments, and the balanced book of money owed."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine, Weighing
from apiary_sales.orders.rules.lines import printed_quantity
from apiary_sales.pricing.models import GoodsCategory
from inventory.shared import series, words
from inventory.shared.literals import NO_TEXT, ZERO
from inventory.shared.money import cents_half_up


def plain(number: Decimal) -> Decimal:
    """Return a number without trailing zeros: 2.5000 as 2.5, and 20.0000 as 20."""
    return Decimal(f"{number.normalize():f}")


class InvoiceQuerySet(models.QuerySet["Invoice"]):
    def open(self) -> "InvoiceQuerySet":
        """Return what is not paid yet, or not all of it."""
        return self.filter(open_cents__gt=ZERO)

    def of_before(self) -> "InvoiceQuerySet":
        """Return what was written before the books began."""
        return self.filter(opening_number__gt=NO_TEXT)

    def open_of(self, customer: Customer | None) -> "InvoiceQuerySet":
        """Return what a customer still has to pay, what is due first first."""
        found = self.open().filter(customer=customer)
        # A stand receipt without a customer belongs to nobody's account.
        return found.order_by("due_on", "id") if customer else found.none()


class Invoice(models.Model):
    """A numbered bill for goods handed over: an invoice, a stand receipt or a credit note.

    A credit note takes back some or all that is left of its invoice; where it `returns_deposit`,
    the deposit of drums that came back. Nothing printed on a bill is ever changed. `open_cents` is
    what is still to be paid: the total less credit notes and what payments and adjustments were put
    to it; the services keep it, `verify_ledger` proves it.

    `issued_on` is the day it was numbered, `supplied_on` the last day on which its goods were
    handed over, whose tax rates and certificates count; `entry.entered_on` is the day it counts on.
    `rounding_cents` is what net and tax cannot reach of a price that includes its tax. An opening
    document was written before the books began; it has the number it had there and no order.
    """

    INVOICE_PREFIX = series.INVOICES
    RECEIPT_PREFIX = series.RECEIPTS
    CREDIT_PREFIX = series.CREDIT_NOTES
    OPENING_SERIES = "O"

    series = models.CharField(max_length=12)
    number = models.PositiveIntegerField()
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="invoices"
    )
    order = models.ForeignKey(
        Order, on_delete=models.PROTECT, null=True, blank=True, related_name="invoices"
    )
    credits = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="credit_notes"
    )
    returns_deposit = models.BooleanField(default=False)
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    opening_number = models.CharField(_("number before"), max_length=40, blank=True)
    issued_on = models.DateField(_("issued"), default=timezone.localdate)
    supplied_on = models.DateField(_("handed over"), default=timezone.localdate)
    due_on = models.DateField(_("due"))
    language = models.CharField(_("language"), max_length=8, default="en")
    currency = models.CharField(max_length=3)
    seller = models.JSONField()
    buyer = models.JSONField()
    exemption = models.CharField(max_length=120, blank=True)
    prices_include_tax = models.BooleanField(default=False)
    # Off for early payment, by the terms of the day it was issued; see `early_payment`.
    discount_percent = models.DecimalField(max_digits=5, decimal_places=2, default=0)
    discount_until = models.DateField(null=True, blank=True)
    discount_on_tax = models.BooleanField(default=True)
    net_cents = models.BigIntegerField()
    tax_cents = models.BigIntegerField()
    rounding_cents = models.BigIntegerField(default=0)
    total_cents = models.BigIntegerField()
    open_cents = models.BigIntegerField(default=0)
    note = models.CharField(_("reason"), max_length=300, blank=True)
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = InvoiceQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        permissions = [
            ("issue_invoices", "Can issue invoices and credit notes"),
            ("view_money", "Can see money owed and earned"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["series", "number"], name="invoice_number_is_one"),
            models.CheckConstraint(
                condition=Q(
                    total_cents=models.F("net_cents")
                    + models.F("tax_cents")
                    + models.F("rounding_cents")
                ),
                name="invoice_total_is_net_tax_and_rounding",
            ),
            models.CheckConstraint(
                condition=Q(open_cents__gte=0)
                & (Q(open_cents=0) | Q(open_cents__lte=models.F("total_cents"))),
                name="invoice_open_between_0_and_total",
            ),
            models.CheckConstraint(
                condition=Q(returns_deposit=False) | Q(credits__isnull=False),
                name="invoice_deposit_is_returned_by_a_credit_note",
            ),
            models.CheckConstraint(
                condition=Q(order__isnull=False) | ~Q(opening_number=""),
                name="invoice_without_an_order_is_an_opening_document",
            ),
        ]
        indexes = [
            models.Index(fields=["issued_on", "id"], name="invoice_by_day"),
            # Few bills have these; see the indexes of postings.
            models.Index(
                fields=["corrects"],
                condition=Q(corrects__isnull=False),
                name="invoice_corrects_one",
            ),
            models.Index(
                fields=["credits"], condition=Q(credits__isnull=False), name="invoice_credits_one"
            ),
            models.Index(
                fields=["due_on"], condition=Q(open_cents__gt=0), name="invoice_open_by_due_day"
            ),
            # By its key, which these are listed by: SQLite would go through all keys otherwise.
            models.Index(
                fields=["id"], condition=Q(opening_number__gt=""), name="invoice_of_before"
            ),
            models.Index(
                fields=["customer", "due_on"],
                condition=Q(open_cents__gt=0),
                name="invoice_open_of_customer",
            ),
        ]

    def __str__(self) -> str:
        return self.opening_number or f"{self.series}-{self.number:05d}"

    @property
    def is_opening(self) -> bool:
        """Whether it was written before the books began."""
        return self.opening_number != ""

    @property
    def discount_cents(self) -> int:
        """What its terms take off for early payment, of what is not credited; 0 without such terms.

        The deposit on drums is no price, so it has no discount.
        """
        if not self.discount_percent:
            return 0
        left = (
            InvoiceLine.objects.filter(Q(invoice=self) | Q(invoice__credits=self))
            .exclude(fulfilment_line__order_line__kind=OrderLine.Kind.DRUM_DEPOSIT)
            .aggregate(net=Coalesce(Sum("amount_cents"), 0), tax=Coalesce(Sum("tax_cents"), 0))
        )
        base_cents = left["net"] + (left["tax"] if self.discount_on_tax else 0)
        return cents_half_up(Decimal(base_cents) / 100 * self.discount_percent / 100)

    @property
    def discount_rate(self) -> Decimal:
        """The percentage without the zeros it is stored with."""
        return plain(self.discount_percent)

    @property
    def is_credit_note(self) -> bool:
        return self.credits_id is not None

    @property
    def is_receipt(self) -> bool:
        return self.series.startswith(self.RECEIPT_PREFIX)

    @property
    def is_taken_back(self) -> bool:
        """Whether credit notes took back all of it."""
        notes = self.credit_notes.all()
        return bool(notes) and sum(note.total_cents for note in notes) == -self.total_cents

    @property
    def terms_days(self) -> int:
        return (self.due_on - self.issued_on).days


class InvoiceLine(models.Model):
    """One line of an invoice as printed: quantity × unit price − discount = amount.

    Quantity, discount, amount and tax are negative on a credit note, whose lines say what they
    credit: goods, by quantity at the price billed; a price, by the difference for a quantity; or an
    allowance, by an amount. `tax_category` is a code of UNCL5305, as EN 16931 uses it.

    `amount_cents` is before tax. Where prices include their tax, quantity × unit price − discount
    is `shown_cents` instead: the amount with its tax, and with a cent that both cannot reach.
    """

    class CreditedAs(models.TextChoices):
        GOODS = "goods", _("goods")
        PRICE = "price", _("price")
        ALLOWANCE = "allowance", _("allowance")

    TaxCategory = GoodsCategory.Category

    class Unit(models.TextChoices):
        PIECE = "piece", _("pc")
        POUND = "lb", _("lb")
        # Of services; a pound of work is no weight of goods.
        EACH = "each", _("each")
        HOUR = "hour", _("hour")
        DAY = "day", _("day")
        MONTH = "month", _("month")
        HIVE = "hive", _("hive")
        DRUM = "drum", _("drum")
        SERVED_POUND = "pound", _("lb")
        KILOGRAM = "kg", _("kg")
        SERVED_KILOGRAM = "kilogram", _("kg")

    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")
    fulfilment_line = models.ForeignKey(
        FulfilmentLine,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="invoice_lines",
    )
    credits_line = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="credit_lines"
    )
    credited_as = models.CharField(max_length=10, choices=CreditedAs, blank=True)
    description = models.CharField(max_length=200)
    lot_code = models.CharField(max_length=30, blank=True)
    quantity = models.DecimalField(max_digits=16, decimal_places=5)
    unit = models.CharField(max_length=12, choices=Unit)
    unit_price = models.DecimalField(max_digits=12, decimal_places=4)
    discount_cents = models.BigIntegerField(default=0)
    amount_cents = models.BigIntegerField()
    tax_name = models.CharField(max_length=60, blank=True)
    tax_percent = models.DecimalField(max_digits=7, decimal_places=4, default=0)
    tax_cents = models.BigIntegerField(default=0)
    rounding_cents = models.BigIntegerField(default=0)
    tax_category = models.CharField(
        max_length=1, choices=TaxCategory, default=TaxCategory.ZERO_RATED
    )
    exemption_reason = models.CharField(max_length=120, blank=True)
    certificate = models.ForeignKey(
        ExemptionCertificate, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(credits_line__isnull=True, credited_as="")
                | (Q(credits_line__isnull=False) & ~Q(credited_as="")),
                name="invoice_line_says_what_it_credits",
            ),
        ]

    def __str__(self) -> str:
        return self.description

    @property
    def is_by_weight(self) -> bool:
        """Whether it is of goods that are priced by their weight."""
        return self.unit in (self.Unit.POUND, self.Unit.KILOGRAM)

    @property
    def price_is_for(self) -> str:
        """Say what the price is for, where it is by weight: "a lb" or "a kg"."""
        if not self.is_by_weight:
            return ""
        return str(_("a kg") if self.unit == self.Unit.KILOGRAM else _("a lb"))

    @property
    def shown_quantity(self) -> str:
        """The quantity as printed: whole pieces, weights with two decimals or, if needed, three."""
        return self.as_printed(self.quantity)

    def as_printed(self, quantity: Decimal) -> str:
        """Return this or another quantity of the line as `shown_quantity` is printed."""
        needed = -int(plain(quantity).as_tuple().exponent)
        places = max(2, needed) if self.is_by_weight else needed
        return number_format(quantity, places, force_grouping=True).replace("-", "−")

    @property
    def shown_cents(self) -> int:
        """The amount as its price says it: with its tax, where prices include it."""
        if not self.invoice.prices_include_tax:
            return self.amount_cents
        return self.amount_cents + self.tax_cents + self.rounding_cents

    @property
    def multiplies_out(self) -> bool:
        """Whether quantity × unit price − discount gives the printed amount."""
        gross_cents = cents_half_up(self.quantity * self.unit_price)
        return gross_cents - self.discount_cents == self.shown_cents

    @property
    def made_up_of(self) -> str:
        """How the amount is made up where it does not multiply out; empty where it does.

        The lots of one order line share its amount, so that their cents add up to it.
        """
        if self.multiplies_out or self.fulfilment_line is None:
            return ""
        whole = self.fulfilment_line.order_line
        return _("part of %(quantity)s at %(price)s, %(amount)s together") % {
            "quantity": printed_quantity(whole),
            "price": words.unit_price(whole.unit_price),
            "amount": words.money(whole.amount_cents),
        }

    @property
    def weighing(self) -> Weighing | None:
        """How the weight was found, where more than the net weight was written down."""
        return self.fulfilment_line.weighing if self.fulfilment_line else None

    @property
    def is_deposit(self) -> bool:
        """Whether it is money held for a drum, which is owed back and is no sale."""
        goods = self.fulfilment_line
        return goods is not None and goods.order_line.kind == OrderLine.Kind.DRUM_DEPOSIT

    @property
    def tax_rate(self) -> Decimal:
        """The percentage without the zeros it is stored with."""
        return plain(self.tax_percent)


class InvoiceLineTax(models.Model):
    """One tax on one line: a state's, a county's, or VAT; they add up to the tax of the line."""

    line = models.ForeignKey(InvoiceLine, on_delete=models.PROTECT, related_name="taxes")
    name = models.CharField(_("name"), max_length=60)
    jurisdiction = models.CharField(_("jurisdiction"), max_length=60, blank=True)
    percent = models.DecimalField(_("percent"), max_digits=7, decimal_places=4)
    base_cents = models.BigIntegerField()
    tax_cents = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["jurisdiction"], name="line_tax_of_jurisdiction")]

    def __str__(self) -> str:
        return f"{self.name} {self.percent} %"
