"""The day up to which the books are closed."""

from datetime import date, timedelta

from django.conf import settings
from django.db import connection, models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.models.house import House


class BooksLockManager(models.Manager["BooksLock"]):
    def locked_until(self) -> date | None:
        """Return the last day on which nothing counts any more; None while the books are open."""
        return self.order_by("-id").values_list("locked_until", flat=True).first()

    def counting_day(self, day: date) -> date:
        """Return the day on which something of `day` counts: the first open day when it is closed.

        Call within the transaction that writes. Today is always open; what is late waits for a
        lock that is just being set, so that nothing slips into a closed period.
        """
        if day >= timezone.localdate():
            return day
        if connection.in_atomic_block:
            House.lock()
        until = self.locked_until()
        return day if until is None or day > until else until + timedelta(days=1)


class BooksLock(models.Model):
    """The books were closed up to a day or, with an earlier day or none, opened again.

    The newest row is in force; the others are its history.
    """

    locked_until = models.DateField(_("closed up to"), null=True, blank=True)
    locked_at = models.DateTimeField(default=timezone.now)
    locked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    note = models.CharField(_("reason"), max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = BooksLockManager()

    class Meta:
        ordering = ["-id"]
        permissions = [("lock_books", "Can close and open the books")]

    def __str__(self) -> str:
        return str(self.locked_until or "")
