"""Lots of honey, from the extraction to the jar, and what each was made of."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from graphlib import TopologicalSorter
from typing import Any

from django.db import connection, models
from django.db.models import Exists, OuterRef, Q
from django.db.models.expressions import RawSQL
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.physics import grading
from inventory.shared.countries import check_country, name_of
from inventory.stock.models.ledger import Place, PostingLine

MOISTURE_MIN = Decimal(10)
MOISTURE_MAX = Decimal(30)
MOISTURE_USUAL = Decimal("17.2")
KEYS_MAX = 10_000

# Keys of lots, to be looked for with `lot__in`: a list of them, or the question for very many.
LotKeys = Any


@dataclass(frozen=True)
class Origin:
    """An extraction or purchase that is in a lot, with its share of the honey."""

    lot: "Lot"
    share: Fraction


class LotQuerySet(models.QuerySet["Lot"]):
    def bearing(self, code: str, product: str = "") -> "LotQuerySet":
        """Return the lots with this code: all, or the one that `product` tells as `Lot.what` does.

        Houses stamp one code on all that is filled on a day, so several lots may bear it.
        """
        found = self.filter(code=code)
        if product == Lot.BULK:
            return found.filter(product=None)
        return found.filter(product__code=product) if product else found

    def that_came_in(self) -> "LotQuerySet":
        """Leave out lots whose run, receipt or blend was undone: there is none of them."""
        came_in = PostingLine.objects.standing().filter(
            Q(place__kind__in=Place.ORIGINS, quantity__lt=0)
            | Q(lot__kind=Lot.Kind.BLEND, quantity__gt=0),
            lot=OuterRef("pk"),
        )
        return self.filter(Exists(came_in.order_by()))

    def own_extractions(self) -> "LotQuerySet":
        """Return what the house harvested itself: nothing bought, nothing of other beekeepers."""
        return self.filter(kind=Lot.Kind.EXTRACTION, owner=None)

    def extracted_in(self, season: int) -> "LotQuerySet":
        """Return the extractions of a season, oldest first, without those that were undone."""
        return self.extractions_that_count().filter(season=season).order_by("made_on", "id")

    def extractions_that_count(self) -> "LotQuerySet":
        """Return what the house harvested itself, without the extractions that were undone."""
        undone = PostingLine.objects.filter(
            posting__kind="extraction",
            posting__reversed_by__isnull=False,
            place__kind="harvest",
            lot__isnull=False,
        )
        return self.own_extractions().exclude(pk__in=undone.order_by().values("lot"))

    def family_keys(self, roots: Iterable[int]) -> LotKeys:
        """Return the keys of these lots and of every lot that any of them went into."""
        return self._reached(roots, from_column="parent_id", to_column="lot_id")

    def source_keys(self, roots: Iterable[int]) -> LotKeys:
        """Return the keys of these lots and of every lot that went into any of them."""
        return self._reached(roots, from_column="lot_id", to_column="parent_id")

    def gone_into(self, roots: Collection[int]) -> "LotQuerySet":
        """Return every lot that went into any of these, without these themselves."""
        if not roots:
            return self.none()
        walk = self._walk(len(roots), from_column="lot_id", to_column="parent_id")
        return self.filter(pk__in=RawSQL(walk, list(roots))).exclude(pk__in=roots)

    def _reached(self, roots: Iterable[int], *, from_column: str, to_column: str) -> LotKeys:
        roots = list(roots)
        if not roots:
            return []
        walk = self._walk(len(roots), from_column=from_column, to_column=to_column)
        with connection.cursor() as cursor:
            cursor.execute(walk, roots)
            keys = [key for (key,) in cursor.fetchall()]
        # A database looks few keys up fastest, but takes only so many of them in one question.
        return (
            keys if len(keys) <= KEYS_MAX else self.filter(pk__in=RawSQL(walk, roots)).values("pk")
        )

    @staticmethod
    def _walk(roots: int, *, from_column: str, to_column: str) -> str:
        """Return the question for the keys of so many lots and of all that they lead to."""
        lots = connection.ops.quote_name(Lot._meta.db_table)
        links = connection.ops.quote_name(LotParent._meta.db_table)
        asked = ", ".join(["%s"] * roots)
        return f"""
            WITH RECURSIVE reached (id) AS (
                SELECT id FROM {lots} WHERE id IN ({asked})
                UNION
                SELECT link.{to_column}
                FROM {links} AS link JOIN reached ON link.{from_column} = reached.id
            )
            SELECT id FROM reached
            """

    def comb_harvested_in(self, season: int) -> "LotQuerySet":
        """Return the comb honey of a season as it came in, without what was undone."""
        came = self.filter(
            season=season,
            lines__posting__kind="comb_harvest",
            lines__posting__reversed_by__reverses=None,
            lines__place__kind="harvest",
        )
        return came.select_related("product__item", "product__size").order_by("made_on", "id")


class Lot(models.Model):
    """Honey that shares one origin and one set of measurements.

    An extraction lot comes from the bees, a bought lot from a supplier, a blend lot from mixing
    lots in a vessel, a packed lot from a bottling run; a lot of other goods came in or was made at
    one time. `quantity_made` is in grams for honey, in pieces for what has a product; `cost_cents`
    is what all of it cost, or None while nobody has said. With an `owner` it belongs to another
    beekeeper: it is here, and is not the house's stock.
    """

    class Kind(models.TextChoices):
        EXTRACTION = "extraction", _("extraction")
        BOUGHT = "bought", _("bought")
        STORED = "stored", _("stored for another")
        BLEND = "blend", _("blend")
        PACKED = "packed", _("packed")
        GOODS = "goods", _("other goods")
        # Honey that was drawn although the books had none, while nobody knows of which lot.
        UNKNOWN = "unknown", _("lot unknown")

    # Stands in addresses where packed lots have the short name of their product.
    BULK = "in-bulk"

    kind = models.CharField(_("kind"), max_length=12, choices=Kind)
    code = models.CharField(_("lot code"), max_length=30)
    season = models.PositiveSmallIntegerField(_("season"))
    floral_source = models.CharField(_("floral source"), max_length=120, blank=True)
    # A person named this blend; in what is blended of it the name counts as one source.
    is_named = models.BooleanField(_("named by a person"), default=False)
    yard = models.CharField(_("yard or area"), max_length=120, blank=True)
    made_on = models.DateField(_("date"))
    # None where nobody measures it: comb honey, and goods that are no honey.
    moisture_percent = models.DecimalField(
        _("moisture, percent"), max_digits=4, decimal_places=2, null=True, blank=True
    )
    refractive_index = models.DecimalField(
        _("refractometer index"), max_digits=6, decimal_places=5, null=True, blank=True
    )
    refractometer_celsius = models.DecimalField(
        _("temperature of the reading, °C"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    colour_mm = models.DecimalField(
        _("colour, mm Pfund"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    # What it came with, or was worked out to be as a blend; used since it was measured again.
    moisture_percent_at_first = models.DecimalField(
        _("moisture that it came with, percent"),
        max_digits=4,
        decimal_places=2,
        null=True,
        blank=True,
    )
    colour_mm_at_first = models.DecimalField(
        _("colour that it came with, mm Pfund"),
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
    )
    supplier = models.ForeignKey(
        "inventory.Supplier",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="lots",
        verbose_name=_("supplier"),
    )
    supplier_lot = models.CharField(_("supplier's lot code"), max_length=60, blank=True)
    country = models.CharField(
        _("country of origin"), max_length=2, blank=True, validators=[check_country]
    )
    region = models.CharField(_("region of origin"), max_length=80, blank=True)
    owner = models.ForeignKey(
        "inventory.Supplier",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="owned_lots",
        verbose_name=_("belongs to"),
    )
    quantity_made = models.BigIntegerField(default=0)
    cost_cents = models.BigIntegerField(_("cost"), null=True, blank=True)
    product = models.ForeignKey(
        "inventory.Product",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="lots",
    )
    best_by = models.DateField(_("best by"), null=True, blank=True)
    # Creamed honey sets before it is sold; None for what is ready at once.
    ready_on = models.DateField(_("ready from"), null=True, blank=True)
    is_on_hold = models.BooleanField(_("on hold"), default=False)
    hold_reason = models.CharField(_("reason for the hold"), max_length=300, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    parents = models.ManyToManyField(
        "self", through="LotParent", symmetrical=False, related_name="children"
    )

    objects = LotQuerySet.as_manager()

    class Meta:
        ordering = ["-made_on", "-id"]
        indexes = [
            models.Index(fields=["code"], name="lot_by_code"),
            models.Index(fields=["-made_on", "-id"], name="lot_newest_first"),
            models.Index(fields=["product", "-made_on", "-id"], name="lot_of_product_newest"),
            models.Index(fields=["season"], name="lot_extractions", condition=Q(kind="extraction")),
            models.Index(fields=["season", "kind"], name="lot_by_season"),
            # Few lots are of others; most houses have none.
            models.Index(fields=["owner"], name="lot_of_others", condition=Q(owner__isnull=False)),
        ]
        permissions = [("release_hold", "Can release a lot that is on hold")]
        constraints = [
            models.CheckConstraint(
                condition=Q(moisture_percent__gte=10, moisture_percent__lte=30),
                name="lot_moisture_percent_10_to_30",
                violation_error_message=_("Enter a moisture from 10 to 30 percent."),
            ),
            models.CheckConstraint(
                condition=Q(colour_mm__isnull=True) | Q(colour_mm__gte=0, colour_mm__lte=150),
                name="lot_colour_mm_0_to_150",
                violation_error_message=_("Enter a colour from 0 to 150 mm Pfund."),
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["packed", "goods"], product__isnull=False)
                | (~Q(kind__in=["packed", "goods"]) & Q(product__isnull=True)),
                name="lot_packed_has_a_product",
            ),
            models.CheckConstraint(
                condition=Q(moisture_percent__isnull=False)
                | Q(kind__in=["packed", "goods", "unknown", "blend"]),
                name="lot_bulk_honey_has_a_moisture",
                violation_error_message=_("Enter the moisture, or the refractometer index."),
            ),
            # One code may be stamped on all that is filled on a day.
            models.UniqueConstraint(
                fields=["code", "product"],
                condition=Q(product__isnull=False),
                name="lot_code_of_a_product_is_one",
            ),
            models.UniqueConstraint(
                fields=["code"],
                condition=Q(product__isnull=True),
                name="lot_code_of_bulk_honey_is_one",
            ),
            models.CheckConstraint(
                condition=~Q(kind="bought") | Q(supplier__isnull=False, owner__isnull=True),
                name="lot_bought_has_a_supplier",
            ),
            models.CheckConstraint(
                condition=~Q(kind="stored") | Q(owner__isnull=False),
                name="lot_stored_has_an_owner",
            ),
            models.CheckConstraint(
                condition=Q(cost_cents__isnull=True) | Q(cost_cents__gte=0),
                name="lot_cost_cents_gte_0",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def what(self) -> str:
        """What tells this lot from others with its code: the short name of its product, or BULK."""
        return self.product.code if self.product else self.BULK

    @property
    def is_weighed(self) -> bool:
        """Whether it is counted in grams: honey in bulk, and goods by weight."""
        return self.product is None or self.product.item.is_weighed

    @property
    def is_ours(self) -> bool:
        """Whether the house owns it, and may sell, blend and count it as its own."""
        return self.owner_id is None

    @property
    def country_name(self) -> str:
        return name_of(self.country)

    @property
    def is_setting(self) -> bool:
        """Whether it is creamed honey that is not ready for sale yet."""
        return self.ready_on is not None and self.ready_on > timezone.localdate()

    @property
    def unit_cost_cents(self) -> Fraction | None:
        """Cost of one gram or one piece in cents, exact; None while the cost is unknown."""
        if self.cost_cents is None or self.quantity_made <= 0:
            return None
        return Fraction(self.cost_cents, self.quantity_made)

    @property
    def is_from_the_hive(self) -> bool:
        """Whether it is a product of comb honey, which may have come in as it is."""
        return self.product is not None and self.product.form == "comb"

    @property
    def comb_unit_cost_cents(self) -> Fraction | None:
        """Cost of one gram of comb that came in as it is, in cents, by its net weight."""
        grams = self.quantity_made if self.is_weighed else self.honey_in(self.quantity_made)
        if self.cost_cents is None or grams <= 0:
            return None
        return Fraction(self.cost_cents, grams)

    @property
    def honey_moisture(self) -> Decimal:
        """The moisture of honey in bulk, by which its volume is worked out.

        Honey of an unknown lot counts as average honey, 17.2 % (White and others, Composition of
        American Honeys, 1962; from memory).
        """
        return MOISTURE_USUAL if self.moisture_percent is None else self.moisture_percent

    @property
    def colour_class(self) -> str | None:
        """The colour class of the United States standard, or None while colour is unknown."""
        return None if self.colour_mm is None else grading.colour_class(float(self.colour_mm))

    @property
    def moisture_grade(self) -> str:
        """The grade by moisture of the United States standard; empty where it is not measured."""
        if self.moisture_percent is None:
            return ""
        return grading.moisture_grade(float(self.moisture_percent))

    @property
    def keeping_note(self) -> str:
        """How honey of this moisture keeps, where it is at risk of fermenting, else empty.

        Bands: 17.1 % and under keeps whatever the yeast count; up to 18 % keeps below 1,000
        yeasts a gram, up to 19 % below 10, up to 20 % below 1; above 20 % always at risk
        (Lochhead 1933, as tabled in Crane, Honey: A Comprehensive Survey, 1975; from memory).
        """
        if self.moisture_percent is None:
            return ""
        if self.moisture_percent > 20:
            return str(
                _(
                    "Above 20 % moisture: this honey will ferment. Keep it cool. Use it "
                    "soon, or feed it to the bees soon."
                )
            )
        if self.moisture_percent > Decimal("18.6"):
            return str(
                _(
                    "Above 18.6 % moisture: this honey may ferment and does not meet U.S. "
                    "Grade A. Dry it or blend it."
                )
            )
        if self.moisture_percent > Decimal("17.1"):
            return str(
                _("Above 17.1 % moisture: this honey keeps only if it stays cool and clean.")
            )
        return ""

    def ancestors(self) -> list["Lot"]:
        """Return every lot that went into this one, nearest first; the lot itself is left out."""
        return self._related(from_column="lot_id", to_column="parent_id")

    def descendants(self) -> list["Lot"]:
        """Return every lot this one went into, nearest first; the lot itself is left out."""
        return self._related(from_column="parent_id", to_column="lot_id")

    def origins(self, *, family: LotKeys | None = None) -> list[Origin]:
        """Return the extractions and purchases in this lot and their exact shares, largest first.

        A share is the product of the shares along each way back, added up over the ways. `family`
        is what `source_keys` says of the lot, where it was read already.
        """
        return self._origins(family=family)

    def named_sources(self) -> list[Origin]:
        """Return the lots after which this one is called, with their shares, largest first.

        They are its origins, but for blends that a person named: those are called by that name.
        """
        return self._origins(stop_at_names=True)

    def _origins(
        self, *, stop_at_names: bool = False, family: LotKeys | None = None
    ) -> list[Origin]:
        shares = self.origin_shares(stop_at_names=stop_at_names, family=family)
        known = Lot.objects.select_related("product__size", "product__item")
        lots = known.in_bulk([key for key in shares if key != self.pk]) | {self.pk: self}
        return [Origin(lots[key], share) for key, share in shares.items()]

    def origin_shares(
        self, *, stop_at_names: bool = False, family: LotKeys | None = None
    ) -> dict[int, Fraction]:
        """Return the share of each origin by its key, as `origins` does, the largest first."""
        if family is None:
            family = Lot.objects.source_keys([self.pk])
        # Goods in a gift box have no honey, and no share of it.
        links: dict[int, list[tuple[int, int]]] = {}
        of_honey = LotParent.objects.filter(lot__in=family, grams__gt=0).order_by("id")
        for key, parent, grams in of_honey.values_list("lot", "parent", "grams"):
            links.setdefault(key, []).append((parent, grams))
        if stop_at_names:
            named = Lot.objects.filter(pk__in=family, is_named=True).order_by()
            for key in named.values_list("pk", flat=True):
                links.pop(key, None)
        parents = {key: [parent for parent, _grams in made_of] for key, made_of in links.items()}
        shares = {self.pk: Fraction(1)}
        # From the lot back: whatever a lot went into has passed its whole share on by then.
        for key in reversed(parents_first(parents)):
            share = shares.pop(key, None)
            if share is None:
                continue
            whole = sum(grams for _parent, grams in links[key])
            for parent, grams in links[key]:
                passed_on = share * Fraction(grams, whole)
                shares[parent] = shares[parent] + passed_on if parent in shares else passed_on
        return dict(sorted(shares.items(), key=lambda pair: (-pair[1], pair[0])))

    @property
    def honey_grams(self) -> int:
        """Grams of honey in all of the lot: what was made, or what went into its pieces."""
        if self.product is None or self.product.kind == "goods":
            return self.quantity_made
        return sum(link.grams for link in self.parent_links.all())

    def honey_in(self, pieces: int) -> int:
        """Return the grams of honey in so many pieces, to the gram; zero for other goods.

        What went into the lot is shared out evenly; where that is not known, the label weight
        counts.
        """
        if self.product is None or self.product.kind == "goods":
            return 0
        if self.quantity_made > 0 and (grams := self.honey_grams):
            return round(Fraction(grams * pieces, self.quantity_made))
        return round(self.product.declared_grams * pieces)

    def honey_unit_cost_cents(self) -> Fraction | None:
        """Return what a gram of the honey in it cost in cents, without parts and labour.

        None while the cost of any honey in it is unknown.
        """
        family = {relative.pk: relative for relative in [self, *self.ancestors()]}
        links: dict[int, list[tuple[int, int]]] = {}
        for link in LotParent.objects.filter(lot__in=family).order_by("id"):
            links.setdefault(link.lot_id, []).append((link.parent_id, link.grams))
        return honey_unit_costs(family, links)[self.pk]

    def _related(self, *, from_column: str, to_column: str) -> list["Lot"]:
        table = connection.ops.quote_name(LotParent._meta.db_table)
        with connection.cursor() as cursor:
            # UNION, not UNION ALL: a lot reached by two ways is walked on from only once a depth.
            cursor.execute(
                f"""
                WITH RECURSIVE related (id, depth) AS (
                    SELECT {to_column}, 1 FROM {table} WHERE {from_column} = %s
                    UNION
                    SELECT link.{to_column}, related.depth + 1
                    FROM {table} AS link JOIN related ON link.{from_column} = related.id
                )
                SELECT id, MIN(depth) FROM related GROUP BY id ORDER BY MIN(depth), id
                """,
                [self.pk],
            )
            order = [row[0] for row in cursor.fetchall()]
        lots = Lot.objects.select_related("product__size", "product__item").in_bulk(order)
        return [lots[key] for key in order]


def parents_first(parents: Mapping[int, Iterable[int]]) -> list[int]:
    """Return the keys of lots so that each comes after the lots it was made of.

    The keys alone don't tell: jars may be added to a lot that is older than theirs.
    """
    ordered = {key: sorted(parents[key]) for key in sorted(parents)}
    return [key for key in TopologicalSorter(ordered).static_order() if key in parents]


def honey_unit_costs(
    family: Mapping[int, Lot],
    links: Mapping[int, Sequence[tuple[int, int]]],
    known: Mapping[int, Fraction | None] | None = None,
) -> dict[int, Fraction | None]:
    """Return what a gram of honey cost in each lot, by key; None while it is unknown.

    `links` are the parents of each lot with their grams. Honey in bulk costs what its lot did, and
    so does comb from the hive; in pieces, what the honey in them cost, or as is `known` already.
    """
    units: dict[int, Fraction | None] = dict(known or {})
    parents = {key: [parent for parent, _grams in links.get(key, [])] for key in family}
    for key in parents_first(parents):
        if key in units:
            continue
        if family[key].product_id is None:
            units[key] = family[key].unit_cost_cents
            continue
        of_honey = [(units.get(parent), grams) for parent, grams in links.get(key, []) if grams]
        if not of_honey and family[key].is_from_the_hive:
            units[key] = family[key].comb_unit_cost_cents
            continue
        told = [unit * grams for unit, grams in of_honey if unit is not None]
        units[key] = None
        if of_honey and len(told) == len(of_honey):
            units[key] = sum(told, Fraction(0)) / sum(grams for _unit, grams in of_honey)
    return units


class LotParent(models.Model):
    """How many grams of a parent lot went into another: pieces, for goods that are counted so.

    Zero in a gift box for goods that have no honey.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="parent_links")
    parent = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="child_links")
    grams = models.BigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["lot", "parent"], name="lot_parent_is_one"),
            models.CheckConstraint(condition=Q(grams__gte=0), name="lot_parent_grams_gte_0"),
        ]

    def __str__(self) -> str:
        return f"{self.parent} in {self.lot}"
