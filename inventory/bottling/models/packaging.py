"""Sizes a user can edit, and the parts they are made up from."""

from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.physics import units
from inventory.stock.models.ledger import Item, Place, Posting
from inventory.stock.models.suppliers import Supplier

if TYPE_CHECKING:
    from inventory.bottling.models.products import Product


class Size(models.Model):
    """A size honey is packed in, with the net weight its label declares.

    The declared weight is kept as typed (12 oz, 500 g), so that the label and the arithmetic
    agree exactly.
    """

    class Unit(models.TextChoices):
        OUNCE = "oz", _("oz")
        POUND = "lb", _("lb")
        GRAM = "g", _("g")
        KILOGRAM = "kg", _("kg")

    code = models.SlugField(_("short name"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=60, unique=True)
    declared_amount = models.DecimalField(
        _("net weight on the label"), max_digits=8, decimal_places=3
    )
    declared_unit = models.CharField(_("unit"), max_length=2, choices=Unit, default=Unit.POUND)
    brimful_ml = models.DecimalField(
        _("capacity filled to the brim, ml"), max_digits=8, decimal_places=1
    )
    tare_grams = models.PositiveIntegerField(_("empty weight, g"), default=0)
    pieces_per_case = models.PositiveIntegerField(_("pieces in a case"), default=12)
    best_by_months = models.PositiveSmallIntegerField(_("best by, months"), default=24)
    is_active = models.BooleanField(_("in use"), default=True)
    parts: "models.ManyToManyField[PackagingPart, SizePart]" = models.ManyToManyField(
        "PackagingPart", through="SizePart"
    )

    class Meta:
        verbose_name = _("size")
        verbose_name_plural = _("sizes")
        ordering = ["brimful_ml", "name"]
        permissions = [("manage_parts", "Can edit sizes and receive packaging parts")]
        constraints = [
            models.CheckConstraint(
                condition=Q(declared_amount__gt=0), name="size_declared_amount_gt_0"
            ),
            models.CheckConstraint(condition=Q(brimful_ml__gt=0), name="size_brimful_ml_gt_0"),
            models.CheckConstraint(
                condition=Q(pieces_per_case__gt=0), name="size_pieces_per_case_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def declared_grams(self) -> Decimal:
        """Net weight on the label in grams, exact."""
        return units.grams_from(self.declared_amount, self.declared_unit)

    @property
    def standard_product(self) -> "Product":
        """This size as the house usually sells it: liquid honey, of no variety or brand by name."""
        return next(product for product in self.products.all() if product.is_standard)


class PackagingPart(models.Model):
    """A jar, lid, label or case, counted in pieces."""

    class Kind(models.TextChoices):
        JAR = "jar", _("jar or jug")
        LID = "lid", _("lid")
        LABEL = "label", _("label")
        CASE = "case", _("case")
        OTHER = "other", _("other")

    item = models.OneToOneField(Item, on_delete=models.PROTECT, related_name="part")
    code = models.SlugField(_("short name"), max_length=30, unique=True)
    name = models.CharField(_("name"), max_length=80, unique=True)
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    reorder_point = models.PositiveIntegerField(_("order more when fewer than"), default=0)
    # What a supplier asks for one now, for plans and prices; the books use what was paid.
    quoted_price = models.DecimalField(
        _("quoted price of one"), max_digits=12, decimal_places=4, null=True, blank=True
    )
    quoted_on = models.DateField(_("quoted on"), null=True, blank=True)
    # From the order to the delivery; None while nobody has said.
    lead_time_days = models.PositiveSmallIntegerField(
        _("days until ordered ones arrive"), null=True, blank=True
    )
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        verbose_name = _("packaging part")
        verbose_name_plural = _("packaging parts")
        ordering = ["kind", "name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quoted_price=None, quoted_on=None)
                | Q(quoted_price__gte=0, quoted_price__isnull=False, quoted_on__isnull=False),
                name="part_quoted_price_has_its_day",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class UsedPart(models.Model):
    """So many of a part go with so many filled pieces: one lid for 1, one case for 12."""

    quantity = models.PositiveIntegerField(_("how many"), default=1)
    per_pieces = models.PositiveIntegerField(_("for how many filled pieces"), default=1)

    # Each kind of use has its own link to the part.
    part: "models.ForeignKey[PackagingPart, PackagingPart]"
    part_id: int

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.quantity} {self.part} per {self.per_pieces}"

    def used_by(self, *, filled: int, broken: int = 0) -> int:
        """Return the whole parts that filled and broken pieces use up; a case begun is used.

        A broken piece takes its own jar, lid and label with it, but no share of a case: what
        several pieces share is counted for the filled ones alone.
        """
        is_shared = self.part.kind == PackagingPart.Kind.CASE or self.per_pieces > 1
        pieces = filled if is_shared else filled + broken
        return -(-pieces * self.quantity // self.per_pieces)


class SizePart(UsedPart):
    """A part that goes with every product of a size."""

    size = models.ForeignKey(
        Size,
        on_delete=models.CASCADE,
        related_name="size_parts",
        verbose_name=_("size"),
    )
    part = models.ForeignKey(
        PackagingPart, on_delete=models.PROTECT, related_name="used_in", verbose_name=_("part")
    )

    class Meta:
        verbose_name = _("part of a size")
        verbose_name_plural = _("parts of sizes")
        constraints = [
            models.UniqueConstraint(fields=["size", "part"], name="size_part_is_one"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, per_pieces__gt=0), name="size_part_gt_0"
            ),
        ]


class PartReceipt(models.Model):
    """Parts that came in, and what they cost."""

    part = models.ForeignKey(PackagingPart, on_delete=models.PROTECT, related_name="receipts")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    pieces = models.PositiveIntegerField(_("pieces"))
    cost_cents = models.BigIntegerField(_("cost of all"))
    supplier = models.ForeignKey(
        Supplier,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="part_receipts",
        verbose_name=_("supplier"),
    )
    received_on = models.DateField(_("received"))
    posting = models.OneToOneField(Posting, on_delete=models.PROTECT, related_name="part_receipt")

    class Meta:
        ordering = ["-received_on", "-id"]
        indexes = [
            models.Index(fields=["part", "-received_on", "-id"], name="part_receipt_newest"),
            models.Index(fields=["-received_on", "-id"], name="part_receipt_newest_first"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(pieces__gt=0, cost_cents__gte=0), name="part_receipt_amounts"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} {self.part}"
