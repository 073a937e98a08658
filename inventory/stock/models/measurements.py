"""What was measured of a lot or in a vessel: which figure, how, on which day, by whom."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.physics import grading
from inventory.shared import words
from inventory.shared.models import Attachment
from inventory.stock.models.ledger import Place
from inventory.stock.models.lots import MOISTURE_MAX, MOISTURE_MIN, Lot


@dataclass(frozen=True)
class Scale:
    """The unit of a figure, how far it can go, and with how many decimals it is kept."""

    unit: str | Promise
    low: Decimal
    high: Decimal
    decimals: int


# The fields of a lot for what it has itself: the figure now, and the one that it came with.
OWN_FIGURES = {
    "moisture": ("moisture_percent", "moisture_percent_at_first"),
    "colour": ("colour_mm", "colour_mm_at_first"),
}


class MeasurementQuerySet(models.QuerySet["Measurement"]):
    def again(self, lot: Lot, what: str) -> "MeasurementQuerySet":
        """Return what was measured of a lot after it was entered, the latest day first.

        Of one day, what was entered last is the latest. Removed figures are among them.
        """
        later = self.filter(lot=lot, what=what, idempotency_key__isnull=False)
        return later.order_by("-measured_on", "-pk")

    def figure_of(self, lot: Lot, what: str, *, on: date | None = None) -> Decimal | None:
        """Return the moisture or colour of a lot, now or at the end of a day.

        The one measured latest by then, by the house or a laboratory; else what the lot came with.
        """
        own, at_first = OWN_FIGURES[what]
        later = self.again(lot, what)
        known = later.filter(removed_at=None)
        if on is not None:
            known = known.filter(measured_on__lte=on)
        if latest := known.first():
            return latest.value.quantize(Decimal(1).scaleb(-latest.scale.decimals))
        return getattr(lot, at_first if later.exists() else own)


class Measurement(models.Model):
    """One figure of a lot as it was read. A removed one stays, with who removed it and when.

    A laboratory's figure names the laboratory, and its report, which is attached to the lot. The
    latest moisture and colour are the lot's own from then on; the lot keeps the figures that it
    came with too (`OWN_FIGURES`).
    """

    class What(models.TextChoices):
        # Written as headings, because pH has no capital first letter.
        MOISTURE = "moisture", _("Moisture")
        COLOUR = "colour", _("Colour")
        HMF = "hmf", _("HMF")
        DIASTASE = "diastase", _("Diastase number")
        ACIDITY = "ph", _("pH")
        CONDUCTIVITY = "conductivity", _("Electrical conductivity")

    class Method(models.TextChoices):
        REFRACTOMETER = "refractometer", _("refractometer")
        PHOTOMETER = "photometer", _("colour photometer")
        GRADER = "grader", _("Pfund grader")
        METER = "meter", _("meter with an electrode")
        STRIPS = "strips", _("test strips")
        LABORATORY = "laboratory", _("laboratory")
        OTHER = "other", _("another method")
        NOT_RECORDED = "not_recorded", _("method not recorded")

    # Moisture and colour as for lots. For the others no source sets an end; these are far beyond
    # the limits of Directive 2001/110/EC, annex II (HMF 40 mg/kg, diastase 8, conductivity
    # 0.8 mS/cm) and beyond every honey we know of (common practice), so that a figure outside is a
    # slip of the finger or another unit.
    SCALES = {
        What.MOISTURE: Scale(_("%"), MOISTURE_MIN, MOISTURE_MAX, 2),
        What.COLOUR: Scale(_("mm Pfund"), Decimal(0), Decimal(150), 1),
        What.HMF: Scale(_("mg/kg"), Decimal(0), Decimal(1000), 1),
        What.DIASTASE: Scale(_("Schade units"), Decimal(0), Decimal(100), 1),
        What.ACIDITY: Scale("", Decimal(3), Decimal(7), 2),
        What.CONDUCTIVITY: Scale(_("mS/cm"), Decimal(0), Decimal(5), 3),
    }

    # What a laboratory may report as "less than" the least that it can detect.
    DETECTED_FROM_A_LIMIT = (What.HMF, What.DIASTASE, What.CONDUCTIVITY)

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="measurements")
    # The tank or drum that it was read in; None where nobody said.
    place = models.ForeignKey(
        Place,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="measurements",
        verbose_name=_("vessel"),
    )
    what = models.CharField(_("what"), max_length=12, choices=What)
    value = models.DecimalField(_("figure"), max_digits=7, decimal_places=3)
    # A laboratory's "< 5": the value is the limit of what it can detect.
    is_below = models.BooleanField(_("below this figure"), default=False)
    method = models.CharField(
        _("method"), max_length=13, choices=Method, default=Method.NOT_RECORDED
    )
    instrument = models.CharField(_("instrument"), max_length=80, blank=True)
    measured_on = models.DateField(_("day"))
    measured_by = models.CharField(_("measured by"), max_length=80, blank=True)
    is_laboratory = models.BooleanField(_("by a laboratory"), default=False)
    laboratory = models.CharField(_("laboratory"), max_length=120, blank=True)
    report = models.ForeignKey(
        Attachment,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("report"),
    )
    note = models.CharField(_("note"), max_length=200, blank=True)
    recorded_at = models.DateTimeField(_("recorded"), auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    removed_at = models.DateTimeField(_("removed"), null=True, blank=True)
    removed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    # None for a figure that was entered with its lot: the posting of the lot has the key.
    idempotency_key = models.CharField(max_length=120, unique=True, null=True, blank=True)

    objects = MeasurementQuerySet.as_manager()

    class Meta:
        verbose_name = _("measurement")
        verbose_name_plural = _("measurements")
        constraints = [
            models.CheckConstraint(
                condition=Q(is_laboratory=True, report__isnull=False) & ~Q(laboratory="")
                | Q(is_laboratory=False, report__isnull=True, laboratory=""),
                name="measurement_laboratory_has_a_report",
            ),
            models.CheckConstraint(condition=Q(value__gte=0), name="measurement_value_gte_0"),
            models.CheckConstraint(
                condition=Q(is_below=False) | Q(value__gt=0), name="measurement_below_gt_0"
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True, removed_by__isnull=True)
                | Q(removed_at__isnull=False, removed_by__isnull=False),
                name="measurement_removed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()} {self.in_words}"

    @property
    def scale(self) -> Scale:
        return self.SCALES[self.What(self.what)]

    @property
    def in_words(self) -> str:
        """The figure with its unit: "17.4 %"."""
        return figure_in_words(self.what, self.value, is_below=self.is_below)

    @property
    def grade(self) -> str:
        """What the United States standard calls honey of this figure; empty for most figures."""
        return grade_in_words(self.what, self.value)

    @property
    def has_report(self) -> bool:
        return self.report is not None and not self.report.is_removed


class VesselTemperature(models.Model):
    """How warm the honey in a vessel was on a day."""

    # Frozen honey is kept at −18 °C; above 100 °C nothing of it is honey.
    CELSIUS_MIN, CELSIUS_MAX = Decimal(-30), Decimal(100)

    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="temperatures", verbose_name=_("vessel")
    )
    celsius = models.DecimalField(_("temperature, °C"), max_digits=4, decimal_places=1)
    measured_on = models.DateField(_("day"))
    measured_by = models.CharField(_("measured by"), max_length=80, blank=True)
    recorded_at = models.DateTimeField(_("recorded"), auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    idempotency_key = models.CharField(max_length=120, unique=True)

    class Meta:
        ordering = ["-measured_on", "-id"]
        verbose_name = _("temperature in a vessel")
        verbose_name_plural = _("temperatures in vessels")
        constraints = [
            models.CheckConstraint(
                condition=Q(celsius__gte=-30, celsius__lte=100),
                name="vessel_temperature_celsius_minus_30_to_100",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place} {self.celsius} °C"


def figure_in_words(what: str, value: Decimal, *, is_below: bool = False) -> str:
    """Write a figure with its unit: "17.4 %", "34 mm Pfund", "3.9", "< 5 mg/kg"."""
    unit = Measurement.SCALES[Measurement.What(what)].unit
    return f"{'< ' if is_below else ''}{words.number(value.normalize())} {unit}".strip()


def grade_in_words(what: str, value: Decimal) -> str:
    """Say the grade by moisture or the colour class; an empty text for any other figure."""
    if what == Measurement.What.MOISTURE:
        return words.grade(grading.moisture_grade(float(value)))
    if what == Measurement.What.COLOUR:
        return words.colour(grading.colour_class(float(value)))
    return ""
