"""What documents that name their own entry in the book of money have in common."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apiary_sales.billing.models.book import Entry


class BookedQuerySet(models.QuerySet["BookedDocument"]):
    def standing(self) -> "BookedQuerySet":
        """Leave out what was undone."""
        return self.filter(undone_entry=None)


class BookedDocument(models.Model):
    """A document with an entry of its own; it is undone by the opposite entry, and both stay."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="+")
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)
    undone_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    undone_reason = models.CharField(max_length=300, blank=True)
    undone_key = models.CharField(max_length=100, null=True, blank=True, unique=True)

    objects = BookedQuerySet.as_manager()

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=Q(undone_entry=None, undone_by=None, undone_key=None)
                | Q(undone_entry__isnull=False, undone_by__isnull=False, undone_key__isnull=False),
                name="%(class)s_undone_by_somebody",
            ),
        ]

    @property
    def is_undone(self) -> bool:
        return self.undone_entry_id is not None
