"""The running seal over the books."""

from datetime import datetime
from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.stock import seal_text
from inventory.stock.models.ledger import AppendOnlyModel, AppendOnlyQuerySet

SHORT_DIGITS = 16


class SealQuerySet(AppendOnlyQuerySet["Seal"]):
    def newest(self, known_at: datetime | None = None) -> "Seal | None":
        """Return the last seal, now or at a moment, without its rows; None of unsealed books."""
        found = self if known_at is None else self.filter(made_at__lte=known_at)
        return found.defer("rows").order_by("-number").first()


class Seal(AppendOnlyModel):
    """A batch of rows of the books, with a digest over them and over the seal before.

    `last` has the number of the last row that it covers, by kind; the batch begins after that of
    the seal before. `rows` has a line for each row of the batch: its kind, number and the digest of
    its text. `covered` is how many rows are sealed so far. `version` names the columns of that
    text.
    """

    number = models.PositiveIntegerField(_("number"), unique=True)
    version = models.PositiveSmallIntegerField()
    made_at = models.DateTimeField(_("made"))
    last = models.JSONField()
    rows = models.TextField()
    covered = models.PositiveBigIntegerField(_("rows so far"))
    digest = models.CharField(_("digest"), max_length=64, unique=True)

    objects: ClassVar[SealQuerySet] = SealQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        verbose_name = _("seal")
        verbose_name_plural = _("seals")
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(number__gte=1), name="seal_number_gte_1"),
        ]

    def __str__(self) -> str:
        return _now("Seal %(number)s of %(day)s over %(count)s entries: %(digits)s") % {
            "number": self.number,
            "day": date_format(localtime(self.made_at), "DATE_FORMAT"),
            "count": f"{self.covered:,}",
            "digits": self.short_digits,
        }

    def digest_after(self, previous: str) -> str:
        """Return the digest that this seal must have after one with the digest `previous`."""
        return seal_text.digest(
            previous=previous,
            number=self.number,
            version=self.version,
            made_at=self.made_at,
            last=self.last,
            covered=self.covered,
            rows=self.rows,
        )

    @property
    def short_digits(self) -> str:
        """The first 16 digits in groups of four, as they are printed and noted elsewhere."""
        return " ".join(self.digest[at : at + 4] for at in range(0, SHORT_DIGITS, 4))
