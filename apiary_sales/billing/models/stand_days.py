"""A day at a stand: its float, the cash that came and went, and its counts at the end."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.book import Entry
from apiary_sales.billing.models.cash import CashCount, Undoable, UndoneBy
from apiary_sales.billing.models.expenses import Expense
from apiary_sales.billing.models.money_moves import MoneyMove
from apiary_sales.billing.models.stand import StandSale
from inventory.shared.people import Person
from inventory.stock.models import Place


class StandDay(models.Model):
    """The drawer of one place on one day, from the float that was put into it.

    `float_pieces` are the coins and notes by name, empty where a sum was entered.
    """

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="stand_days")
    day = models.DateField(_("day"), default=timezone.localdate)
    float_cents = models.BigIntegerField(_("float"))
    float_pieces = models.JSONField(default=dict, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    opened_at = models.DateTimeField(default=timezone.now)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-day", "place__name"]
        verbose_name = _("stand day")
        verbose_name_plural = _("stand days")
        constraints = [
            models.UniqueConstraint(fields=["place", "day"], name="stand_day_is_once"),
            models.CheckConstraint(condition=Q(float_cents__gte=0), name="stand_day_float_gte_0"),
        ]

    def __str__(self) -> str:
        return f"{self.place.name}, {date_format(self.day)}"

    def get_absolute_url(self) -> str:
        return reverse("billing:stand_day", args=[self.pk])

    @property
    def closing(self) -> "StandDayClose | None":
        """The count that closed the day, None while it is open."""
        return next((each for each in self.closes.all() if not each.is_undone), None)


class StandCashQuerySet(models.QuerySet["StandCash"]):
    def standing(self) -> "StandCashQuerySet":
        """Leave out what was undone, here or in the books."""
        return self.filter(
            Q(undone_on=None)
            & (Q(expense=None) | Q(expense__undone_entry=None))
            & (Q(money_move=None) | Q(money_move__undone_on=None))
        )


class StandCash(UndoneBy):
    """Cash put into a drawer or taken out of it during the day, other than by sales.

    Only what leaves the house is in the book of money: an expense has its own entry, and so have
    tips paid out. Cash from and to the cash box stays cash of the house.
    """

    class Kind(models.TextChoices):
        CHANGE = "change", _("change fetched from the cash box")
        OTHER_IN = "other_in", _("other cash put in")
        TO_BOX = "to_box", _("taken to the cash box")
        SPENT = "spent", _("paid from the drawer")
        TIPS = "tips", _("tips taken out")
        OTHER_OUT = "other_out", _("other cash taken out")

    IN = (Kind.CHANGE, Kind.OTHER_IN)
    # What these are must be said.
    NEED_TEXT = (Kind.OTHER_IN, Kind.OTHER_OUT)

    stand_day = models.ForeignKey(StandDay, on_delete=models.PROTECT, related_name="cash")
    kind = models.CharField(_("what"), max_length=12, choices=Kind)
    cents = models.BigIntegerField(_("amount"))
    text = models.CharField(_("reason"), max_length=200, blank=True)
    expense = models.OneToOneField(
        Expense, on_delete=models.PROTECT, null=True, blank=True, related_name="stand_cash"
    )
    money_move = models.OneToOneField(
        MoneyMove, on_delete=models.PROTECT, null=True, blank=True, related_name="stand_cash"
    )
    moved_at = models.DateTimeField(default=timezone.now)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = StandCashQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name = _("cash in or out at a stand")
        verbose_name_plural = _("cash in and out at stands")
        constraints = [
            models.CheckConstraint(condition=Q(cents__gt=0), name="stand_cash_cents_gt_0"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.cents}"

    @property
    def is_in(self) -> bool:
        return self.kind in self.IN

    @property
    def is_off(self) -> bool:
        """Whether it counts no longer: undone here, or its expense or payment of tips was."""
        return (
            self.is_undone
            or (self.expense is not None and self.expense.is_undone)
            or (self.money_move is not None and self.money_move.is_undone)
        )


class StandDayCloseManager(models.Manager["StandDayClose"]):
    """Closes come with their day and place, which their name says."""

    def get_queryset(self) -> models.QuerySet["StandDayClose"]:
        return super().get_queryset().select_related("stand_day__place")


class StandDayClose(Undoable):
    """The count at the end of a stand's day, with every figure as it was then.

    `entry` posts what is over or short. It is None where there is no difference, and where the
    whole cash of the house had been counted before (`counted_with`): the difference is in that one.
    `takings` are the sales of the day as they were known.
    """

    stand_day = models.ForeignKey(StandDay, on_delete=models.PROTECT, related_name="closes")
    closed_at = models.DateTimeField(default=timezone.now)
    counted_cents = models.BigIntegerField(_("cash counted"))
    counted_pieces = models.JSONField(default=dict, blank=True)
    float_cents = models.BigIntegerField()
    sold_cents = models.BigIntegerField()
    on_top_cents = models.BigIntegerField()
    given_back_cents = models.BigIntegerField()
    in_cents = models.BigIntegerField()
    out_cents = models.BigIntegerField()
    expected_cents = models.BigIntegerField()
    takings = models.JSONField(default=dict, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    counted_with = models.ForeignKey(
        CashCount, on_delete=models.PROTECT, null=True, blank=True, related_name="stand_closes"
    )
    entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="stand_day_close"
    )
    undo_entry = models.OneToOneField(
        Entry,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="stand_day_close_undone",
    )

    objects = StandDayCloseManager()

    class Meta:
        ordering = ["-id"]
        verbose_name = _("close of a stand day")
        verbose_name_plural = _("closes of stand days")
        constraints = [
            models.UniqueConstraint(
                fields=["stand_day"], condition=Q(undone_on=None), name="stand_day_closed_once"
            ),
            models.CheckConstraint(
                condition=Q(counted_cents__gte=0), name="stand_day_counted_gte_0"
            ),
            models.CheckConstraint(
                condition=Q(
                    expected_cents=models.F("float_cents")
                    + models.F("sold_cents")
                    + models.F("on_top_cents")
                    + models.F("in_cents")
                    - models.F("given_back_cents")
                    - models.F("out_cents")
                ),
                name="stand_day_expected_adds_up",
            ),
        ]

    def __str__(self) -> str:
        return _now("Cash over or short, %(day)s") % {"day": self.stand_day}

    def get_absolute_url(self) -> str:
        return self.stand_day.get_absolute_url()

    @property
    def difference_cents(self) -> int:
        return self.counted_cents - self.expected_cents

    def may_be_undone_by(self, person: Person) -> bool:
        """Whoever closed a day opens it again on the day of the close; later the office does."""
        is_fresh = timezone.localdate(self.closed_at) == timezone.localdate()
        is_own = self.recorded_by_id == person.pk
        return person.has_perm("billing.take_payments") or (is_own and is_fresh)


class StandLateCashManager(models.Manager["StandLateCash"]):
    """Rows come with their count, and the day and place of it, which their name says."""

    def get_queryset(self) -> models.QuerySet["StandLateCash"]:
        return super().get_queryset().select_related("close__stand_day__place", "cash_count")


class StandLateCash(models.Model):
    """Cash of a sale that was in the drawer when it was counted, and in the books only later.

    The count was the close of its stand's day, or one of all cash. The entry takes back what that
    had posted as over, so that the cash is in the books once. `cents` is what the sale brought;
    below zero, it corrects an earlier one downward.
    """

    close = models.ForeignKey(
        StandDayClose, on_delete=models.PROTECT, null=True, blank=True, related_name="late_cash"
    )
    cash_count = models.ForeignKey(
        CashCount, on_delete=models.PROTECT, null=True, blank=True, related_name="late_cash"
    )
    sale = models.ForeignKey(StandSale, on_delete=models.PROTECT, related_name="late_cash")
    cents = models.BigIntegerField()
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="stand_late_cash")
    undo_entry = models.OneToOneField(
        Entry,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="stand_late_cash_undone",
    )

    objects = StandLateCashManager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["close", "sale"], name="stand_late_cash_is_once"),
            models.UniqueConstraint(
                fields=["cash_count", "sale"], name="stand_late_cash_of_count_is_once"
            ),
            models.CheckConstraint(
                condition=Q(close=None) ^ Q(cash_count=None), name="stand_late_cash_of_one_count"
            ),
            models.CheckConstraint(condition=~Q(cents=0), name="stand_late_cash_not_0"),
        ]

    def __str__(self) -> str:
        if self.close is not None:
            return _now("Came in after the close, %(day)s") % {"day": self.close.stand_day}
        assert self.cash_count is not None
        day = date_format(self.cash_count.counted_on)
        return _now("Came in after the count of %(day)s") % {"day": day}

    def get_absolute_url(self) -> str:
        if self.close is not None:
            return self.close.get_absolute_url()
        return reverse("billing:cash_counts")
