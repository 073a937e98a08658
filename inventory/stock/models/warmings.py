"""When honey was warmed: in which vessel, for how long, how warm it got."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.stock.models.ledger import Place


class WarmingQuerySet(models.QuerySet["Warming"]):
    def standing(self) -> "WarmingQuerySet":
        """Leave out what was removed."""
        return self.filter(removed_at=None)


class Warming(models.Model):
    """One warming of what was in a vessel, from one day to another, both included.

    Which lots were warmed is not stored: it is read from the ledger, so that a late or corrected
    entry reaches them. Hours and temperature are None where nobody noted them.
    `limit_celsius` is the house's own limit of the day it was entered; a warming above it was
    confirmed. A removed one stays, with who removed it and when.
    """

    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="warmings", verbose_name=_("vessel")
    )
    started_on = models.DateField(pgettext_lazy("day", "from"))
    ended_on = models.DateField(pgettext_lazy("day", "to"))
    hours = models.DecimalField(_("hours"), max_digits=5, decimal_places=1, null=True, blank=True)
    highest_celsius = models.DecimalField(
        _("highest temperature, °C"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    limit_celsius = models.DecimalField(
        _("warmest that honey may get, °C"), max_digits=4, decimal_places=1
    )
    above_limit_confirmed = models.BooleanField(_("confirmed above the limit"), default=False)
    warmed_by = models.CharField(_("warmed by"), max_length=80, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    recorded_at = models.DateTimeField(_("recorded"), auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    removed_at = models.DateTimeField(_("removed"), null=True, blank=True)
    removed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = WarmingQuerySet.as_manager()

    class Meta:
        ordering = ["-started_on", "-id"]
        verbose_name = _("warming")
        verbose_name_plural = _("warmings")
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_on__gte=F("started_on")), name="warming_ends_after_it_starts"
            ),
            models.CheckConstraint(
                condition=Q(hours__isnull=True) | Q(hours__gt=0), name="warming_hours_gt_0"
            ),
            models.CheckConstraint(
                condition=Q(highest_celsius__isnull=True)
                | Q(highest_celsius__lte=F("limit_celsius"))
                | Q(above_limit_confirmed=True),
                name="warming_above_the_limit_is_confirmed",
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True, removed_by__isnull=True)
                | Q(removed_at__isnull=False, removed_by__isnull=False),
                name="warming_removed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place} {self.started_on:%Y-%m-%d}"

    @property
    def is_above_limit(self) -> bool:
        return self.highest_celsius is not None and self.highest_celsius > self.limit_celsius

    @property
    def is_removed(self) -> bool:
        return self.removed_at is not None
