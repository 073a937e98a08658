"""How this house works: figures used in every run."""

from decimal import Decimal

from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.shared.prepared import PreparedQuery
from inventory.stock import lot_codes


class ProductionSettings(models.Model):
    """One row of figures about the work in the honey house."""

    class CostMethod(models.TextChoices):
        FIRST_IN_FIRST_OUT = "fifo", _("first in, first out")
        WEIGHTED_AVERAGE = "average", _("weighted average")

    labour_cents_per_hour = models.PositiveIntegerField(_("labour, an hour"), default=0)
    cost_method = models.CharField(
        _("cost of what is sold"),
        max_length=8,
        choices=CostMethod,
        default=CostMethod.FIRST_IN_FIRST_OUT,
    )
    honey_house_celsius = models.DecimalField(
        _("usual filling temperature, °C"), max_digits=4, decimal_places=1, default=32
    )
    # At about 14 °C creamed honey sets in 7 to 14 days (common practice).
    setting_days = models.PositiveSmallIntegerField(
        _("days until creamed honey is ready"), default=10
    )
    # U.S. Grade A is up to 18.6 % (United States Standards for Grades of Extracted Honey, 1985).
    moisture_limit_percent = models.DecimalField(
        _("most moisture of honey for jars, percent"),
        max_digits=4,
        decimal_places=2,
        default=Decimal("18.6"),
    )
    # A heel of an earlier lot is not named among the sources of a blend.
    named_source_percent = models.DecimalField(
        _("least share of a source that is named, percent"),
        max_digits=4,
        decimal_places=1,
        default=Decimal(5),
    )
    # Gently, about 100 °F: heat darkens honey and raises its HMF (common practice).
    warming_limit_celsius = models.DecimalField(
        _("warmest that honey may get, °C"), max_digits=4, decimal_places=1, default=Decimal(38)
    )
    # An eighth of an inch, the finest mark of a usual dip stick.
    stick_mark_mm = models.DecimalField(
        _("finest mark of the dip stick, mm"),
        max_digits=4,
        decimal_places=1,
        default=Decimal("3.2"),
    )

    lot_code_pattern = models.CharField(
        _("pattern of lot codes"), max_length=30, default=lot_codes.USUAL_PATTERN
    )

    class Meta:
        verbose_name = _("bottling settings")
        verbose_name_plural = _("bottling settings")
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="production_settings_is_one"),
        ]

    def __str__(self) -> str:
        return "Production settings"

    def save(self, *args, **kwargs) -> None:
        self.pk = 1
        super().save(*args, **kwargs)

    @property
    def costs_by_average(self) -> bool:
        """Tell whether the house values what it sells at the weighted average."""
        return self.cost_method == self.CostMethod.WEIGHTED_AVERAGE

    @classmethod
    def current(cls) -> "ProductionSettings":
        """Return the one row, or its defaults while it has not been saved."""
        return _ONE.first() or cls(pk=1)


_ONE = PreparedQuery(lambda: ProductionSettings.objects.filter(pk=1))
