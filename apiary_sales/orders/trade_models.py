"""Selling as the trade does: consignment, contracts with a packer, standing orders, rounds."""

from collections.abc import Iterable

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Sum
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Fulfilment, FulfilmentLine, Order, OrderLine
from apiary_sales.orders.rules.contract_tally import ContractTally
from inventory.bottling.models import Product
from inventory.stock.models import Lot, Place, Posting


class ConsignmentShelf(models.Model):
    """A shop's shelf with jars of ours on it, which are ours until the shop reports them sold."""

    place = models.OneToOneField(
        Place, on_delete=models.PROTECT, related_name="consignment_shelf", verbose_name=_("place")
    )
    customer = models.ForeignKey(
        Customer,
        on_delete=models.PROTECT,
        related_name="consignment_shelves",
        verbose_name=_("customer"),
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("consignment shelf")
        verbose_name_plural = _("consignment shelves")
        ordering = ["customer__name", "place__code"]

    def __str__(self) -> str:
        return self.place.name


class ConsignmentPrice(models.Model):
    """What a shop pays us for one piece that it sold, from a day on."""

    shelf = models.ForeignKey(ConsignmentShelf, on_delete=models.PROTECT, related_name="prices")
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, related_name="consignment_prices"
    )
    unit_price = models.DecimalField(_("price"), max_digits=12, decimal_places=4)
    valid_from = models.DateField(pgettext_lazy("day", "from"), default=timezone.localdate)

    class Meta:
        ordering = ["product__name", "-valid_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["shelf", "product", "valid_from"], name="consignment_price_is_one_a_day"
            ),
            models.CheckConstraint(condition=Q(unit_price__gte=0), name="consignment_price_gte_0"),
        ]

    def __str__(self) -> str:
        return f"{self.shelf} {self.product}: {self.unit_price}"


class ConsignmentDelivery(models.Model):
    """Jars that are to be carried to a shop's shelf, and when they were: nothing is sold by it."""

    class Status(models.TextChoices):
        PLANNED = "planned", _("planned")
        DELIVERED = "delivered", _("delivered")
        CANCELLED = "cancelled", _("cancelled")

    number = models.CharField(_("number"), max_length=20, unique=True)
    shelf = models.ForeignKey(ConsignmentShelf, on_delete=models.PROTECT, related_name="deliveries")
    status = models.CharField(max_length=9, choices=Status, default=Status.PLANNED)
    planned_on = models.DateField(_("day"), default=timezone.localdate)
    delivered_on = models.DateField(_("delivered"), null=True, blank=True)
    posting = models.OneToOneField(
        Posting,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="consignment_delivery",
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(status="delivered", posting__isnull=False, delivered_on__isnull=False)
                | (~Q(status="delivered") & Q(posting__isnull=True, delivered_on__isnull=True)),
                name="consignment_delivery_delivered_has_a_posting",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ConsignmentDeliveryLine(models.Model):
    """So many pieces of one product on a consignment delivery."""

    delivery = models.ForeignKey(
        ConsignmentDelivery, on_delete=models.CASCADE, related_name="lines"
    )
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    pieces = models.PositiveIntegerField(_("pieces"))

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["delivery", "product"], name="consignment_delivery_line_is_one"
            ),
            models.CheckConstraint(
                condition=Q(pieces__gt=0), name="consignment_delivery_line_pieces_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} × {self.product}"


class Contract(models.Model):
    """Honey in drums that a packer takes over a time: how much, of what quality, at what price.

    Weights are grams. A limit that is not set is blank. `colour_class` is the darkest that is
    taken; `floral_source` the one that the honey has most of.
    """

    number = models.CharField(_("number"), max_length=20, unique=True)
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="contracts", verbose_name=_("buyer")
    )
    customer_reference = models.CharField(_("their reference"), max_length=60, blank=True)
    min_grams = models.BigIntegerField(_("at least"), default=0)
    max_grams = models.BigIntegerField(_("at most"))
    colour_class = models.CharField(_("colour class"), max_length=20, blank=True)
    moisture_percent_max = models.DecimalField(
        _("moisture up to, %"), max_digits=4, decimal_places=2, null=True, blank=True
    )
    floral_source = models.CharField(_("floral source"), max_length=120, blank=True)
    starts_on = models.DateField(pgettext_lazy("day", "from"))
    ends_on = models.DateField(_("until"))
    note = models.CharField(_("note"), max_length=300, blank=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("contract")
        verbose_name_plural = _("contracts")
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(min_grams__gte=0, max_grams__gt=0, max_grams__gte=F("min_grams")),
                name="contract_grams_min_to_max",
            ),
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")), name="contract_ends_after_it_starts"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ContractPriceStep(models.Model):
    """The price of a pound of a contract, in a call-off of so many grams or more.

    A fixed price is one step from zero.
    """

    contract = models.ForeignKey(Contract, on_delete=models.CASCADE, related_name="price_steps")
    from_grams = models.BigIntegerField(default=0)
    unit_price = models.DecimalField(max_digits=12, decimal_places=4)

    class Meta:
        ordering = ["from_grams"]
        constraints = [
            models.UniqueConstraint(
                fields=["contract", "from_grams"], name="contract_price_step_is_one"
            ),
            models.CheckConstraint(
                condition=Q(from_grams__gte=0, unit_price__gte=0),
                name="contract_price_step_gte_0",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.contract}: {self.unit_price}"


class ContractSample(models.Model):
    """A sample of a lot that the buyer approved for a contract; its report is attached to it."""

    contract = models.ForeignKey(Contract, on_delete=models.PROTECT, related_name="samples")
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="contract_samples", verbose_name=_("lot")
    )
    approved_on = models.DateField(_("approved"))
    approved_by = models.CharField(_("who approved it"), max_length=120)
    note = models.CharField(_("note"), max_length=300, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["approved_on", "id"]

    def __str__(self) -> str:
        return f"{self.contract}: {self.lot}"


class CallOffQuerySet(models.QuerySet["CallOff"]):
    def tallies(self, contracts: Iterable[Contract]) -> list[ContractTally]:
        """Return how much of each contract is handed over and called off, in two queries."""
        contracts = list(contracts)
        of_these = {"order__call_off__contract__in": contracts, "kind": OrderLine.Kind.HONEY}
        open_lines = OrderLine.objects.filter(**of_these, order__status__in=Order.OPEN_STATUSES)
        called_off = dict(
            open_lines.order_by()
            .values_list("order__call_off__contract")
            .annotate(grams=Sum(F("quantity") - F("filled")))
        )
        handed_over = dict(
            FulfilmentLine.objects.not_taken_back()
            .filter(order_line__in=OrderLine.objects.filter(**of_these))
            .order_by()
            .values_list("order_line__order__call_off__contract")
            .annotate(grams=Sum(F("quantity") - F("returned")))
        )
        return [
            ContractTally(contract, handed_over.get(contract.pk, 0), called_off.get(contract.pk, 0))
            for contract in contracts
        ]


class CallOff(models.Model):
    """An order that counts against a contract; `accepted` is what was warned of and taken."""

    contract = models.ForeignKey(Contract, on_delete=models.PROTECT, related_name="call_offs")
    order = models.OneToOneField(Order, on_delete=models.PROTECT, related_name="call_off")
    accepted = models.TextField(_("accepted all the same"), blank=True)

    objects = CallOffQuerySet.as_manager()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.contract}: {self.order}"


class StandingOrder(models.Model):
    """What a customer wants again and again; each order of it is confirmed by the office."""

    class Rhythm(models.TextChoices):
        WEEKLY = "weekly", _("every week")
        FORTNIGHTLY = "fortnightly", _("every two weeks")
        MONTHLY = "monthly", _("every month")

    customer = models.ForeignKey(
        Customer,
        on_delete=models.PROTECT,
        related_name="standing_orders",
        verbose_name=_("customer"),
    )
    channel = models.CharField(max_length=8, choices=Order.Channel)
    rhythm = models.CharField(_("how often"), max_length=11, choices=Rhythm)
    starts_on = models.DateField(_("first day"))
    ends_on = models.DateField(_("until"), null=True, blank=True)
    is_paused = models.BooleanField(_("paused"), default=False)
    customer_reference = models.CharField(_("their reference"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("standing order")
        verbose_name_plural = _("standing orders")
        ordering = ["customer__name", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__isnull=True) | Q(ends_on__gte=F("starts_on")),
                name="standing_order_ends_after_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.customer}, {self.get_rhythm_display()}"


class StandingOrderLine(models.Model):
    """So many pieces of one product, each time."""

    standing = models.ForeignKey(StandingOrder, on_delete=models.CASCADE, related_name="lines")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    pieces = models.PositiveIntegerField(_("pieces"))

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["standing", "product"], name="standing_order_line_is_one"
            ),
            models.CheckConstraint(
                condition=Q(pieces__gt=0), name="standing_order_line_pieces_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} × {self.product}"


class StandingOrderDay(models.Model):
    """A day of a standing order that the office has decided: its order, or none, when left out."""

    standing = models.ForeignKey(StandingOrder, on_delete=models.PROTECT, related_name="days")
    due_on = models.DateField()
    order = models.OneToOneField(
        Order, on_delete=models.PROTECT, null=True, blank=True, related_name="standing_day"
    )
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-due_on", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["standing", "due_on"], name="standing_day_is_one"),
        ]

    def __str__(self) -> str:
        return f"{self.standing} {self.due_on}"


class DeliveryRound(models.Model):
    """One drive on one day: a vehicle, and the stops in their order."""

    number = models.CharField(_("number"), max_length=20, unique=True)
    day = models.DateField(_("day"), default=timezone.localdate)
    vehicle = models.CharField(_("vehicle"), max_length=60)
    driver = models.CharField(_("driver"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("delivery round")
        verbose_name_plural = _("delivery rounds")
        ordering = ["-day", "-id"]

    def __str__(self) -> str:
        return self.number


class RoundStop(models.Model):
    """An order or a consignment delivery that is brought on a round, and whether it was."""

    round = models.ForeignKey(DeliveryRound, on_delete=models.CASCADE, related_name="stops")
    position = models.PositiveSmallIntegerField()
    order = models.ForeignKey(
        Order, on_delete=models.PROTECT, null=True, blank=True, related_name="stops"
    )
    delivery = models.ForeignKey(
        ConsignmentDelivery, on_delete=models.PROTECT, null=True, blank=True, related_name="stops"
    )
    fulfilment = models.OneToOneField(
        Fulfilment, on_delete=models.PROTECT, null=True, blank=True, related_name="stop"
    )
    delivered_at = models.DateTimeField(null=True, blank=True)
    delivered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(order__isnull=False, delivery__isnull=True)
                | Q(order__isnull=True, delivery__isnull=False),
                name="round_stop_is_an_order_or_a_delivery",
            ),
            models.CheckConstraint(
                condition=Q(fulfilment__isnull=True) | Q(delivered_at__isnull=False),
                name="round_stop_handed_over_is_delivered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.round} {self.position}"

    @property
    def customer(self) -> Customer | None:
        if self.delivery:
            return self.delivery.shelf.customer
        return self.order.customer if self.order else None
