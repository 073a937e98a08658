"""What a jar, a case and a pound in a drum cost the buyer, from which day on."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from inventory.bottling.models import Brand, Product, Variety
from inventory.shared.prepared import Given, PreparedQuery


class PiecePriceQuerySet(models.QuerySet["PiecePrice"]):
    def in_force(self, on: date) -> list["PiecePrice"]:
        """Return the prices in force on a day, those for the fewest pieces first.

        Of rows for the same product, tier and pieces, the one with the latest day up to `on`
        counts, then the one entered last; a row without a price ends the offer.
        """
        return newest_in_force(self.up_to(on))

    def up_to(self, on: date | Given) -> "PiecePriceQuerySet":
        """Return the prices from a day or an earlier one on, the newest first."""
        return self.filter(valid_from__lte=on).order_by(*NEWEST_FIRST)

    def in_force_and_coming(self, on: date) -> tuple[list["PiecePrice"], list["PiecePrice"]]:
        """Return the prices in force on a day, and those that come into force later, by day.

        In one query. A row for the same day that was entered before another does not come.
        """
        rows = list(self.order_by(*NEWEST_FIRST))
        coming: dict[tuple[str, int, int, date], PiecePrice] = {}
        for row in rows:
            if row.valid_from > on:
                coming.setdefault((row.tier, row.product_id, row.min_pieces, row.valid_from), row)
        return (
            newest_in_force(row for row in rows if row.valid_from <= on),
            sorted(coming.values(), key=lambda row: (row.valid_from, row.min_pieces)),
        )


NEWEST_FIRST = ("min_pieces", "-valid_from", "-id")


def newest_in_force(rows: Iterable["PiecePrice"]) -> list["PiecePrice"]:
    """Return the prices in force among those up to a day, the newest first."""
    newest: dict[tuple[str, int, int], PiecePrice] = {}
    for row in rows:
        newest.setdefault((row.tier, row.product_id, row.min_pieces), row)
    return [row for row in newest.values() if row.piece_cents is not None]


class PiecePrice(models.Model):
    """The price of one product in one tier from a day on, at so many pieces or more.

    A price is never changed: a new row with a later day takes over, and the history stays.
    A row without a price ends the offer from that day on.
    """

    tier = models.CharField(_("price list"), max_length=12, choices=Customer.Tier)
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, related_name="prices", verbose_name=_("product")
    )
    valid_from = models.DateField(_("valid from"), default=timezone.localdate)
    min_pieces = models.PositiveIntegerField(_("from how many pieces"), default=1)
    piece_cents = models.BigIntegerField(_("price of one"), null=True, blank=True)
    case_cents = models.BigIntegerField(_("price of a case"), null=True, blank=True)

    objects = PiecePriceQuerySet.as_manager()

    class Meta:
        verbose_name = _("price")
        verbose_name_plural = _("prices")
        ordering = ["product", "tier", "min_pieces", "-valid_from", "-id"]
        permissions = [
            ("manage_prices", "Can change prices and tax rates"),
            ("view_costs", "Can see what honey, parts, jars and an hour of work cost"),
            ("view_trade_prices", "Can see the prices of shops, distributors and packers"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(piece_cents__gte=0, min_pieces__gte=1), name="piece_price_amounts"
            ),
            models.CheckConstraint(
                condition=Q(case_cents__isnull=True)
                | Q(case_cents__gte=0, piece_cents__isnull=False),
                name="piece_price_case_needs_a_piece",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} {self.get_tier_display()}"


class PrivateLabel(models.Model):
    """A brand whose products are sold to one customer, and to nobody else."""

    brand = models.OneToOneField(
        Brand, on_delete=models.CASCADE, related_name="private_label", verbose_name=_("brand")
    )
    customer = models.ForeignKey(
        Customer,
        on_delete=models.PROTECT,
        related_name="private_labels",
        verbose_name=_("customer"),
    )

    class Meta:
        verbose_name = _("private label")
        verbose_name_plural = _("private labels")
        ordering = ["brand__name"]

    def __str__(self) -> str:
        return f"{self.brand}: {self.customer}"


def priced_products() -> models.QuerySet[Product]:
    """Return the products that can have a price, each with the customer of its private label."""
    return Product.objects.for_sale().select_related("brand__private_label__customer")


class BulkPrice(models.Model):
    """Price a pound in drums by colour class, moisture and floral source, from a day on.

    The most particular row that fits a lot wins: floral source before any, colour before any,
    then the lowest moisture limit that still covers the lot, then the latest day. A row without a
    price ends the one it follows.
    """

    colour_class = models.CharField(_("colour class"), max_length=30, blank=True)
    moisture_percent_max = models.DecimalField(
        _("up to moisture, percent"), max_digits=4, decimal_places=2, default=30
    )
    floral_source = models.CharField(_("floral source"), max_length=120, blank=True)
    price_per_pound = models.DecimalField(
        _("price per pound"), max_digits=9, decimal_places=4, null=True, blank=True
    )
    valid_from = models.DateField(_("valid from"), default=timezone.localdate)

    class Meta:
        verbose_name = _("bulk price")
        verbose_name_plural = _("bulk prices")
        ordering = ["colour_class", "moisture_percent_max", "-valid_from", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(price_per_pound__gte=0), name="bulk_price_per_pound_gte_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.colour_class or 'any colour'} {self.price_per_pound}"


class TaxRateManager(models.Manager["TaxRate"]):
    def in_force(self, on: date) -> list["TaxRate"]:
        """Return the rates in force on a day, the one entered first at the top.

        Of rows of one name on the same goods, the one with the latest day up to `on` counts,
        then the one entered last; one of 0 percent ends the rate.
        """
        newest: dict[tuple[str, str], TaxRate] = {}
        for row in _RATES_UP_TO.rows(day=on):
            newest.setdefault((row.goods, row.name.casefold()), row)
        return sorted((row for row in newest.values() if row.percent), key=lambda row: row.pk)


class TaxRate(models.Model):
    """A sales tax rate on one kind of goods, from a day on. Rates are local: ask your authority.

    Rates of different names on the same goods (state, county) are added up; a later row of the
    same name takes over, and one of 0 percent ends it. `jurisdiction` is whose tax it is, for the
    tax return: a state, a county, a country.
    """

    class Goods(models.TextChoices):
        HONEY = "honey", _("honey in jars and drums")
        OTHER = "other", _("other goods, drums and deposits")
        FREIGHT = "freight", _("freight")
        SERVICES = "services", _("services")

    name = models.CharField(_("name"), max_length=60)
    jurisdiction = models.CharField(_("jurisdiction"), max_length=60, blank=True)
    goods = models.CharField(_("on"), max_length=8, choices=Goods)
    percent = models.DecimalField(_("percent"), max_digits=7, decimal_places=4)
    valid_from = models.DateField(_("valid from"), default=timezone.localdate)

    objects = TaxRateManager()

    class Meta:
        verbose_name = _("tax rate")
        verbose_name_plural = _("tax rates")
        ordering = ["goods", "-valid_from", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(percent__gte=0, percent__lte=100),
                name="tax_rate_percent_0_to_100",
                violation_error_message=_("Enter a tax rate from 0 to 100 percent."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.percent} %"


class GoodsCategoryManager(models.Manager["GoodsCategory"]):
    def in_force(self, on: date) -> list["GoodsCategory"]:
        """Return what was said last of each kind of goods up to a day."""
        newest: dict[str, GoodsCategory] = {}
        for row in _CATEGORIES_UP_TO.rows(day=on):
            newest.setdefault(row.goods, row)
        return list(newest.values())


class GoodsCategory(models.Model):
    """How one kind of goods is taxed, from a day on, as the owner said; a later row takes over.

    The letters are those of UNCL5305, as EN 16931 uses them.
    """

    class Category(models.TextChoices):
        TAXABLE = "S", _("taxable")
        ZERO_RATED = "Z", _("zero-rated")
        EXEMPT = "E", _("exempt")
        OUTSIDE = "O", _("outside the scope of tax")

    goods = models.CharField(_("goods"), max_length=8, choices=TaxRate.Goods)
    category = models.CharField(_("how it is taxed"), max_length=1, choices=Category)
    reason = models.CharField(_("reason"), max_length=120, blank=True)
    valid_from = models.DateField(_("valid from"), default=timezone.localdate)

    objects = GoodsCategoryManager()

    class Meta:
        verbose_name = _("tax category of goods")
        verbose_name_plural = _("tax categories of goods")
        ordering = ["goods", "-valid_from", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(category="E") | ~Q(reason=""),
                name="goods_category_exempt_has_a_reason",
                violation_error_message=_("Say why these goods are exempt."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_goods_display()}: {self.get_category_display()}"


class ProductTaxManager(models.Manager["ProductTax"]):
    def by_product(self) -> dict[int, "ProductTax"]:
        """Return the classes that were set, by the key of their product."""
        return {row.product_id: row for row in _ALL_OF_PRODUCTS.rows()}


class ProductTax(models.Model):
    """The kind of goods that a product is taxed as, where that is not the usual one."""

    product = models.OneToOneField(
        Product, on_delete=models.CASCADE, related_name="tax", verbose_name=_("product")
    )
    taxed_as = models.CharField(_("taxed as"), max_length=8, choices=TaxRate.Goods)

    objects = ProductTaxManager()

    class Meta:
        verbose_name = _("tax class of a product")
        verbose_name_plural = _("tax classes of products")

    def __str__(self) -> str:
        return f"{self.product} {self.get_taxed_as_display()}"


# Each bill asks for all of these.
_RATES_UP_TO = PreparedQuery(lambda: _up_to_a_day(TaxRate.objects.all()))
_CATEGORIES_UP_TO = PreparedQuery(lambda: _up_to_a_day(GoodsCategory.objects.all()))
_ALL_OF_PRODUCTS = PreparedQuery(lambda: ProductTax.objects.all())


def _up_to_a_day(rows: models.QuerySet[Any]) -> models.QuerySet[Any]:
    upto = rows.filter(valid_from__lte=Given("day", models.DateField()))
    return upto.order_by("-valid_from", "-id")


class ChannelCost(models.Model):
    """What selling through one channel takes from the price."""

    class Channel(models.TextChoices):
        STAND = "stand", _("stand")
        SHOP = "shop", _("shop, collected")
        DELIVERY = "delivery", _("shop, delivered")
        DISTRIBUTOR = "distributor", _("distributor")
        BULK = "bulk", _("drums")

    channel = models.CharField(_("channel"), max_length=12, choices=Channel, unique=True)
    discount_percent = models.DecimalField(
        _("usual discount, percent"),
        max_digits=5,
        decimal_places=2,
        default=0,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    card_percent = models.DecimalField(
        _("card fee, percent of all sales"),
        max_digits=5,
        decimal_places=2,
        default=0,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    piece_cents = models.PositiveIntegerField(_("cost of each piece"), default=0)
    per_pound = models.DecimalField(
        _("cost of each pound"),
        max_digits=9,
        decimal_places=4,
        default=0,
        validators=[MinValueValidator(0)],
    )

    class Meta:
        verbose_name = _("cost of selling")
        verbose_name_plural = _("costs of selling")
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    discount_percent__gte=0,
                    discount_percent__lte=100,
                    card_percent__gte=0,
                    card_percent__lte=100,
                    per_pound__gte=0,
                ),
                name="channel_cost_amounts",
            ),
        ]

    def __str__(self) -> str:
        return self.get_channel_display()


class FillingTime(models.Model):
    """Minutes of work on one piece of a product, used while no run has recorded any."""

    product = models.OneToOneField(
        Product,
        on_delete=models.CASCADE,
        related_name="filling_time",
        verbose_name=_("product"),
    )
    minutes_each = models.DecimalField(_("minutes per piece"), max_digits=6, decimal_places=3)

    class Meta:
        verbose_name = _("filling time")
        verbose_name_plural = _("filling times")
        constraints = [
            models.CheckConstraint(
                condition=Q(minutes_each__gte=0), name="filling_time_minutes_each_gte_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} {self.minutes_each}"


class SeasonExpense(models.Model):
    """Money spent on one season's honey, to be spread over the pounds extracted."""

    class Category(models.TextChoices):
        BEES = "bees", _("queens and bees")
        FEED = "feed", _("feed")
        TREATMENT = "treatment", _("treatments")
        WAGES = "wages", _("wages")
        FUEL = "fuel", _("fuel and truck")
        YARDS = "yards", _("yard rent")
        EXTRACTING = "extracting", _("extracting")
        REPAIRS = "repairs", _("repairs and equipment")
        OTHER = "other", _("other")

    season = models.PositiveSmallIntegerField(_("season"))
    category = models.CharField(_("category"), max_length=12, choices=Category)
    amount_cents = models.BigIntegerField(_("amount"))
    note = models.CharField(_("note"), max_length=200, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("season expense")
        verbose_name_plural = _("season expenses")
        ordering = ["-season", "category", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amount_cents__gt=0), name="season_expense_amount_cents_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.season} {self.get_category_display()}"


class WeightPriceQuerySet(models.QuerySet["WeightPrice"]):
    def in_force(self, on: date) -> list["WeightPrice"]:
        """Return the prices in force on a day.

        Of rows for the same tier and the same goods or honey, the one with the latest day up to
        `on` counts, then the one entered last; a row without a price ends the offer.
        """
        newest: dict[tuple[str, int | None, int | None], WeightPrice] = {}
        rows = self.filter(valid_from__lte=on).select_related("product", "variety")
        for row in rows.order_by("-valid_from", "-id"):
            newest.setdefault((row.tier, row.product_id, row.variety_id), row)
        return [row for row in newest.values() if row.price_per_pound is not None]


class WeightPrice(models.Model):
    """The price of a pound in one tier from a day on: of goods sold by weight, or of honey.

    Honey is a variety or, without one, any honey. Bulk buyers pay the drum price for honey.
    A price is never changed: a new row with a later day takes over, and the history stays.
    """

    tier = models.CharField(_("price list"), max_length=12, choices=Customer.Tier)
    product = models.ForeignKey(
        Product,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="weight_prices",
        verbose_name=_("product"),
    )
    variety = models.ForeignKey(
        Variety,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="weight_prices",
        verbose_name=_("variety"),
    )
    price_per_pound = models.DecimalField(
        _("price per pound"), max_digits=9, decimal_places=4, null=True, blank=True
    )
    valid_from = models.DateField(_("valid from"), default=timezone.localdate)

    objects = WeightPriceQuerySet.as_manager()

    class Meta:
        verbose_name = _("price by weight")
        verbose_name_plural = _("prices by weight")
        ordering = ["tier", "product", "variety", "-valid_from", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(price_per_pound__gte=0), name="weight_price_per_pound_gte_0"
            ),
            models.CheckConstraint(
                condition=Q(product__isnull=True) | Q(variety__isnull=True),
                name="weight_price_is_of_goods_or_honey",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what} {self.get_tier_display()}"

    @property
    def what(self) -> str:
        """What the price is for, in words."""
        return str(self.product or self.variety or _("any honey"))


class Service(models.Model):
    """Work or a charge without stock: pollination, extracting for others, a returned-check fee.

    Its unit stays as it is once it was sold, because quantities already sold are in it.
    """

    class Unit(models.TextChoices):
        EACH = "each", _("each")
        HOUR = "hour", _("hour")
        DAY = "day", _("day")
        MONTH = "month", _("month")
        HIVE = "hive", _("hive")
        DRUM = "drum", _("drum")
        POUND = "pound", _("pound")
        KILOGRAM = "kilogram", _("kilogram")

    code = models.SlugField(_("short name"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=100, unique=True)
    unit = models.CharField(_("unit"), max_length=8, choices=Unit, default=Unit.EACH)
    usual_price = models.DecimalField(
        _("usual price of one unit"), max_digits=12, decimal_places=4, null=True, blank=True
    )
    # Unknown unless somebody entered it; unknown is not zero.
    unit_cost = models.DecimalField(
        _("what one unit costs you"), max_digits=12, decimal_places=4, null=True, blank=True
    )
    taxed_as = models.CharField(
        _("sales tax"),
        max_length=8,
        choices=TaxRate.Goods,
        default=TaxRate.Goods.SERVICES,
        blank=True,
    )
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        verbose_name = _("service")
        verbose_name_plural = _("services")
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(usual_price__gte=0), name="service_usual_price_gte_0"
            ),
            models.CheckConstraint(condition=Q(unit_cost__gte=0), name="service_unit_cost_gte_0"),
        ]

    def __str__(self) -> str:
        return self.name
