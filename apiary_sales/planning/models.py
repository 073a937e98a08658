"""What the owner expects of the season, beside what the books say."""

from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning.rules.demand import Outlook


class SeasonOutlook(models.Model):
    """One row of figures for the season plan; what is None is taken from the books, or not known.

    `kept_per_pound` is what honey brings that is left after the plan's last month,
    `storage_per_pound` what keeping a pound for a month costs. `drum_month_grams` and
    `drum_year_grams` are the most that drum buyers take. `hours_by_month` has hours of work by the
    number of a month ("1" to "12") where they differ from `hours`.
    """

    outlook = models.CharField(
        _("how to use past sales"), max_length=10, choices=Outlook, default=Outlook.USUAL
    )
    kept_per_pound = models.DecimalField(
        _("price of honey kept beyond the plan"),
        max_digits=9,
        decimal_places=4,
        null=True,
        blank=True,
    )
    storage_per_pound = models.DecimalField(
        _("cost of storage a month"), max_digits=9, decimal_places=4, null=True, blank=True
    )
    interest_percent = models.DecimalField(
        _("interest a year, percent"),
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    drum_month_grams = models.BigIntegerField(
        _("most sold in drums in a month"), null=True, blank=True
    )
    drum_year_grams = models.BigIntegerField(
        _("most sold in drums in twelve months"), null=True, blank=True
    )
    harvest_month = models.PositiveSmallIntegerField(
        _("month in which the next harvest begins"), null=True, blank=True
    )
    harvest_grams = models.BigIntegerField(_("expected harvest"), null=True, blank=True)
    harvest_spread_grams = models.BigIntegerField(
        _("by how much harvests differ"), null=True, blank=True
    )
    room_grams = models.BigIntegerField(_("room for honey in bulk"), null=True, blank=True)
    hours = models.DecimalField(
        _("hours for bottling in a month"), max_digits=7, decimal_places=2, null=True, blank=True
    )
    hours_by_month = models.JSONField(_("hours of single months"), default=dict, blank=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True
    )
    changed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        verbose_name = _("outlook of the season")
        verbose_name_plural = _("outlooks of the season")
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="season_outlook_is_one"),
            models.CheckConstraint(
                condition=Q(harvest_month=None) | Q(harvest_month__gte=1, harvest_month__lte=12),
                name="season_outlook_month_is_of_a_year",
            ),
        ]

    def __str__(self) -> str:
        return "Season outlook"

    @property
    def version(self) -> int:
        """The second of its saving, counted from 2020 so that a form takes it; 0 if never saved."""
        if self._state.adding:
            return 0
        return (self.changed_at - datetime(2020, 1, 1, tzinfo=UTC)) // timedelta(seconds=1)

    @classmethod
    def current(cls) -> "SeasonOutlook":
        """Return the one row, or its defaults while it has not been saved."""
        return cls.objects.select_related("changed_by").filter(pk=1).first() or cls(pk=1)
