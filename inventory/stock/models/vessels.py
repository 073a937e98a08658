"""The shape of tanks, and what a dip stick said."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.stock.models.ledger import Place, Posting
from inventory.stock.models.lots import Lot


class TankShape(models.Model):
    """The inside measurements of a vessel, in whole millimetres."""

    class Form(models.TextChoices):
        UPRIGHT = "upright", _("upright cylinder")
        HORIZONTAL = "horizontal", _("cylinder on its side")
        TABLE = "table", _("calibration table")

    class End(models.TextChoices):
        FLAT = "flat", _("flat")
        CONE = "cone", _("cone")
        ELLIPTICAL = "elliptical", _("dished, 2:1 ellipse")
        HEMISPHERE = "hemisphere", _("dished, half ball")

    place = models.OneToOneField(
        Place, on_delete=models.CASCADE, related_name="shape", verbose_name=_("place")
    )
    form = models.CharField(_("form"), max_length=12, choices=Form)
    diameter_mm = models.PositiveIntegerField(_("inside diameter, mm"), null=True, blank=True)
    length_mm = models.PositiveIntegerField(
        _("height or length of the straight wall, mm"), null=True, blank=True
    )
    end = models.CharField(
        _("bottom, or both ends of a tank on its side"),
        max_length=12,
        choices=End,
        default=End.FLAT,
    )
    cone_mm = models.PositiveIntegerField(_("depth of the cone, mm"), null=True, blank=True)

    class Meta:
        verbose_name = _("tank shape")
        verbose_name_plural = _("tank shapes")
        constraints = [
            models.CheckConstraint(
                condition=Q(form="table") | Q(diameter_mm__gt=0, length_mm__gt=0),
                name="tank_shape_has_measurements",
                violation_error_message=_("Enter the inside diameter and the length."),
            ),
            models.CheckConstraint(
                condition=~Q(end="cone") | Q(form="table") | Q(cone_mm__gt=0),
                name="tank_shape_cone_has_a_depth",
                violation_error_message=_("Enter how deep the cone is."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place}: {self.get_form_display()}"


class CalibrationPoint(models.Model):
    """One line of a vessel's calibration table: so deep, so many litres."""

    shape = models.ForeignKey(TankShape, on_delete=models.CASCADE, related_name="points")
    depth_mm = models.PositiveIntegerField(_("depth, mm"))
    litres = models.DecimalField(_("litres"), max_digits=9, decimal_places=3)

    class Meta:
        ordering = ["depth_mm"]
        constraints = [
            models.UniqueConstraint(fields=["shape", "depth_mm"], name="calibration_depth_is_one"),
        ]

    def __str__(self) -> str:
        return f"{self.depth_mm} mm: {self.litres} L"


class DipReading(models.Model):
    """A depth and a temperature read in a vessel, and the honey they mean.

    `grams` is worked out from the vessel's shape and the density at `moisture_percent` and
    `celsius`; `uncertainty_grams` says how far it can be wrong by the density tables and the
    dip stick, of which `stick_grams` are the stick's: half its finest mark, or None for a reading
    kept when the stick was not counted. `book_grams` is what the ledger said at that moment.
    """

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="dip_readings")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="dip_readings")
    read_at = models.DateTimeField(_("when"), default=timezone.now)
    read_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    depth_mm = models.PositiveIntegerField(_("depth, mm"))
    celsius = models.DecimalField(_("temperature, °C"), max_digits=4, decimal_places=1)
    moisture_percent = models.DecimalField(max_digits=4, decimal_places=2)
    litres = models.DecimalField(max_digits=9, decimal_places=3)
    grams = models.BigIntegerField()
    uncertainty_grams = models.BigIntegerField()
    stick_grams = models.BigIntegerField(null=True, blank=True)
    book_grams = models.BigIntegerField()
    note = models.CharField(_("note"), max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)
    accepted = models.OneToOneField(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="dip_reading"
    )

    class Meta:
        ordering = ["-read_at", "-id"]
        indexes = [
            models.Index(fields=["-read_at", "-id"], name="dip_reading_newest_first"),
            models.Index(fields=["place", "-read_at", "-id"], name="dip_of_place_newest"),
        ]

    def __str__(self) -> str:
        return f"{self.place} {self.depth_mm} mm"

    @property
    def difference_grams(self) -> int:
        """What the dip found beyond the book; negative when honey is missing."""
        return self.grams - self.book_grams

    @property
    def density_grams(self) -> int:
        """What the density tables alone can be wrong by."""
        return self.uncertainty_grams - (self.stick_grams or 0)
