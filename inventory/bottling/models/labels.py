"""Layouts of label sheets and rolls."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class LabelSheet(models.Model):
    """How labels are arranged on a sheet or a roll, in millimetres.

    The offsets move everything that is printed, for a printer that feeds its paper askew.
    """

    class Paper(models.TextChoices):
        LETTER = "letter", _("Letter")
        A4 = "A4", _("A4")
        ROLL = "roll", _("roll")

    code = models.SlugField(_("short name"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=60, unique=True)
    paper = models.CharField(_("paper"), max_length=8, choices=Paper, default=Paper.LETTER)
    label_width_mm = models.DecimalField(_("width of a label"), max_digits=6, decimal_places=2)
    label_height_mm = models.DecimalField(_("height of a label"), max_digits=6, decimal_places=2)
    columns = models.PositiveSmallIntegerField(_("labels across"), default=1)
    rows = models.PositiveSmallIntegerField(_("labels down"), default=1)
    margin_left_mm = models.DecimalField(
        _("left margin"), max_digits=6, decimal_places=2, default=0
    )
    margin_top_mm = models.DecimalField(_("top margin"), max_digits=6, decimal_places=2, default=0)
    gap_x_mm = models.DecimalField(_("gap across"), max_digits=6, decimal_places=2, default=0)
    gap_y_mm = models.DecimalField(_("gap down"), max_digits=6, decimal_places=2, default=0)
    offset_x_mm = models.DecimalField(
        _("move to the right"), max_digits=5, decimal_places=2, default=0
    )
    offset_y_mm = models.DecimalField(_("move down"), max_digits=5, decimal_places=2, default=0)
    corner_radius_mm = models.DecimalField(
        _("radius of the corners"), max_digits=5, decimal_places=2, default=0
    )
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        verbose_name = _("label sheet")
        verbose_name_plural = _("label sheets")
        ordering = ["-is_active", "paper", "-label_width_mm", "-label_height_mm", "name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(label_width_mm__gt=0, label_height_mm__gt=0, columns__gt=0, rows__gt=0),
                name="label_sheet_measures_gt_0",
            ),
            models.CheckConstraint(
                condition=Q(
                    margin_left_mm__gte=0,
                    margin_top_mm__gte=0,
                    gap_x_mm__gte=0,
                    gap_y_mm__gte=0,
                    corner_radius_mm__gte=0,
                ),
                name="label_sheet_margins_gte_0",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def per_page(self) -> int:
        """How many labels are on a sheet, or in a row of a roll."""
        return self.columns * self.rows
