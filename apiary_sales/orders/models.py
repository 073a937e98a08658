"""One life cycle from a quote to goods handed over."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import cast

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Sum
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer, CustomerBalance, DeliveryAddress
from apiary_sales.orders.rules.credit import Credit
from apiary_sales.pricing.models import Service
from inventory.bottling.models import Product
from inventory.shared import conventions
from inventory.shared.money import share_cents
from inventory.stock.models import Balance, Lot, Place, Posting, PostingLine


class OrderQuerySet(models.QuerySet["Order"]):
    def credit_of(self, customer: Customer) -> Credit:
        """Return what a customer owes and has ordered now, in four queries."""
        return Credit(
            customer,
            owed_cents=CustomerBalance.objects.owed_cents(customer),
            ordered_cents=OrderLine.objects.open_cents(customer)
            + FulfilmentLine.objects.unbilled_cents(customer),
        )


class Order(models.Model):
    """A quote, an order or a stand sale; its number stays the same all its life."""

    class Channel(models.TextChoices):
        STAND = "stand", _("stand")
        SHOP = "shop", _("shop")
        DELIVERY = "delivery", _("delivery")
        BULK = "bulk", _("drums")
        SERVICE = "service", _("services")
        CONSIGNMENT = "consign", _("consignment")

    # What is sold so is handed over when it is sold: taken back, there is nothing left to fill.
    AT_ONCE = (Channel.STAND, Channel.SERVICE, Channel.CONSIGNMENT)

    class Status(models.TextChoices):
        QUOTED = "quoted", _("quoted")
        OPEN = "open", _("to fill")
        PART_FILLED = "part_filled", _("part filled")
        FILLED = "filled", _("filled")
        CANCELLED = "cancelled", _("cancelled")
        DECLINED = "declined", _("declined")
        WITHDRAWN = "withdrawn", _("withdrawn")
        EXPIRED = "expired", _("expired")
        SUPERSEDED = "superseded", _("replaced by a newer quote")

    # Something is left to fill.
    OPEN_STATUSES = (Status.OPEN, Status.PART_FILLED)
    # A quote that has not become an order.
    QUOTE_STATUSES = (
        Status.QUOTED,
        Status.DECLINED,
        Status.WITHDRAWN,
        Status.EXPIRED,
        Status.SUPERSEDED,
    )

    number = models.CharField(_("number"), max_length=20, unique=True)
    channel = models.CharField(_("channel"), max_length=8, choices=Channel)
    status = models.CharField(_("status"), max_length=12, choices=Status)
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="orders"
    )
    placed_on = models.DateField(_("date"), default=timezone.localdate)
    wanted_on = models.DateField(_("wanted on"), null=True, blank=True)
    valid_until = models.DateField(_("valid until"), null=True, blank=True)
    customer_reference = models.CharField(_("their PO number"), max_length=60, blank=True)
    # Where the goods go; without one, to the customer's own address.
    ship_to = models.ForeignKey(
        DeliveryAddress,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="orders",
        verbose_name=_("delivery address"),
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    # The quote that this one was made in place of.
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField(auto_now_add=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["status", "wanted_on"], name="order_by_status"),
            models.Index(fields=["placed_on", "id"], name="order_by_day"),
            models.Index(
                fields=["supersedes"],
                condition=Q(supersedes__isnull=False),
                name="order_that_supersedes",
            ),
        ]
        permissions = [
            ("take_orders", "Can take and cancel orders"),
            ("quote_drums", "Can quote drum buyers"),
            ("fulfil_orders", "Can fill orders"),
            ("sell_at_stand", "Can sell at the stand"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(channel="stand") | Q(customer__isnull=False),
                name="order_has_a_customer",
                violation_error_message=_("Choose the customer."),
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def total_cents(self) -> int:
        """Total of the lines before tax."""
        return sum(line.amount_cents for line in self.lines.all())

    @property
    def is_quote(self) -> bool:
        """Whether it is a quote that has not become an order."""
        return self.status in self.QUOTE_STATUSES

    @property
    def was_quoted(self) -> bool:
        """Whether it is a quote or was one."""
        return self.is_quote or self.valid_until is not None

    @property
    def deliver_to(self) -> DeliveryAddress | Customer | None:
        """Whose name and address the goods go to."""
        return self.ship_to or self.customer

    @property
    def paper_language(self) -> str:
        """The language of its papers and of its lines: the customer's, or the house's."""
        return self.customer.paper_language if self.customer else conventions.current().language

    def state_on(self, day: date) -> str:
        """Return the status on a day: an open quote past its last day has expired."""
        is_over = self.valid_until is not None and self.valid_until < day
        if self.status == self.Status.QUOTED and is_over:
            return self.Status.EXPIRED
        return self.status


class OrderLineQuerySet(models.QuerySet["OrderLine"]):
    def open_cents(self, customer: Customer) -> int:
        """Return what a customer's open orders come to, before tax, less what is handed over."""
        lines = self.filter(order__customer=customer, order__status__in=Order.OPEN_STATUSES)
        agreed = lines.aggregate(cents=Sum("amount_cents"))["cents"] or 0
        filled = FulfilmentLine.objects.not_taken_back().filter(order_line__in=lines)
        # What is to be sent again is ordered anew, at its share of the amount.
        return agreed - sum(
            amount - share_cents(amount, again, quantity)
            for amount, again, quantity in filled.values_list(
                "amount_cents", "sent_again", "quantity"
            )
        )


class OrderLine(models.Model):
    """So much of one thing at a price agreed when the order was taken.

    The quantity is pieces (price per piece) for packed goods, grams (price per pound) for honey in
    bulk and goods by weight, hundredths of its unit (price per unit) for a service, and a plain
    count for charges (deposit, empty drum, freight). `amount_cents` is the rounded total less the
    discount, and `rounding_cents` more where the rest was cut off a line whose handed-over part is
    a cent dearer than its quantity times the price. `filled` and `cost_cents` grow with each
    fulfilment; `cost_cents` is None while the cost of anything handed over is unknown. Honey that
    `is_drawn` goes into the buyer's own container, so a drum stays here. `ordered` is what was
    ordered, where the weight handed over took its place in `quantity`. A line without quantity was
    cut off after its goods came back.
    """

    class Kind(models.TextChoices):
        PACKED = "packed", _("jars")
        HONEY = "honey", _("honey in bulk")
        DRUM_DEPOSIT = "drum_deposit", _("drum deposit")
        DRUM_SALE = "drum_sale", _("drum sold")
        FREIGHT = "freight", _("freight")
        WEIGHED = "weighed", _("goods by weight")
        SERVICE = "service", _("service")

    STOCKED = (Kind.PACKED, Kind.HONEY, Kind.WEIGHED)
    BY_WEIGHT = (Kind.HONEY, Kind.WEIGHED)

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")
    kind = models.CharField(max_length=12, choices=Kind)
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, null=True, blank=True, related_name="order_lines"
    )
    drum = models.ForeignKey(
        Place, on_delete=models.PROTECT, null=True, blank=True, related_name="order_lines"
    )
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="order_lines"
    )
    service = models.ForeignKey(
        Service, on_delete=models.PROTECT, null=True, blank=True, related_name="order_lines"
    )
    description = models.CharField(max_length=160)
    is_drawn = models.BooleanField(default=False)
    quantity = models.BigIntegerField()
    ordered = models.BigIntegerField(null=True, blank=True)
    unit_price = models.DecimalField(max_digits=12, decimal_places=4)
    # Why the price or the discount was changed after the order was taken.
    price_reason = models.CharField(max_length=200, blank=True)
    discount_cents = models.BigIntegerField(default=0)
    rounding_cents = models.PositiveSmallIntegerField(default=0)
    amount_cents = models.BigIntegerField()
    filled = models.BigIntegerField(default=0)
    # What was reserved and turned out to be gone, while no other goods are reserved for it.
    gave_way = models.BigIntegerField(default=0)
    cost_cents = models.BigIntegerField(null=True, blank=True)

    objects = OrderLineQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [
            # Most lines name none: the plain index looks useless to SQLite once it has counted.
            models.Index(fields=["lot"], condition=Q(lot__isnull=False), name="order_line_of_lot"),
            models.Index(
                fields=["drum"], condition=Q(drum__isnull=False), name="order_line_of_drum"
            ),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gte=0), name="order_line_quantity_gte_0"),
            models.CheckConstraint(
                condition=Q(filled__gte=0, filled__lte=F("quantity")),
                name="order_line_filled_between_0_and_quantity",
            ),
            models.CheckConstraint(
                condition=Q(amount_cents__gte=0, discount_cents__gte=0, unit_price__gte=0),
                name="order_line_amounts_gte_0",
            ),
            models.CheckConstraint(
                condition=~Q(kind="packed") | Q(product__isnull=False),
                name="order_line_packed_has_a_product",
            ),
            models.CheckConstraint(
                condition=~Q(kind="weighed") | Q(product__isnull=False),
                name="order_line_weighed_has_a_product",
            ),
            models.CheckConstraint(
                condition=~Q(kind="service") | Q(service__isnull=False),
                name="order_line_service_has_a_service",
            ),
            models.CheckConstraint(
                condition=Q(is_drawn=False) | Q(kind="honey"),
                name="order_line_drawn_is_honey",
            ),
        ]

    def __str__(self) -> str:
        return self.description

    @property
    def is_stocked(self) -> bool:
        return self.kind in self.STOCKED

    @property
    def is_by_weight(self) -> bool:
        return self.kind in self.BY_WEIGHT

    @property
    def to_fill(self) -> int:
        return self.quantity - self.filled

    def quantity_now(self) -> int:
        """Return the quantity of a line of a quote if it is accepted now.

        A whole drum that was only weighed again since is of what it weighs now. One that is empty,
        has other honey in it, or from which some was drawn, stays as it was quoted.
        """
        drum = self.drum
        if self.kind != self.Kind.HONEY or self.is_drawn or drum is None:
            return self.quantity
        there = Balance.objects.in_vessel(drum) if drum.kind == Place.Kind.DRUM else None
        if there is None or there.lot_id != self.lot_id or there.quantity == self.quantity:
            return self.quantity
        since = PostingLine.objects.standing().filter(
            place=drum, posting__recorded_at__gt=self.order.created_at
        )
        is_same = not since.exclude(posting__kind=Posting.Kind.REWEIGHING).exists()
        return there.quantity if is_same else self.quantity


class Reservation(models.Model):
    """A quantity of one balance reserved for one order line. Their sum is `Balance.reserved`."""

    line = models.ForeignKey(OrderLine, on_delete=models.CASCADE, related_name="reservations")
    balance = models.ForeignKey(Balance, on_delete=models.PROTECT, related_name="reservations")
    quantity = models.BigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["line", "balance"], name="reservation_is_one"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="reservation_quantity_gt_0"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} for {self.line}"

    @property
    def lot(self) -> Lot:
        """The lot that is promised; jars and honey always have one."""
        return cast(Lot, self.balance.lot)


class Fulfilment(models.Model):
    """Goods of one order handed over in one go; it stays on record when they are taken back."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="fulfilments")
    is_taken_back = models.BooleanField(_("taken back"), default=False)
    posting = models.OneToOneField(
        Posting, on_delete=models.PROTECT, related_name="fulfilment", null=True, blank=True
    )
    filled_on = models.DateField(default=timezone.localdate)
    filled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)
    # Its lines, where the goods were handed over just now.
    just_made: "Sequence[FulfilmentLine]" = ()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["filled_on", "id"], name="fulfilment_by_day")]

    def __str__(self) -> str:
        return f"{self.order} {self.filled_on}"


class Weighing(models.Model):
    """How the weight of goods handed over was found: on a scale, or from a volume of honey."""

    net_grams = models.BigIntegerField()
    gross_grams = models.BigIntegerField(null=True, blank=True)
    tare_grams = models.BigIntegerField(null=True, blank=True)
    millilitres = models.BigIntegerField(null=True, blank=True)
    celsius = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    moisture_percent = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    uncertainty_grams = models.BigIntegerField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    gross_grams=F("net_grams") + F("tare_grams"),
                    gross_grams__isnull=False,
                    net_grams__gt=0,
                    tare_grams__gte=0,
                    tare_grams__isnull=False,
                    millilitres__isnull=True,
                )
                | Q(
                    gross_grams__isnull=True,
                    tare_grams__isnull=True,
                    net_grams__gt=0,
                    millilitres__gt=0,
                    millilitres__isnull=False,
                    celsius__isnull=False,
                    moisture_percent__isnull=False,
                    uncertainty_grams__gte=0,
                    uncertainty_grams__isnull=False,
                ),
                name="weighing_is_by_scale_or_volume",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.net_grams} g"

    @property
    def litres(self) -> Decimal:
        return Decimal(self.millilitres or 0) / 1000


def _is_charged(*kinds: str) -> models.Exists:
    """Tell whether the order of a fulfilment line has such a charge for its drum, or for any."""
    charges = OrderLine.objects.filter(
        Q(drum=None) | Q(drum=models.OuterRef("order_line__drum")),
        order=models.OuterRef("order_line__order"),
        kind__in=kinds,
    )
    return models.Exists(charges)


class FulfilmentLineQuerySet(models.QuerySet["FulfilmentLine"]):
    def not_taken_back(self) -> "FulfilmentLineQuerySet":
        """Return what was handed over and has not come back."""
        return self.filter(fulfilment__is_taken_back=False)

    def outings(self) -> "FulfilmentLineQuerySet":
        """Return the drums that left the house with their honey, on a deposit or sold.

        Each says whether the drum itself `is_sold`. A drum without such a charge stays here, and
        one that came back with its honey was never out.
        """
        kinds = OrderLine.Kind
        return (
            self.not_taken_back()
            .filter(
                order_line__kind=kinds.HONEY,
                order_line__is_drawn=False,
                # Few lines are of a drum; they have an index of their own.
                order_line__drum__isnull=False,
                order_line__drum__kind=Place.Kind.DRUM,
            )
            .exclude(returns__place=F("order_line__drum"))
            .filter(_is_charged(kinds.DRUM_DEPOSIT, kinds.DRUM_SALE))
            .annotate(is_sold=_is_charged(kinds.DRUM_SALE))
            .order_by("fulfilment__filled_on", "id")
        )

    def on_deposit(self) -> "FulfilmentLineQuerySet":
        """Return the drums that left on a deposit, whatever became of them."""
        return self.outings().exclude(_is_charged(OrderLine.Kind.DRUM_SALE))

    def still_out(self) -> "FulfilmentLineQuerySet":
        """Return the drums that are out and not known to be lost."""
        return self.outings().filter(drums_returned=None)

    def not_back(self) -> "FulfilmentLineQuerySet":
        """Return the drums that are out, those given up for lost among them."""
        back = ReturnedDrum.objects.filter(fulfilment_line=models.OuterRef("pk"), is_lost=False)
        return self.outings().exclude(models.Exists(back))

    def unbilled(self) -> "FulfilmentLineQuerySet":
        """Return what was handed over, has not come back, and is on no bill."""
        return self.not_taken_back().filter(billed_cents=None)

    def unbilled_cents(self, customer: Customer) -> int:
        """Return what was handed over to a customer and is on no invoice yet, before tax."""
        unbilled = self.unbilled().filter(fulfilment__order__customer=customer)
        return unbilled.aggregate(cents=Sum("amount_cents"))["cents"] or 0


class FulfilmentLine(models.Model):
    """What one fulfilment handed over of one order line and lot, and what that had cost.

    `returned` is what of it came back since, by credit notes; see `GoodsReturn`. `sent_again` is
    what of it the order is to be filled with again, because it was credited and asked for anew.
    `billed_cents` is what the bills for it come to before tax, less what was credited; None while
    it is on no bill. `returned_cost_cents` is what had cost what came back and can be sold again.
    """

    fulfilment = models.ForeignKey(Fulfilment, on_delete=models.PROTECT, related_name="lines")
    order_line = models.ForeignKey(
        OrderLine, on_delete=models.PROTECT, related_name="fulfilment_lines"
    )
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="fulfilment_lines"
    )
    # The lots of one weighing share it.
    weighing = models.ForeignKey(
        Weighing, on_delete=models.PROTECT, null=True, blank=True, related_name="fulfilment_lines"
    )
    quantity = models.BigIntegerField()
    amount_cents = models.BigIntegerField()
    cost_cents = models.BigIntegerField(null=True, blank=True)
    returned = models.BigIntegerField(default=0)
    sent_again = models.BigIntegerField(default=0)
    billed_cents = models.BigIntegerField(null=True, blank=True)
    returned_cost_cents = models.BigIntegerField(default=0)

    objects = FulfilmentLineQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(
                fields=["fulfilment"],
                condition=Q(billed_cents__isnull=True),
                name="fulfilment_line_unbilled",
            ),
            models.Index(
                fields=["fulfilment"],
                condition=Q(cost_cents__isnull=True),
                name="fulfilment_line_without_cost",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0), name="fulfilment_line_quantity_gt_0"
            ),
            models.CheckConstraint(
                condition=Q(returned__gte=0, returned__lte=F("quantity")),
                name="fulfilment_line_returned_between_0_and_quantity",
            ),
            models.CheckConstraint(
                condition=Q(sent_again__gte=0, sent_again__lte=F("quantity")),
                name="fulfilment_line_sent_again_between_0_and_quantity",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.order_line}"


class GoodsReturn(models.Model):
    """What came back of goods handed over: how much, where it went, and whether it can be sold.

    Fit goods are at `place` again. What is not fit went through the house to the spoiled goods or,
    pieces, wait at the place for returned goods. `cost_cents` is what the goods had cost, None
    where that is unknown.
    """

    fulfilment_line = models.ForeignKey(
        FulfilmentLine, on_delete=models.PROTECT, related_name="returns"
    )
    quantity = models.BigIntegerField()
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    is_fit = models.BooleanField()
    cost_cents = models.BigIntegerField(null=True, blank=True)
    posting = models.ForeignKey(Posting, on_delete=models.PROTECT, related_name="goods_returns")
    returned_on = models.DateField(default=timezone.localdate)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.CharField(max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="goods_return_quantity_gt_0"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.fulfilment_line}"


class WeighOut(models.Model):
    """On which scale the drums of a fulfilment were weighed as they left, and by whom.

    A vehicle scale tells one net weight of the load, which its drums share.
    """

    fulfilment = models.OneToOneField(
        Fulfilment, on_delete=models.PROTECT, related_name="weigh_out"
    )
    scale = models.CharField(_("scale"), max_length=60, blank=True)
    weighed_by = models.CharField(_("weighed by"), max_length=80, blank=True)
    load_net_grams = models.BigIntegerField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(load_net_grams__isnull=True) | Q(load_net_grams__gt=0),
                name="weigh_out_load_gt_0",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fulfilment} {self.scale}"


class ShippedDrum(models.Model):
    """One drum as it was loaded: its weights, its seal, and how far the books were off.

    `book_grams` is what the books had in it before, `posting` the difference where there was one.
    Where only a net weight is known, gross is that and the empty weight on record.
    """

    fulfilment_line = models.OneToOneField(
        FulfilmentLine, on_delete=models.PROTECT, related_name="shipped_drum"
    )
    gross_grams = models.BigIntegerField(null=True, blank=True)
    tare_grams = models.BigIntegerField(null=True, blank=True)
    net_grams = models.BigIntegerField()
    book_grams = models.BigIntegerField()
    seal = models.CharField(_("seal number"), max_length=40, blank=True)
    posting = models.OneToOneField(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="shipped_drum"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(net_grams__gt=0)
                & (
                    Q(gross_grams__isnull=True, tare_grams__isnull=True)
                    | Q(gross_grams=F("net_grams") + F("tare_grams"), gross_grams__isnull=False)
                ),
                name="shipped_drum_gross_is_net_and_tare",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.net_grams} g {self.seal}".strip()


class Delivery(models.Model):
    """Who carries the goods of a fulfilment, and where to; printed on its papers."""

    class Freight(models.TextChoices):
        PREPAID = "prepaid", _("prepaid by the shipper")
        COLLECT = "collect", _("collect from the consignee")

    fulfilment = models.OneToOneField(Fulfilment, on_delete=models.PROTECT, related_name="delivery")
    carrier = models.CharField(_("carrier"), max_length=80, blank=True)
    vehicle = models.CharField(_("truck or trailer"), max_length=60, blank=True)
    ship_to = models.TextField(_("ship to"), max_length=400, blank=True)
    freight = models.CharField(_("freight charges"), max_length=8, choices=Freight, blank=True)
    packages = models.PositiveIntegerField(_("number of packages"), null=True, blank=True)
    instructions = models.CharField(_("instructions"), max_length=300, blank=True)

    class Meta:
        verbose_name_plural = "deliveries"

    def __str__(self) -> str:
        return f"{self.fulfilment} {self.carrier}"


class DrumReturn(models.Model):
    """Drums that a buyer brought back in one go, or that are given up for lost."""

    class Outcome(models.TextChoices):
        EMPTY = "empty", _("came back empty")
        DAMAGED = "damaged", _("came back damaged")
        LOST = "lost", _("lost")

    outcome = models.CharField(_("what became of them"), max_length=8, choices=Outcome)
    returned_on = models.DateField(_("day"), default=timezone.localdate)
    note = models.CharField(_("note"), max_length=300, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(auto_now_add=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.get_outcome_display()} {self.returned_on}"


class ReturnedDrum(models.Model):
    """One drum of a return, by the line with which it went out, and what it weighed empty.

    A drum that was given up for lost may still come back.
    """

    drum_return = models.ForeignKey(DrumReturn, on_delete=models.PROTECT, related_name="drums")
    fulfilment_line = models.ForeignKey(
        FulfilmentLine, on_delete=models.PROTECT, related_name="drums_returned"
    )
    is_lost = models.BooleanField(default=False)
    tare_grams = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["fulfilment_line", "is_lost"], name="returned_drum_once_lost_and_once_back"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fulfilment_line} {self.drum_return}"


class OrderEvent(models.Model):
    """What happened to an order that leaves no other record: accepted, cancelled, taken back."""

    class Kind(models.TextChoices):
        ACCEPTED = "accepted", _("quote accepted")
        CANCELLED = "cancelled", _("cancelled")
        TAKEN_BACK = "taken_back", _("goods taken back")
        DRUMS_BACK = "drums_back", _("drums came back")
        REPICKED = "repicked", _("other jars picked")
        GAVE_WAY = "gave_way", _("reserved goods were gone")
        CHANGED = "changed", _("changed")
        SUBSTITUTED = "substituted", _("other goods put in place")
        RETURNED = "returned", _("goods came back")
        DECLINED = "declined", _("declined by the buyer")
        WITHDRAWN = "withdrawn", _("withdrawn")
        EXPIRED = "expired", _("expired")
        SUPERSEDED = "superseded", _("replaced by a newer quote")

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=12, choices=Kind)
    happened_at = models.DateTimeField(default=timezone.now)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    note = models.CharField(max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.order} {self.get_kind_display()}"


class Recall(models.Model):
    """A recall of lots, or the exercise of one, with what the books answered when it was started.

    The clock runs from `started_at` until a person finishes it and says what was checked. What
    was answered is kept in `answer`, and again in `answer_at_finish`, so that the record says the
    same however the books go on.
    """

    class Kind(models.TextChoices):
        MOCK = "mock", _("mock recall")
        REAL = "real", _("real recall")

    kind = models.CharField(_("kind"), max_length=4, choices=Kind)
    code = models.CharField(_("lot code"), max_length=60)
    lots = models.ManyToManyField(Lot, related_name="recalls", verbose_name=_("lots"))
    reason = models.CharField(_("reason"), max_length=300)
    started_at = models.DateTimeField(_("started"), default=timezone.now)
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    finished_at = models.DateTimeField(_("finished"), null=True, blank=True)
    finished_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    notes = models.TextField(_("what was checked"), blank=True)
    answer = models.JSONField()
    answer_at_finish = models.JSONField(null=True, blank=True)
    percent_accounted = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    percent_found = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-started_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(finished_at__isnull=True, finished_by__isnull=True)
                | Q(finished_at__gte=F("started_at"), finished_by__isnull=False),
                name="recall_finished_after_it_was_started",
            ),
            models.CheckConstraint(
                condition=Q(percent_found__isnull=True)
                | Q(percent_found__gte=0, percent_found__lte=F("percent_accounted")),
                name="recall_percent_found_is_part_of_accounted",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.pk}"

    @property
    def is_finished(self) -> bool:
        return self.finished_at is not None

    @property
    def seconds_taken(self) -> int | None:
        """Whole seconds from the start to the finish; None while it runs."""
        if self.finished_at is None:
            return None
        return int((self.finished_at - self.started_at).total_seconds())


class RecallAct(models.Model):
    """Lots put on hold or released in one act because of a recall: who did it, when and why."""

    class Kind(models.TextChoices):
        HELD = "held", _("put on hold")
        RELEASED = "released", _("released")

    kind = models.CharField(_("kind"), max_length=8, choices=Kind)
    lots = models.ManyToManyField(Lot, related_name="recall_acts", verbose_name=_("lots"))
    reason = models.CharField(_("reason"), max_length=300)
    done_at = models.DateTimeField(_("when"), default=timezone.now)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-done_at", "-id"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.reason}"


# At the end, since these point at the orders above.
import apiary_sales.orders.late_cost_models  # noqa: E402
import apiary_sales.orders.trade_models  # noqa: E402, F401
