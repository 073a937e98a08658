"""What is kept clean, how often, and when it was cleaned."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.stock.models.ledger import Place


class CleaningTask(models.Model):
    """Something of the house that is cleaned, and its schedule.

    Of a vessel it is known from the ledger when it was used; of a line, a room or a machine, from
    the days on which the house bottled or extracted (`used_for`).
    """

    class Kind(models.TextChoices):
        VESSEL = "vessel", _("tank or other vessel")
        LINE = "line", _("line, pump or filler")
        MACHINE = "machine", _("extractor or other machine")
        ROOM = "room", _("room")

    class Schedule(models.TextChoices):
        DAYS = "days", _("every so many days")
        BEFORE_USE = "before_use", _("before each use")
        AFTER_USE = "after_use", _("after each use")
        WHEN_NEEDED = "when_needed", _("when needed")

    class Use(models.TextChoices):
        BOTTLING = "bottling", _("bottling")
        EXTRACTION = "extraction", _("extraction")

    # How often depends on when it was last used.
    BY_USE = (Schedule.BEFORE_USE, Schedule.AFTER_USE)

    name = models.CharField(_("name"), max_length=80, unique=True)
    kind = models.CharField(_("kind"), max_length=8, choices=Kind)
    place = models.ForeignKey(
        Place,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="cleaning_tasks",
        verbose_name=_("vessel"),
    )
    schedule = models.CharField(_("how often"), max_length=11, choices=Schedule)
    every_days = models.PositiveSmallIntegerField(_("every so many days"), null=True, blank=True)
    used_for = models.CharField(_("used for"), max_length=10, choices=Use, blank=True)
    cleaned_with = models.CharField(_("usually cleaned with"), max_length=120, blank=True)
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        ordering = ["kind", "name"]
        verbose_name = _("cleaning task")
        verbose_name_plural = _("cleaning tasks")
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="vessel", place__isnull=False)
                | (~Q(kind="vessel") & Q(place__isnull=True)),
                name="cleaning_task_vessel_has_a_place",
            ),
            models.CheckConstraint(
                condition=Q(schedule="days", every_days__gt=0)
                | (~Q(schedule="days") & Q(every_days__isnull=True)),
                name="cleaning_task_days_are_a_number",
            ),
            models.CheckConstraint(
                condition=(
                    Q(schedule__in=["before_use", "after_use"], place__isnull=True)
                    & ~Q(used_for="")
                )
                | (
                    ~Q(schedule__in=["before_use", "after_use"], place__isnull=True)
                    & Q(used_for="")
                ),
                name="cleaning_task_use_is_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class CleaningQuerySet(models.QuerySet["Cleaning"]):
    def standing(self) -> "CleaningQuerySet":
        """Leave out what was removed."""
        return self.filter(removed_at=None)


class Cleaning(models.Model):
    """One time that something was cleaned. A removed one stays, with who removed it and when."""

    task = models.ForeignKey(
        CleaningTask, on_delete=models.PROTECT, related_name="cleanings", verbose_name=_("what")
    )
    cleaned_on = models.DateField(_("day"))
    cleaned_by = models.CharField(_("cleaned by"), max_length=80)
    cleaned_with = models.CharField(_("cleaned with"), max_length=120)
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

    objects = CleaningQuerySet.as_manager()

    class Meta:
        ordering = ["-cleaned_on", "-id"]
        verbose_name = _("cleaning")
        verbose_name_plural = _("cleanings")
        permissions = [("record_cleaning", "Can record what was cleaned")]
        constraints = [
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True, removed_by__isnull=True)
                | Q(removed_at__isnull=False, removed_by__isnull=False),
                name="cleaning_removed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.task} {self.cleaned_on:%Y-%m-%d}"

    @property
    def is_removed(self) -> bool:
        return self.removed_at is not None
