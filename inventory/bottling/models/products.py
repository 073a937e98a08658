"""Products: what is packed or bought in to be sold, and what a customer can order by name."""

from decimal import Decimal
from typing import cast

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models.packaging import PackagingPart, Size, SizePart, UsedPart
from inventory.stock.models.ledger import Balance, Item


class Brand(models.Model):
    """A name that jars are sold under beside the house's own: a shop's private label."""

    name = models.CharField(_("name"), max_length=60, unique=True)
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        verbose_name = _("brand")
        verbose_name_plural = _("brands")
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Variety(models.Model):
    """A kind of honey as the house sells it: buckwheat, or its house blend.

    With `floral_source`, only lots whose floral source has that word are filled under this name
    without being asked; without it, the person who bottles chooses the lots.
    """

    name = models.CharField(_("name"), max_length=60, unique=True)
    floral_source = models.CharField(_("floral source"), max_length=120, blank=True)
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        verbose_name = _("variety")
        verbose_name_plural = _("varieties")
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def covers(self, floral_source: str) -> bool:
        """Tell whether honey of this floral source may be called so without being asked."""
        wanted = self.floral_source.casefold().strip()
        return not wanted or wanted in floral_source.casefold()


class ProductQuerySet(models.QuerySet["Product"]):
    def in_use(self) -> "ProductQuerySet":
        """Return the products that are offered: neither they nor their size are out of use."""
        return self.filter(
            Q(size__isnull=True) | Q(size__is_active=True), is_active=True
        ).select_related("item", "size", "variety", "brand")

    def for_sale(self) -> "ProductQuerySet":
        """Return the products that can have a piece price: in use, labelled, and in pieces.

        Comb that is kept by weight is cut or put into jars before it is sold.
        """
        return self.in_use().filter(is_unlabelled=False, item__is_weighed=False)

    def sold_by_weight(self) -> "ProductQuerySet":
        """Return the goods that are kept in grams and have a price a pound."""
        return self.in_use().filter(kind="goods", item__is_weighed=True)

    def of_honey(self) -> "ProductQuerySet":
        return self.filter(kind=Product.Kind.HONEY)

    def of_goods(self) -> "ProductQuerySet":
        return self.filter(kind=Product.Kind.GOODS).select_related("item")


class Product(models.Model):
    """What a customer buys and a price belongs to, counted by the ledger as one item.

    A honey product is a size with a variety, a form and a brand; with none of them it is the
    size as the house usually sells it. Other goods have no size.
    """

    class Kind(models.TextChoices):
        HONEY = "honey", _("honey")
        GOODS = "goods", _("other goods")
        GIFT_BOX = "gift_box", _("gift box")

    class Form(models.TextChoices):
        LIQUID = "liquid", _("liquid")
        CREAMED = "creamed", _("creamed")
        COMB = "comb", _("comb")
        CHUNK = "chunk", _("chunk: comb in liquid honey")

    item = models.OneToOneField(Item, on_delete=models.PROTECT, related_name="product")
    kind = models.CharField(_("kind"), max_length=8, choices=Kind, default=Kind.HONEY)
    code = models.SlugField(_("short name"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=100, unique=True)
    size = models.ForeignKey(
        Size,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="products",
        verbose_name=_("size"),
    )
    variety = models.ForeignKey(
        Variety,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="products",
        verbose_name=_("variety"),
    )
    form = models.CharField(_("form"), max_length=8, choices=Form, default=Form.LIQUID, blank=True)
    brand = models.ForeignKey(
        Brand,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="products",
        verbose_name=_("brand"),
    )
    # Filled and lidded, to be labelled later: stock that is not for sale.
    is_unlabelled = models.BooleanField(_("without a label"), default=False)
    gtin = models.CharField(_("GTIN (bar code number)"), max_length=14, blank=True)
    # In grams for goods by weight, as the ledger counts them.
    low_stock_pieces = models.PositiveIntegerField(_("low when fewer than"), default=0)
    is_active = models.BooleanField(_("in use"), default=True)

    objects = ProductQuerySet.as_manager()

    class Meta:
        verbose_name = _("product")
        verbose_name_plural = _("products")
        permissions = [("manage_goods", "Can set up, receive and make other goods")]
        # Honey comes first, then goods, then gift boxes.
        ordering = ["-kind", "size__brimful_ml", "size__name", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="honey", size__isnull=False)
                | (
                    ~Q(kind="honey")
                    & Q(size__isnull=True, variety__isnull=True, brand__isnull=True)
                ),
                name="product_honey_has_a_size",
            ),
            models.UniqueConstraint(
                F("size"),
                Coalesce("variety", 0),
                "form",
                Coalesce("brand", 0),
                "is_unlabelled",
                condition=Q(kind="honey"),
                name="product_honey_is_one",
            ),
            models.UniqueConstraint(
                fields=["gtin"], condition=~Q(gtin=""), name="product_gtin_is_one"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_honey(self) -> bool:
        return self.kind == Product.Kind.HONEY

    @property
    def form_word(self) -> str:
        """The form in one word, where its label explains it."""
        return str(self.get_form_display()).split(":")[0]

    @property
    def is_filled(self) -> bool:
        """Whether it is filled from a vessel; comb honey comes from the hive as it is."""
        return self.is_honey and self.form != Product.Form.COMB

    @property
    def is_bulk_comb(self) -> bool:
        """Whether it is comb that is kept by weight, to be cut or put into jars."""
        return self.form == Product.Form.COMB and self.item.is_weighed

    @property
    def is_standard(self) -> bool:
        """Whether it is its size as the house usually sells it, with nothing said about it."""
        return (
            self.is_honey
            and self.form == Product.Form.LIQUID
            and self.variety_id is None
            and self.brand_id is None
            and not self.is_unlabelled
        )

    @property
    def is_in_use(self) -> bool:
        return self.is_active and (self.size is None or self.size.is_active)

    @property
    def honey_size(self) -> Size:
        """The size of a honey product, which always has one."""
        return cast(Size, self.size)

    @property
    def declared_grams(self) -> Decimal:
        """Net weight of honey on the label in grams, exact; zero for other goods."""
        return self.size.declared_grams if self.size else Decimal(0)

    @property
    def pieces_per_case(self) -> int:
        """How many make a case; other goods are sold by the piece."""
        return self.size.pieces_per_case if self.size else 1

    def uses(self) -> list[UsedPart]:
        """Return the parts that go with a filled piece, with their items.

        A part of the product's own takes the place of its size's parts of the same kind, so that a
        private label is used instead of the house's.
        """
        models.prefetch_related_objects([self], *parts_of_products())
        own = sorted(self.product_parts.all(), key=lambda use: use.pk)
        replaced = {use.part.kind for use in own}
        of_size = sorted(self.size.size_parts.all(), key=lambda use: use.pk) if self.size else []
        uses = [*(use for use in of_size if use.part.kind not in replaced), *own]
        return [
            use
            for use in uses
            if not (self.is_unlabelled and use.part.kind == PackagingPart.Kind.LABEL)
        ]

    def uses_with_stock(self) -> list[tuple[UsedPart, int]]:
        """Return each part with how many pieces of it are in the stores."""
        uses = self.uses()
        there = Balance.objects.pieces_in_stores(use.part.item_id for use in uses)
        return [(use, there.get(use.part.item_id, 0)) for use in uses]


def parts_of_products(prefix: str = "") -> tuple[models.Prefetch, ...]:
    """Return what `Product.uses` reads, to be fetched along where many products are looked at."""
    own = ProductPart.objects.select_related("part__item")
    of_size = SizePart.objects.select_related("part__item")
    return (
        models.Prefetch(f"{prefix}product_parts", own),
        models.Prefetch(f"{prefix}size__size_parts", of_size),
    )


class ProductPart(UsedPart):
    """A part that goes with one product alone, such as a private label."""

    product = models.ForeignKey(
        Product, on_delete=models.CASCADE, related_name="product_parts", verbose_name=_("product")
    )
    part = models.ForeignKey(
        PackagingPart,
        on_delete=models.PROTECT,
        related_name="used_in_products",
        verbose_name=_("part"),
    )

    class Meta:
        verbose_name = _("part of a product")
        verbose_name_plural = _("parts of products")
        constraints = [
            models.UniqueConstraint(fields=["product", "part"], name="product_part_is_one"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, per_pieces__gt=0), name="product_part_gt_0"
            ),
        ]


class BoxContent(models.Model):
    """So many of a product are in one gift box."""

    box = models.ForeignKey(
        Product, on_delete=models.CASCADE, related_name="contents", verbose_name=_("gift box")
    )
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, related_name="in_boxes", verbose_name=_("product")
    )
    quantity = models.PositiveIntegerField(_("how many"), default=1)

    class Meta:
        verbose_name = _("content of a gift box")
        verbose_name_plural = _("contents of gift boxes")
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["box", "product"], name="box_content_is_one"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0) & ~Q(box=F("product")), name="box_content_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.product}"
