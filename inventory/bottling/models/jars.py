"""Filled jars that become something else: labelled, relabelled, emptied, or put in a gift box."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.stock.models.ledger import Posting
from inventory.stock.models.lots import Lot


class JarChangeQuerySet(models.QuerySet["JarChange"]):
    def standing(self) -> "JarChangeQuerySet":
        """Return the changes that were not undone."""
        return self.filter(posting__reversed_by__reverses=None)


class JarChange(models.Model):
    """One change of filled pieces, which is one posting.

    `lot` is what it made, so many `pieces` of it (grams in the vessel for emptied jars); for a
    gift box that was taken apart it is the lot of the box. The lots that went in, or came back out
    of a box, are in `changed`.
    """

    class Act(models.TextChoices):
        LABEL = "label", _("labelled")
        RELABEL = "relabel", _("relabelled")
        EMPTY = "empty", _("emptied")
        BOX = "box", _("put in gift boxes")
        UNBOX = "unbox", _("taken out of gift boxes")

    # What makes pieces of a product.
    MAKES_PIECES = (Act.LABEL, Act.RELABEL, Act.BOX)

    act = models.CharField(max_length=8, choices=Act)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="changes")
    pieces = models.BigIntegerField()
    # Of emptied jars: honey that stayed in them, on the sieve or on the floor.
    loss_grams = models.BigIntegerField(default=0)
    # None while nobody entered them, which is not the same as no work at all.
    labour_minutes = models.PositiveIntegerField(null=True, blank=True)
    labour_cents = models.BigIntegerField(null=True, blank=True)
    parts_cents = models.BigIntegerField(null=True, blank=True)
    # What the change added to the cost of `lot`, and what that cost was without any change.
    cost_cents = models.BigIntegerField(null=True, blank=True)
    cents_before = models.BigIntegerField(null=True, blank=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    posting = models.OneToOneField(Posting, on_delete=models.PROTECT, related_name="jar_change")
    note = models.CharField(_("note"), max_length=300, blank=True)

    objects = JarChangeQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(pieces__gt=0, loss_grams__gte=0), name="jar_change_pieces_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_act_display()} {self.lot}"


class ChangedPieces(models.Model):
    """So many pieces of one lot in a change, and the grams of honey in them."""

    change = models.ForeignKey(JarChange, on_delete=models.CASCADE, related_name="changed")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="changed_pieces")
    pieces = models.PositiveIntegerField()
    grams = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["change", "lot"], name="changed_pieces_lot_is_one"),
            models.CheckConstraint(
                condition=Q(pieces__gt=0, grams__gte=0), name="changed_pieces_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} {self.lot}"


class ReturnedJars(models.Model):
    """Pieces that had left the house and came back: kept apart until somebody decides.

    While `decision` is empty they are at the place for returned goods, from which nothing is sold.
    """

    class Decision(models.TextChoices):
        SPOILED = "spoiled", _("written off as spoiled")
        RELEASED = "released", _("released")

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="returned")
    pieces = models.PositiveIntegerField()
    reason = models.CharField(_("where they were, and why they came back"), max_length=300)
    set_aside_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    # One posting, of which several decisions may dispose.
    set_aside = models.ForeignKey(Posting, on_delete=models.PROTECT, related_name="returned")
    decision = models.CharField(max_length=8, choices=Decision, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    decision_reason = models.CharField(max_length=300, blank=True)
    decided = models.OneToOneField(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="decided_return"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(pieces__gt=0), name="returned_jars_pieces_gt_0"),
            models.CheckConstraint(
                condition=Q(decision="", decided__isnull=True, decided_by__isnull=True)
                | Q(decision="spoiled", decided__isnull=False, decided_by__isnull=False)
                | (
                    Q(decision="released", decided__isnull=False, decided_by__isnull=False)
                    & ~Q(decision_reason="")
                ),
                name="returned_jars_release_has_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} {self.lot}"
