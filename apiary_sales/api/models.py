"""What the API keeps for itself: what was answered under which key."""

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class KeptAnswer(models.Model):
    """What an act answered, for whoever sends the same `Idempotency-Key` again.

    The key belongs to the person, and among the person's tokens to one. The row is written in the
    transaction of the act, before it; `status` is null only until the act is done.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="kept_answers"
    )
    token = models.CharField(_("token"), max_length=128, blank=True)
    key = models.CharField(_("key"), max_length=100)
    method = models.CharField(_("method"), max_length=10)
    address = models.TextField(_("address"))
    body_sha256 = models.CharField(_("SHA-256 of the body"), max_length=64)
    status = models.PositiveSmallIntegerField(_("status"), null=True)
    headers = models.JSONField(_("headers"), default=dict)
    body = models.TextField(_("answer"), blank=True)
    answered_at = models.DateTimeField(_("answered"), default=timezone.now, db_index=True)

    class Meta:
        verbose_name = _("kept answer")
        verbose_name_plural = _("kept answers")
        constraints = [
            models.UniqueConstraint(fields=["person", "token", "key"], name="kept_answer_of_key"),
        ]

    def __str__(self) -> str:
        return self.key
