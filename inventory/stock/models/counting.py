"""A count of everything: its sheet, and what was counted line by line."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.stock.models.ledger import Balance, Item, Place, Posting, PostingLine
from inventory.stock.models.lots import Lot

# What tells one thing from another: the keys of place, item and lot, 0 for no lot.
StockKey = tuple[int, int, int]
# These put the books right about what was there already: nothing moved.
RIGHTED_BY = (Posting.Kind.COUNT, Posting.Kind.REWEIGHING)


@dataclass(frozen=True)
class Moved:
    """One line of the ledger; `kind` is that of the entry which it undoes or corrects, if any."""

    key: StockKey
    moment: datetime
    kind: str
    quantity: int


@dataclass(frozen=True)
class BookReading:
    """What the books have in vessels and stores now, and what moved there since some moment.

    Undoing and corrections count for the moment of the entry they are about.
    """

    now: dict[StockKey, Balance]
    moved: dict[StockKey, list[Moved]]

    def quantity(self, key: StockKey) -> int:
        return self.now[key].quantity if key in self.now else 0

    def then(self, key: StockKey, moment: datetime) -> int:
        """Return what the books say today of what was there at a moment."""
        since = sum(each.quantity for each in self.moved.get(key, []) if each.moment > moment)
        return self.quantity(key) - since

    def least_since(self, key: StockKey, moment: datetime) -> int:
        """Return the least that was there at a moment and ever since."""
        least = there = self.then(key, moment)
        for each in self.moved.get(key, []):
            if each.moment > moment:
                there += each.quantity
                least = min(least, there)
        return least

    def righted_since(self, key: StockKey, moment: datetime) -> bool:
        """Tell whether a count or a weighing put the books right after a moment."""
        righted = (
            each.quantity
            for each in self.moved.get(key, [])
            if each.moment > moment and each.kind in RIGHTED_BY
        )
        return sum(righted) != 0

    def at_place(self, place: Place, item: Item) -> list[StockKey]:
        """Return the keys under which an item is at a place, or was since."""
        wanted = (place.pk, item.pk)
        return [key for key in {**self.now, **self.moved} if key[:2] == wanted]


def book_since(moment: datetime, places: Iterable[Place] | None = None) -> BookReading:
    """Read the books of these places, or of all vessels and stores, in two queries."""
    balances = Balance.objects.filter(place__kind__in=(*Place.VESSELS, *Place.FOR_GOODS))
    if places is not None:
        balances = balances.filter(place__in=list(places))
    lines = (
        PostingLine.objects.filter(place__in=balances.values("place"))
        .annotate(
            told_of=Coalesce("posting__reverses__kind", "posting__corrects__kind", "posting__kind")
        )
        .filter(posting__occurred_at__gt=moment)
        .order_by("posting__occurred_at", "id")
        .values_list("place_id", "item_id", "lot_id", "posting__occurred_at", "told_of", "quantity")
    )
    moved: dict[StockKey, list[Moved]] = {}
    for place, item, lot, when, kind, quantity in lines:
        key = (place, item, lot or 0)
        moved.setdefault(key, []).append(Moved(key, when, kind, quantity))
    known = balances.select_related("item", "place", "lot__product", "lot__owner")
    now = {(row.place_id, row.item_id, row.lot_id or 0): row for row in known}
    return BookReading(now, moved)


class CountSheetQuerySet(models.QuerySet["CountSheet"]):
    def open(self) -> "CountSheetQuerySet":
        """Return the sheets on which counts may still be entered."""
        return self.filter(closed_at=None, cancelled_at=None)


class CountSheet(models.Model):
    """One count, entered over some days by several people and closed in one act.

    It is of everything, or of one place alone: then `place` says which.
    What is on it is what the books have while it is open, so it keeps no list of its own. Closing
    it posts the differences as of `as_of`. While it is blind, its pages show no book figures.
    """

    class Uncounted(models.TextChoices):
        LEFT = "left", _("left as it is in the books")
        ZERO = "zero", _("counted as zero")

    number = models.CharField(_("number"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=80)
    # None for a count of everything.
    place = models.ForeignKey(
        Place,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="count_sheets",
        verbose_name=_("place"),
    )
    is_blind = models.BooleanField(_("without the figures of the books"), default=True)
    opened_at = models.DateTimeField(_("opened"), auto_now_add=True)
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)
    closed_at = models.DateTimeField(_("closed"), null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    closing_key = models.CharField(max_length=100, unique=True, null=True, blank=True)
    as_of = models.DateTimeField(_("differences booked as of"), null=True, blank=True)
    reason = models.CharField(_("reason"), max_length=300, blank=True)
    # Why there is more of a lot than was made of it and did not leave.
    surplus_reason = models.CharField(_("why there are more"), max_length=300, blank=True)
    uncounted = models.CharField(
        _("what was not counted"), max_length=4, choices=Uncounted, blank=True
    )
    cancelled_at = models.DateTimeField(_("cancelled"), null=True, blank=True)
    cancelled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = CountSheetQuerySet.as_manager()

    class Meta:
        verbose_name = _("count sheet")
        verbose_name_plural = _("count sheets")
        ordering = ["-opened_at", "-id"]
        permissions = [
            ("enter_counts", "Can enter what was counted"),
            ("count_beyond_made", "Can accept a count of more than was made"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, as_of__isnull=True, closed_by__isnull=True)
                | Q(closed_at__isnull=False, as_of__isnull=False, closed_by__isnull=False),
                name="count_sheet_closed_has_a_moment",
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True) | Q(cancelled_at__isnull=True),
                name="count_sheet_closed_or_cancelled",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def is_open(self) -> bool:
        return self.closed_at is None and self.cancelled_at is None


class CountLineQuerySet(models.QuerySet["CountLine"]):
    def with_all(self) -> "CountLineQuerySet":
        """Fetch along what a list shows of each line."""
        return self.select_related(
            "item", "place", "lot__product", "lot__owner", "counted_by", "posting"
        )

    def standing(self) -> "CountLineQuerySet":
        """Return the lines that count: those that no later line of the same thing replaced."""
        return self.filter(replaced_by=None)


class CountLine(models.Model):
    """What was counted of one item and lot at a place, in grams or pieces.

    A vessel has one line for the honey in it, whatever lot that is; `lot` is None for parts, and
    for a vessel that was found empty as the books say. A later line of the same thing replaces an
    earlier one, and both stay. `book_quantity` is what the books said of `counted_at` when the
    line was entered; `difference` is filled when the sheet is closed, with what was entered late.
    """

    class How(models.TextChoices):
        COUNTED = "counted", _("counted")
        WEIGHT = "weight", _("by weight")
        GROSS = "gross", _("by gross weight")
        DIP = "dip", _("by dip")
        SEAL = "seal", _("seal whole")
        NOT_FOUND = "not_found", _("not counted, taken as zero")

    sheet = models.ForeignKey(CountSheet, on_delete=models.PROTECT, related_name="lines")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="count_lines")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="count_lines")
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="count_lines"
    )
    # A person saw that this lot is in the vessel; otherwise it is the lot that the books have.
    lot_is_told = models.BooleanField(default=False)
    how = models.CharField(_("how"), max_length=10, choices=How)
    counted = models.BigIntegerField(_("counted"))
    book_quantity = models.BigIntegerField(_("in the books"))
    difference = models.BigIntegerField(_("difference"), null=True, blank=True)
    depth_mm = models.PositiveIntegerField(_("depth, mm"), null=True, blank=True)
    celsius = models.DecimalField(
        _("temperature, °C"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    uncertainty_grams = models.BigIntegerField(null=True, blank=True)
    gross_grams = models.BigIntegerField(_("gross weight"), null=True, blank=True)
    tare_grams = models.BigIntegerField(_("tare"), null=True, blank=True)
    counted_at = models.DateTimeField(_("counted at"), default=timezone.now)
    counted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    entered_at = models.DateTimeField(_("entered"), auto_now_add=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)
    replaced_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaces"
    )
    # None where the line agrees, or where a dip can't tell it from the books.
    posting = models.ForeignKey(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="count_lines"
    )

    objects = CountLineQuerySet.as_manager()

    class Meta:
        verbose_name = _("counted line")
        verbose_name_plural = _("counted lines")
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(counted__gte=0), name="count_line_counted_gte_0"),
        ]

    def __str__(self) -> str:
        return f"{self.place}: {self.counted} {self.item}"

    @property
    def key(self) -> StockKey:
        """What it is a line of: the item and lot at a store, or the honey in a vessel."""
        return (self.place_id, self.item_id, 0 if self.place.is_vessel else self.lot_id or 0)

    @property
    def book_then(self) -> int:
        """What the books said of the moment it was counted: as known at closing, if closed."""
        return self.book_quantity if self.difference is None else self.counted - self.difference
