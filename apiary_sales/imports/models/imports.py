"""A list that somebody brings in, and its rows until they count."""

from datetime import timedelta
from typing import Any, ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.models import LongWork

# Longer than one batch, or a whole list in one transaction, ever takes.
BUSY_LASTS = timedelta(minutes=3)


class ImportKind(models.TextChoices):
    """What a list can have in it."""

    CUSTOMERS = "customers", _("Customers")
    PRODUCTS = "products", _("Sizes and products")
    PRICES = "prices", _("Prices")
    JARS = "jars", _("Jars to begin with")
    HONEY = "honey", _("Honey to begin with")
    PARTS = "parts", _("Jars, lids and labels to begin with")
    PAST_SALES = "past-sales", _("Past sales")
    EXPENSES = "expenses", _("Expenses")


class Import(models.Model):
    """One file that was uploaded, and how far it is.

    Its rows are staged: nothing else reads them. Only where the state is *complete* does anything
    of it count. Once it is complete, what was read is kept no longer.
    """

    class State(models.TextChoices):
        READING = "reading", _("being read")
        UPLOADED = "uploaded", _("to be matched")
        CHECKING = "checking", _("being checked")
        CHECKED = "checked", _("checked")
        WRITING = "writing", _("being brought in")
        COMPLETE = "complete", _("brought in")
        UNDONE = "undone", _("undone")
        DROPPED = "dropped", _("dropped")

    class DayOrder(models.TextChoices):
        DAY_FIRST = "dmy", _("day, month, year: 31/07/2026")
        MONTH_FIRST = "mdy", _("month, day, year: 07/31/2026")

    # What a person has open work with.
    OPEN: ClassVar = (
        *(State.READING, State.UPLOADED, State.CHECKING),
        *(State.CHECKED, State.WRITING),
    )
    BUSY: ClassVar = (State.READING, State.CHECKING, State.WRITING)

    kind = models.CharField(_("what is in it"), max_length=12, choices=ImportKind)
    state = models.CharField(_("state"), max_length=8, choices=State, default=State.UPLOADED)
    file_name = models.CharField(_("file"), max_length=120)
    # Tells that the same file came before.
    sha256 = models.CharField(max_length=64, db_index=True)
    decimal_sign = models.CharField(_("decimal sign"), max_length=1, default=".")
    day_order = models.CharField(
        _("order of dates"), max_length=3, choices=DayOrder, default=DayOrder.MONTH_FIRST
    )
    headings = models.JSONField(default=list)
    # The position of the column of the file, by the name of ours.
    columns = models.JSONField(default=dict)
    rows_read = models.PositiveIntegerField(_("rows"), default=0)
    rows_bad = models.PositiveIntegerField(_("rows with something wrong"), default=0)
    rows_made = models.PositiveIntegerField(_("rows brought in"), default=0)
    # How far the check or the bringing in is, where that takes long.
    work = models.ForeignKey(
        LongWork, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    # When the work on it last went on; a machine that stopped leaves it busy and untouched.
    touched_at = models.DateTimeField(default=timezone.now)
    # Why it was not brought in the last time: it was stopped, or something had changed.
    message = models.TextField(blank=True)
    uploaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    uploaded_at = models.DateTimeField(default=timezone.now)
    completed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    completed_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_reason = models.CharField(_("why it was undone"), max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("import")
        verbose_name_plural = _("imports")
        ordering = ["-id"]
        permissions = [("bring_in_lists", "Can bring in lists from files")]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["complete", "undone"], completed_at__isnull=False)
                | (~Q(state__in=["complete", "undone"]) & Q(completed_at__isnull=True)),
                name="import_complete_has_its_moment",
            ),
            models.CheckConstraint(
                condition=Q(state="undone", undone_at__isnull=False)
                | (~Q(state="undone") & Q(undone_at__isnull=True)),
                name="import_undone_has_its_moment",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.file_name}"

    @property
    def rows_good(self) -> int:
        return self.rows_read - self.rows_bad

    @property
    def is_open(self) -> bool:
        """Whether there is still something to do before it counts or is dropped."""
        return self.state in self.OPEN

    @property
    def is_waited_for(self) -> bool:
        """Whether work on it goes on, or waits for its turn."""
        return self.is_busy or (self.work is not None and not self.work.has_ended)

    @property
    def is_busy(self) -> bool:
        """Whether work on it goes on; what was left untouched for minutes was left behind."""
        return self.state in self.BUSY and timezone.now() - self.touched_at < BUSY_LASTS


class ImportRow(models.Model):
    """A row of the file: its cells until they were brought in, then what was made of it."""

    of_import = models.ForeignKey(Import, on_delete=models.CASCADE, related_name="rows")
    # As a spreadsheet counts: the headings are row 1.
    number = models.PositiveIntegerField()
    cells = models.JSONField(default=list)
    # Each is the name of our column, or empty, and a sentence.
    problems = models.JSONField(default=list)
    # Each is a model and a primary key, in the order in which they were made.
    made = models.JSONField(default=list)

    class Meta:
        verbose_name = _("row of an import")
        verbose_name_plural = _("rows of imports")
        ordering = ["of_import", "number"]
        constraints = [
            models.UniqueConstraint(fields=["of_import", "number"], name="import_row_is_one"),
        ]

    def __str__(self) -> str:
        return f"{self.of_import_id}: {self.number}"

    def told(self) -> list[tuple[str, str]]:
        """Return what is wrong with it: the name of a column, or empty, and a sentence."""
        found: list[Any] = self.problems
        return [(str(column), str(sentence)) for column, sentence in found]
