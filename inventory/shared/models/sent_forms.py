"""The forms that were sent, so that one that comes again is known before it is read."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.shared import keys


class SentForm(models.Model):
    """A form whose act is recorded: who sent it, from which page, and where it led.

    The row is written in the transaction of the act, so that after a crash there are both or
    neither.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        verbose_name=_("by"),
        on_delete=models.CASCADE,
        related_name="+",
    )
    key = models.CharField(_("key"), max_length=keys.LENGTH_MAX)
    address = models.CharField(_("address of the page"), max_length=500)
    next_url = models.TextField(_("page after the act"))
    sent_at = models.DateTimeField(_("sent"), auto_now_add=True, db_index=True)

    class Meta:
        verbose_name = _("sent form")
        verbose_name_plural = _("sent forms")
        constraints = [
            models.UniqueConstraint(fields=["key", "person", "address"], name="sent_form_once"),
        ]

    def __str__(self) -> str:
        return self.address
