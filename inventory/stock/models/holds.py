"""Why a lot may not be sold: each reason is a row of its own, open until somebody releases it."""

from collections.abc import Iterable

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.stock.models.lots import Lot


class LotHold(models.Model):
    """One reason for which a lot is on hold, and who released it and why.

    A lot is on hold while one of its holds is open. `asked_lots` names the lots that a recall was
    about, so that its release frees what it held and nothing else. `because_of` is the hold of the
    jars from which this lot was made: they are released together. Nobody is named where the hold
    is older than this list.
    """

    class Cause(models.TextChoices):
        FILL_CHECK = "check", _("fill check")
        RECALL = "recall", _("recall")
        PERSON = "person", _("person")

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="holds")
    cause = models.CharField(_("caused by"), max_length=6, choices=Cause)
    because_of = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="inherited"
    )
    asked_lots = models.TextField(_("lots that a recall is about"), blank=True)
    reason = models.CharField(_("reason"), max_length=300, blank=True)
    held_at = models.DateTimeField(_("held"), default=timezone.now)
    held_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    released_at = models.DateTimeField(_("released"), null=True, blank=True)
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    release_reason = models.CharField(_("why it was released"), max_length=300, blank=True)

    class Meta:
        ordering = ["held_at", "id"]
        verbose_name = _("hold")
        verbose_name_plural = _("holds")
        indexes = [
            models.Index(
                fields=["lot"], condition=Q(released_at__isnull=True), name="lot_hold_open"
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(released_at__isnull=True, released_by__isnull=True, release_reason="")
                | (Q(released_at__isnull=False, released_by__isnull=False) & ~Q(release_reason="")),
                name="lot_hold_released_by_somebody_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.reason or str(self.get_cause_display())

    @property
    def is_open(self) -> bool:
        return self.released_at is None

    @staticmethod
    def asked_keys(keys: Iterable[int]) -> str:
        """Return what tells the recall of these lots from others."""
        return "-".join(str(key) for key in sorted(set(keys)))
