"""The index of "Find anything": derived from what the house has, and made anew at any time."""

from django.db import models
from django.db.models import Q

# A key is the number of the kind, and below it the key of the thing: keys of one kind are together
# in the index, the newest thing last, so that "the newest six of this kind" reads six rows.
KIND_SHIFT = 40


class SearchEntry(models.Model):
    """What one thing is found by: folded text, up to two whole codes, and an amount."""

    # It is not exported, and made anew from what is brought in.
    is_derived = True

    id = models.BigIntegerField(primary_key=True)
    kind = models.PositiveSmallIntegerField()
    text = models.TextField()
    code = models.CharField(max_length=100, null=True)
    other_code = models.CharField(max_length=100, null=True)
    amount_cents = models.BigIntegerField(null=True)

    class Meta:
        indexes = [
            # The classes are PostgreSQL's: they let an index find what begins with some letters.
            models.Index(
                fields=["kind", "code"],
                name="search_by_code",
                condition=Q(code__isnull=False),
                opclasses=["int2_ops", "varchar_pattern_ops"],
            ),
            models.Index(
                fields=["kind", "other_code"],
                name="search_by_other_code",
                condition=Q(other_code__isnull=False),
                opclasses=["int2_ops", "varchar_pattern_ops"],
            ),
            models.Index(
                fields=["amount_cents", "id"],
                name="search_by_amount",
                condition=Q(amount_cents__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.text

    @property
    def object_id(self) -> int:
        return object_of(self.pk)


class SearchBuild(models.Model):
    """How the index was made: by which layout, and whether all of it."""

    is_derived = True

    layout = models.PositiveSmallIntegerField()
    is_whole = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"{self.layout} {self.is_whole}"


def key_of(kind_number: int, object_id: int) -> int:
    return (kind_number << KIND_SHIFT) | object_id


def object_of(key: int) -> int:
    return key & ((1 << KIND_SHIFT) - 1)


def kind_of(key: int) -> int:
    return key >> KIND_SHIFT


def keys_of_kind(kind_number: int) -> tuple[int, int]:
    """Return the first and the last key that things of a kind may have."""
    return key_of(kind_number, 0), key_of(kind_number, (1 << KIND_SHIFT) - 1)
