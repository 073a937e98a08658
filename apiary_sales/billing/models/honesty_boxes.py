"""Honesty boxes: buyers take goods from a shelf where nobody stands, and put the money in a box."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.book import Entry
from apiary_sales.billing.models.stand import StandSale
from inventory.bottling.models import Product
from inventory.stock import own_places
from inventory.stock.models import Place, Posting


class HonestyBox(models.Model):
    """A place at which buyers pay into a box."""

    PLACES = own_places.KINDS

    place = models.OneToOneField(
        Place, on_delete=models.PROTECT, related_name="honesty_box", verbose_name=_("place")
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    is_active = models.BooleanField(_("in use"), default=True)
    set_up_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("honesty box")
        verbose_name_plural = _("honesty boxes")
        ordering = ["place__name"]

    def __str__(self) -> str:
        return str(self.place)


class HonestyCountQuerySet(models.QuerySet["HonestyCount"]):
    def standing(self) -> "HonestyCountQuerySet":
        """Leave out the counts that were undone."""
        return self.filter(undone_at=None)


class HonestyCount(models.Model):
    """Shelf and box counted together: what is missing from the shelf was sold.

    The first count of a box only says what is there. Less cash than the price of what is missing is
    `short_cents`, written off from the receipt; more is given on top.
    """

    box = models.ForeignKey(HonestyBox, on_delete=models.PROTECT, related_name="counts")
    counted_at = models.DateTimeField(_("counted"), db_index=True)
    counted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    is_first = models.BooleanField(default=False)
    cash_cents = models.BigIntegerField(_("cash in the box"))
    expected_cents = models.BigIntegerField(_("price of what was sold"), default=0)
    short_cents = models.BigIntegerField(_("missing"), default=0)
    on_top_cents = models.BigIntegerField(_("given on top"), default=0)
    note = models.CharField(_("note"), max_length=300, blank=True)
    # None where no piece was sold.
    sale = models.OneToOneField(
        StandSale, on_delete=models.PROTECT, null=True, blank=True, related_name="honesty_count"
    )
    # Cash in the box of which no piece was sold.
    cash_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="honesty_count"
    )
    cash_undo_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="honesty_count_undone"
    )
    # More on the shelf than in the books, and what the first count found.
    count_posting = models.OneToOneField(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="honesty_count"
    )
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    undone_reason = models.CharField(max_length=300, blank=True)
    recorded_at = models.DateTimeField(default=timezone.now)
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = HonestyCountQuerySet.as_manager()

    class Meta:
        verbose_name = _("count of a honesty box")
        verbose_name_plural = _("counts of honesty boxes")
        ordering = ["-counted_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(cash_cents__gte=0, expected_cents__gte=0)
                & Q(short_cents__gte=0, on_top_cents__gte=0),
                name="honesty_count_cents_gte_0",
            ),
            # Cash is what was to pay, less what is missing, and what is on top.
            models.CheckConstraint(
                condition=Q(
                    cash_cents=models.F("expected_cents")
                    - models.F("short_cents")
                    + models.F("on_top_cents")
                ),
                name="honesty_count_cash_adds_up",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.box} {self.counted_at:%Y-%m-%d}"

    @property
    def is_undone(self) -> bool:
        return self.undone_at is not None


class HonestyCountLine(models.Model):
    """What the books and the shelf had of one product, and the price that was taken."""

    count = models.ForeignKey(HonestyCount, on_delete=models.PROTECT, related_name="lines")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    in_books = models.PositiveIntegerField(_("in the books"))
    counted = models.PositiveIntegerField(_("on the shelf"))
    unit_price = models.DecimalField(
        _("price"), max_digits=12, decimal_places=4, null=True, blank=True
    )
    # The price at the last count, where it was another one.
    price_before = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["count", "product"], name="honesty_line_is_one"),
        ]

    def __str__(self) -> str:
        return f"{self.counted} {self.product}"

    @property
    def sold(self) -> int:
        """Return how many are missing from the shelf; at the first count that is no sale."""
        return 0 if self.count.is_first else max(0, self.in_books - self.counted)

    @property
    def surplus(self) -> int:
        return max(0, self.counted - self.in_books)
