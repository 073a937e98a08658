"""Market days: what was loaded and came home, what was spent, and how long people worked."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.expenses import Expense
from apiary_sales.billing.models.stand import StandSale
from inventory.bottling.models import Product
from inventory.stock import own_places
from inventory.stock.models import Place, Posting


class MarketDayQuerySet(models.QuerySet["MarketDay"]):
    def standing(self) -> "MarketDayQuerySet":
        """Leave out the days that were cancelled."""
        return self.filter(cancelled_at=None)


class MarketDay(models.Model):
    """One day on which the house sells at a market from its van or a stand.

    One place has one market a day, so that each sale counts for one market day only.
    """

    PLACES = own_places.KINDS

    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="market_days", verbose_name=_("sold from")
    )
    day = models.DateField(_("day"), db_index=True)
    market = models.CharField(_("market"), max_length=80)
    opens_at = models.TimeField(_("open from"))
    closes_at = models.TimeField(_("open until"))
    people = models.CharField(_("who is there"), max_length=200, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    # Where what is loaded comes from.
    source = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="+", verbose_name=_("loaded from")
    )
    planned_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    planned_at = models.DateTimeField(default=timezone.now)
    # When what came home was counted, and by whom.
    unloaded_at = models.DateTimeField(null=True, blank=True)
    unloaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    # The last unloading's own key, so that the same form does not unload twice.
    unload_key = models.CharField(max_length=100, null=True, blank=True, unique=True)
    # Sold and not entered until the unloading.
    missed_sale = models.OneToOneField(
        StandSale,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="missed_on_market_day",
    )
    # Of all people together, with the way there and back.
    labour_minutes = models.PositiveIntegerField(_("work, minutes"), null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = MarketDayQuerySet.as_manager()

    class Meta:
        verbose_name = _("market day")
        verbose_name_plural = _("market days")
        ordering = ["-day", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["place", "day"],
                condition=Q(cancelled_at=None),
                name="market_day_place_and_day_is_one",
            ),
            models.CheckConstraint(
                condition=Q(closes_at__gt=F("opens_at")), name="market_day_closes_after_it_opens"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.market} {self.day}"

    def starts(self) -> datetime:
        return timezone.make_aware(datetime.combine(self.day, self.opens_at))

    def ends(self) -> datetime:
        return timezone.make_aware(datetime.combine(self.day, self.closes_at))

    @property
    def load_posting(self) -> Posting | None:
        """The posting that loaded the goods and was not undone."""
        for entry in self.entries.all():
            if entry.kind == MarketDayEntry.Kind.LOAD and not hasattr(entry.posting, "reversed_by"):
                return entry.posting
        return None

    @property
    def is_loaded(self) -> bool:
        return self.load_posting is not None

    @property
    def is_cancelled(self) -> bool:
        return self.cancelled_at is not None

    @property
    def is_unloaded(self) -> bool:
        return self.unloaded_at is not None

    @property
    def is_closed(self) -> bool:
        return self.closed_at is not None


class MarketDayLine(models.Model):
    """So many pieces of a product to load; and at the end what became of those that were there.

    Pieces that came home are counted. What is missing beside the sales was sold and not entered,
    broken, given as samples, or is a difference of count.
    """

    market_day = models.ForeignKey(MarketDay, on_delete=models.CASCADE, related_name="lines")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    wanted = models.PositiveIntegerField(_("to load"), default=0)
    came_home = models.PositiveIntegerField(_("came home"), null=True, blank=True)
    # What the books had at the place when it was counted.
    in_books = models.IntegerField(null=True, blank=True)
    sold_unentered = models.PositiveIntegerField(_("sold, not entered"), default=0)
    broken = models.PositiveIntegerField(_("broken"), default=0)
    samples = models.PositiveIntegerField(_("given as samples"), default=0)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["market_day", "product"], name="market_day_product_is_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wanted} {self.product}"

    @property
    def difference(self) -> int:
        """Return how many more were counted than the books, with all that was said, had."""
        if self.came_home is None or self.in_books is None:
            return 0
        explained = self.sold_unentered + self.broken + self.samples
        return self.came_home + explained - self.in_books


class MarketDayEntry(models.Model):
    """An entry in stock that a market day made."""

    class Kind(models.TextChoices):
        LOAD = "load", _("loaded")
        HOME = "home", _("brought home")
        BROKEN = "broken", _("broken")
        SAMPLES = "samples", _("given as samples")
        COUNT = "count", _("difference of count")

    market_day = models.ForeignKey(MarketDay, on_delete=models.PROTECT, related_name="entries")
    kind = models.CharField(max_length=8, choices=Kind)
    posting = models.OneToOneField(
        Posting, on_delete=models.PROTECT, related_name="market_day_entry"
    )

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.market_day}"


class MarketDayCost(models.Model):
    """The fee of the stall or another cost of a market day: an expense like any other."""

    market_day = models.ForeignKey(MarketDay, on_delete=models.PROTECT, related_name="costs")
    expense = models.OneToOneField(
        Expense, on_delete=models.PROTECT, related_name="market_day_cost"
    )

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return str(self.expense)
