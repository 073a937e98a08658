"""Programs that are told what happens in the house, what they are told, and what they answered."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

ADDRESS_MAX = 500
# Of what a program answers, so much is kept.
ANSWER_KEPT = 500


class HouseEvent(models.Model):
    """One thing that happened, as it is told: the body is kept as it was, byte for byte.

    `event_id` names it to whoever is told, however often that is.
    """

    class Kind(models.TextChoices):
        ORDER_PLACED = "order.placed", _("an order was placed, or a quote accepted")
        ORDER_CHANGED = "order.changed", _("an order or its state changed")
        ORDER_HANDED_OVER = "order.handed_over", _("goods of an order were handed over")
        STAND_SALE_MADE = "stand_sale.made", _("something was sold at the stand")
        STAND_SALE_TAKEN_BACK = "stand_sale.taken_back", _("a stand sale was taken back")
        GOODS_RETURNED = "goods.returned", _("goods came back")
        INVOICE_ISSUED = "invoice.issued", _("an invoice was issued")
        INVOICE_CREDITED = "invoice.credited", _("a credit note was issued")
        PAYMENT_TAKEN = "payment.taken", _("a payment was recorded, or undone")
        RUN_RECORDED = "run.recorded", _("a bottling run was recorded")
        STOCK_POSTED = "stock.posted", _("stock changed")
        CUSTOMER_CHANGED = "customer.changed", _("a customer was added or changed")
        PRODUCT_CHANGED = "product.changed", _("a product was added or changed")
        PRICE_CHANGED = "price.changed", _("a price was entered")
        LOT_HELD = "lot.held", _("a lot was put on hold")
        LOT_RELEASED = "lot.released", _("a lot was released")
        RECALL_OPENED = "recall.opened", _("a recall was started")
        # Sent when a person asks for it, whatever the program is told otherwise.
        TEST = "test", _("a test")

    event_id = models.CharField(max_length=40, unique=True)
    kind = models.CharField(_("what happened"), max_length=30, choices=Kind)
    happened_at = models.DateTimeField(_("when"))
    # Which thing it is about: the model and the key of its row; none for a test.
    thing = models.CharField(max_length=60, blank=True)
    thing_key = models.BigIntegerField(null=True, blank=True)
    body = models.TextField(_("message"))

    class Meta:
        ordering = ["-id"]
        verbose_name = _("event")
        verbose_name_plural = _("events")

    def __str__(self) -> str:
        return f"{self.kind} {self.event_id}"


# What a person can choose.
KINDS = [choice for choice in HouseEvent.Kind.choices if choice[0] != HouseEvent.Kind.TEST]


class Endpoint(models.Model):
    """The address of a program that is told, and what it is told of.

    `rests_until` is when the next attempt is allowed after one that failed or took long, so that
    one slow program does not hold the others back. `failing_since` is the first of the attempts
    that failed without one that succeeded since. `given_up_at` says that it was switched off
    because it only failed; a person who switches it on again takes that back.
    """

    name = models.CharField(_("name"), max_length=80, unique=True)
    url = models.CharField(_("address"), max_length=ADDRESS_MAX)
    kinds = models.JSONField(_("told of"), default=list)
    is_in_own_network = models.BooleanField(_("in our own network"), default=False)
    is_on = models.BooleanField(_("switched on"), default=True)
    # Encrypted with the secret key of the service. The old one is valid for a day after a renewal.
    sealed_secret = models.CharField(max_length=300)
    sealed_old_secret = models.CharField(max_length=300, blank=True)
    old_secret_until = models.DateTimeField(null=True, blank=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(_("added"), default=timezone.now)
    failures = models.PositiveIntegerField(default=0)
    failing_since = models.DateTimeField(null=True, blank=True)
    rests_until = models.DateTimeField(null=True, blank=True)
    given_up_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "id"]
        verbose_name = _("program that is told")
        verbose_name_plural = _("programs that are told")
        permissions = [("manage_webhooks", "Can say which programs are told what happens")]
        constraints = [
            models.CheckConstraint(
                condition=Q(sealed_old_secret="", old_secret_until__isnull=True)
                | (~Q(sealed_old_secret="") & Q(old_secret_until__isnull=False)),
                name="endpoint_old_secret_has_its_end",
            ),
            models.CheckConstraint(
                condition=Q(is_on=False) | Q(given_up_at__isnull=True),
                name="endpoint_given_up_is_off",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def kinds_in_words(self) -> list[str]:
        labels = dict(HouseEvent.Kind.choices)
        return [str(labels.get(kind, kind)) for kind in self.kinds]


class EventDelivery(models.Model):
    """An event as it is told to one program: again and again until it is taken or given up.

    `began_at` is when it was first due, or when a person last asked to send it again.
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        TAKEN = "taken", pgettext_lazy("message", "taken")
        GIVEN_UP = "given_up", _("given up")

    event = models.ForeignKey(HouseEvent, on_delete=models.CASCADE, related_name="deliveries")
    endpoint = models.ForeignKey(Endpoint, on_delete=models.CASCADE, related_name="deliveries")
    state = models.CharField(_("state"), max_length=8, choices=State, default=State.WAITING)
    tries = models.PositiveSmallIntegerField(_("attempts"), default=0)
    began_at = models.DateTimeField(default=timezone.now)
    tried_at = models.DateTimeField(_("last attempt"), null=True, blank=True)
    next_try_at = models.DateTimeField(null=True, blank=True, default=timezone.now)
    taken_at = models.DateTimeField(null=True, blank=True)
    # What the program answered last: the status of HTTP, and the beginning of the text. Where it
    # answered none, `error` says why.
    status = models.PositiveSmallIntegerField(_("answer"), null=True, blank=True)
    answer = models.CharField(max_length=ANSWER_KEPT, blank=True)
    error = models.CharField(max_length=ANSWER_KEPT, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name = _("message to a program")
        verbose_name_plural = _("messages to programs")
        constraints = [
            models.UniqueConstraint(fields=["event", "endpoint"], name="delivery_is_one"),
            models.CheckConstraint(
                condition=Q(state="waiting", next_try_at__isnull=False)
                | (~Q(state="waiting") & Q(next_try_at__isnull=True)),
                name="delivery_waiting_has_its_next_try",
            ),
            models.CheckConstraint(
                condition=Q(state="taken", taken_at__isnull=False)
                | (~Q(state="taken") & Q(taken_at__isnull=True)),
                name="delivery_taken_has_its_moment",
            ),
        ]
        indexes = [
            models.Index(
                fields=["endpoint", "next_try_at"],
                condition=Q(state="waiting"),
                name="delivery_waiting",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.event} → {self.endpoint}"

    @property
    def mark(self) -> str:
        """How its state is marked on a page."""
        if self.state == self.State.TAKEN:
            return "good"
        if self.state == self.State.GIVEN_UP:
            return "bad"
        return "warn" if self.tries else "info"
