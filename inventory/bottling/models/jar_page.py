"""What the public page of a jar shows."""

from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _


class JarPage(models.Model):
    """One row: whether jars have a page that everybody can read, and what is on it.

    The page never shows more than a label could: whoever guesses a lot code can read it.
    """

    class Dates(models.TextChoices):
        NONE = "none", _("no dates")
        MONTH = "month", _("month and year")
        DAY = "day", _("day, month and year")

    is_on = models.BooleanField(_("jars have a page"), default=False)
    shows_floral_source = models.BooleanField(_("floral source"), default=True)
    region = models.CharField(_("region"), max_length=80, blank=True)
    dates = models.CharField(_("dates"), max_length=5, choices=Dates, default=Dates.MONTH)
    shows_colour = models.BooleanField(_("colour"), default=True)
    shows_moisture = models.BooleanField(_("moisture"), default=False)
    shows_phone = models.BooleanField(_("telephone"), default=False)
    shows_email = models.BooleanField(_("e-mail"), default=False)
    note = models.CharField(_("note"), max_length=600, blank=True)
    # Empty: the sentence of `rules.jar_page`, in the reader's language.
    hold_sentence = models.CharField(_("sentence for a lot on hold"), max_length=300, blank=True)

    class Meta:
        verbose_name = _("page of a jar")
        verbose_name_plural = _("page of a jar")
        permissions = [("manage_jar_page", "Can decide what the public page of a jar shows")]
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="jar_page_is_one"),
        ]

    def __str__(self) -> str:
        return "Page of a jar"

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.pk = 1
        super().save(*args, **kwargs)

    @classmethod
    def current(cls) -> "JarPage":
        """Return the one row, or its defaults while it has not been saved."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)
