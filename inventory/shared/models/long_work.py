"""Work that takes longer than a page may wait for, with how far it is."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class LongWork(models.Model):
    """One piece of long work: who began it, how far it is, and what came of it.

    The work itself is a task that the worker does; it writes here how far it is, and looks here
    whether somebody asked it to stop.
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        WORKING = "working", _("at work")
        DONE = "done", _("done")
        STOPPED = "stopped", _("stopped")
        FAILED = "failed", _("failed")

    ENDED = (State.DONE, State.STOPPED, State.FAILED)

    kind = models.SlugField(_("kind"), max_length=40)
    title = models.CharField(_("what is done"), max_length=200)
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        verbose_name=_("by"),
        on_delete=models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
    )
    state = models.CharField(_("state"), max_length=8, choices=State, default=State.WAITING)
    done = models.PositiveIntegerField(_("steps done"), default=0)
    # 0 while nobody knows.
    total = models.PositiveIntegerField(_("steps in all"), default=0)
    message = models.TextField(_("what is said of it"), blank=True)
    result_url = models.CharField(_("where the result is"), max_length=300, blank=True)
    stop_asked = models.BooleanField(_("asked to stop"), default=False)
    created_at = models.DateTimeField(_("asked for"), auto_now_add=True)
    # When it last said how far it is: one that is silent for long was lost with its machine.
    heard_at = models.DateTimeField(_("last heard of"), auto_now=True)
    finished_at = models.DateTimeField(_("ended"), null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        verbose_name = _("long work")
        verbose_name_plural = _("long work")

    def __str__(self) -> str:
        return self.title

    @property
    def has_ended(self) -> bool:
        return self.state in self.ENDED

    @property
    def percent(self) -> int | None:
        """Return how far it is, in whole percent; None while nobody knows."""
        return min(100, self.done * 100 // self.total) if self.total else None
