"""The stock ledger: items, places, postings and the balances they add up to."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, fields
from datetime import date, datetime
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, NoReturn, TypeVar

from auditlog.context import disable_auditlog
from django.conf import settings
from django.db import models
from django.db.models import Case, F, OuterRef, Q, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared import acts, days, words
from inventory.shared.money import share_cents
from inventory.shared.prepared import Given, PreparedQuery
from inventory.stock import costing

if TYPE_CHECKING:
    from inventory.stock.models.corrections import Shortage
    from inventory.stock.models.lots import Lot


class ItemManager(models.Manager["Item"]):
    def honey(self) -> "Item":
        """Return the one item that counts bulk honey, in grams."""
        if there := _HONEY.first():
            return there
        item, _created = self.get_or_create(
            kind=Item.Kind.HONEY, defaults={"name": "Bulk honey", "is_weighed": True}
        )
        return item


_HONEY = PreparedQuery(lambda: Item.objects.filter(kind=Item.Kind.HONEY))


class Item(models.Model):
    """Something the ledger counts: bulk honey in grams; a product or a part in pieces.

    Goods that are sold by weight are counted in grams too.
    """

    class Kind(models.TextChoices):
        HONEY = "honey", _("bulk honey")
        PACKED = "packed", _("packed honey")
        PART = "part", _("packaging part")
        GOODS = "goods", _("other goods")

    kind = models.CharField(max_length=10, choices=Kind)
    name = models.CharField(max_length=100)
    is_weighed = models.BooleanField(default=False)

    objects = ItemManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind"], condition=Q(kind="honey"), name="item_honey_is_one"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def in_words(self, quantity: int, decimals: int | None = None) -> str:
        """Write a quantity in the unit people use for it; `decimals` as for `words.weight`."""
        if self.is_weighed and self.kind == self.Kind.GOODS:
            # A pot of propolis is less than a tenth of a pound.
            return words.weight(quantity, max(decimals or 0, 2))
        if self.is_weighed:
            return words.weight(quantity, decimals)
        return words.pieces(quantity)

    def in_words_apart(self, *quantities: int) -> tuple[str, ...]:
        """Write quantities that are compared; see `words.weights_apart`."""
        if self.is_weighed:
            return words.weights_apart(*quantities)
        return tuple(words.pieces(quantity) for quantity in quantities)


class PlaceManager(models.Manager["Place"]):
    def outside(self, kind: str) -> "Place":
        """Return the outside place of this kind, where stock goes when it leaves the building."""
        kind = Place.Kind(kind)
        if there := _OF_KIND.first(kind=kind):
            return there
        # Made by the program when it is first wanted: no change of anybody's.
        with disable_auditlog():
            place, _created = self.get_or_create(
                kind=kind, defaults={"code": f"outside-{kind.value}", "name": str(kind.label)}
            )
        return place


_OF_KIND = PreparedQuery(lambda: Place.objects.filter(kind=Given("kind", models.CharField())))


class Place(models.Model):
    """Where stock is, or where it went.

    Vessels (tank, drum, pail, tote) hold bulk honey of one lot at a time; shelves, the stand and
    the van hold packed goods and parts, and so does the shelf of a shop that sells jars of ours on
    consignment; outside places take what came from or left the building.
    Goods that came back from outside are at the one place for returned goods, which is no store:
    nothing is sold or used from it.
    """

    class Kind(models.TextChoices):
        TANK = "tank", _("tank")
        DRUM = "drum", _("drum")
        PAIL = "pail", _("pail")
        TOTE = "tote", _("tote")
        SHELF = "shelf", _("shelf")
        STAND = "stand", _("stand")
        VAN = "van", _("van")
        CONSIGNMENT = "consignment", _("consignment shelf")
        HARVEST = "harvest", _("harvest")
        SUPPLIER = "supplier", _("supplier")
        OWNER = "owner", _("owners of honey kept here")
        CUSTOMER = "customer", _("customers")
        PACKING = "packing", _("packing line")
        FILLING_LOSS = "filling_loss", _("filling loss")
        BROKEN = "broken", _("broken")
        SPOILED = "spoiled", _("spoiled")
        OWN_USE = "own_use", _("own use")
        GIVEN_AWAY = "given_away", _("given away")
        SKIMMINGS = "skimmings", _("skimmings")
        SPILLED = "spilled", _("spilled")
        FED_TO_BEES = "fed_to_bees", _("fed back to bees")
        SAMPLED = "sampled", _("laboratory samples")
        COUNT_DIFFERENCE = "count_difference", _("count difference")
        SCALE_DIFFERENCE = "scale_difference", _("scale difference")
        TO_SETTLE = "to_settle", _("to be settled")
        RETURNED = "returned", _("returned goods")

    VESSELS = (Kind.TANK, Kind.DRUM, Kind.PAIL, Kind.TOTE)
    # From these goods are sold, picked and used.
    STORES = (Kind.SHELF, Kind.STAND, Kind.VAN)
    # Where goods of ours are kept and counted. What is on consignment is ours until the shop
    # reports it sold, and is not sold from there in any other way.
    FOR_GOODS = (*STORES, Kind.CONSIGNMENT)
    # Where our stock is; goods that came back wait there for a decision.
    IN_HOUSE = (*VESSELS, *FOR_GOODS, Kind.RETURNED)
    # What went to one of these or came from it has neither left the house nor been made.
    UNEXPLAINED = (Kind.COUNT_DIFFERENCE, Kind.SCALE_DIFFERENCE, Kind.TO_SETTLE)
    # From these outside places lots come.
    ORIGINS = (Kind.HARVEST, Kind.SUPPLIER, Kind.OWNER, Kind.PACKING)

    code = models.SlugField(_("number or short name"), max_length=30, unique=True)
    name = models.CharField(_("name"), max_length=80)
    kind = models.CharField(_("kind"), max_length=20, choices=Kind)
    tare_grams = models.PositiveIntegerField(_("empty weight"), null=True, blank=True)
    capacity_litres = models.DecimalField(
        _("capacity, litres"), max_digits=9, decimal_places=3, null=True, blank=True
    )
    is_active = models.BooleanField(_("in use"), default=True)
    note = models.CharField(_("note"), max_length=200, blank=True)

    # What is at the place, where a query has fetched it along.
    contents: "list[Balance]"

    objects = PlaceManager()

    class Meta:
        verbose_name = _("place")
        verbose_name_plural = _("places")
        ordering = ["kind", "code"]
        permissions = [
            ("manage_places", "Can set up tanks, drums and shelves"),
            ("use_every_place", "Can act at every tank, drum and shelf, not only at stand and van"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["kind"],
                condition=~Q(
                    kind__in=[
                        "tank",
                        "drum",
                        "pail",
                        "tote",
                        "shelf",
                        "stand",
                        "van",
                        "consignment",
                    ]
                ),
                name="place_outside_kind_is_one",
            ),
            models.CheckConstraint(
                condition=Q(capacity_litres__isnull=True) | Q(capacity_litres__gt=0),
                name="place_capacity_litres_gt_0",
                violation_error_message=_("Enter a capacity of more than zero."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_vessel(self) -> bool:
        return self.kind in self.VESSELS

    @property
    def is_physical(self) -> bool:
        return self.kind in self.IN_HOUSE


Row = TypeVar("Row", bound=models.Model)


class AppendOnlyQuerySet(models.QuerySet[Row]):
    """A query set of rows that are written once and never changed."""

    def update(self, **kwargs: Any) -> NoReturn:
        raise TypeError("Postings are never changed. Post a reversal instead.")

    def delete(self) -> NoReturn:
        raise TypeError("Postings are never deleted. Post a reversal instead.")


class AppendOnlyModel(models.Model):
    """A row that is written once and never changed, nor through its query set."""

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("Postings are never changed. Post a reversal instead.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("Postings are never deleted. Post a reversal instead.")


class Posting(AppendOnlyModel):
    """One thing that happened to stock: two or more lines that add up to zero for each item."""

    class Kind(models.TextChoices):
        EXTRACTION = "extraction", _("extraction")
        PURCHASE = "purchase", _("honey bought")
        OWNER_RECEIPT = "owner_receipt", _("received for its owner")
        OWNER_RETURN = "owner_return", _("handed back to its owner")
        COMB_HARVEST = "comb_harvest", _("comb harvest")
        TRANSFER = "transfer", _("transfer")
        BLEND = "blend", _("blend")
        DRUM_FILL = "drum_fill", _("drum filled")
        BOTTLING = "bottling", _("bottling")
        COMB_CUT = "comb_cut", _("comb cut")
        LABELLING = "labelling", _("labelling")
        EMPTYING = "emptying", _("jars emptied")
        BOXING = "boxing", _("gift boxes put together")
        UNBOXING = "unboxing", _("gift boxes taken apart")
        PART_RECEIPT = "part_receipt", _("parts received")
        GOODS_RECEIPT = "goods_receipt", _("goods received")
        GOODS_MADE = "goods_made", _("goods made")
        COUNT = "count", _("count")
        REWEIGHING = "reweighing", _("weighed again")
        BREAKAGE = "breakage", _("breakage")
        SPOILAGE = "spoilage", _("spoilage")
        OWN_USE = "own_use", _("own use")
        GIFT = "gift", _("gift")
        SKIMMING = "skimming", _("skimmings")
        SPILL = "spill", _("spilled")
        FEEDING = "feeding", _("fed back to bees")
        SAMPLE = "sample", _("laboratory sample")
        OPENING = "opening", _("opening stock")
        CORRECTION = "correction", _("correction")
        SETTLEMENT = "settlement", _("shortage settled")
        SALE = "sale", _("sale")
        RETURN = "return", _("return")
        REVERSAL = "reversal", _("undo")

    # Asked for those that reverse none, SQLite takes the index on what they reverse for a short
    # way, and reads all postings.
    NOT_UNDOING = tuple(kind for kind in Kind if kind.value != "reversal")

    kind = models.CharField(_("kind"), max_length=20, choices=Kind)
    occurred_at = models.DateTimeField(_("when"), default=timezone.now)
    recorded_at = models.DateTimeField(_("recorded"), auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )
    # Where the books were closed on its own day: the first open day, on which it counts.
    counts_on = models.DateField(null=True, blank=True, editable=False)
    # Honey was poured or written off to the last gram, however much that was.
    took_all = models.BooleanField(default=False)
    # The entry whose lines this one corrects by the difference; both together are what happened.
    corrects = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrections"
    )
    # The late or corrected entry that made this correction necessary.
    caused_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="caused"
    )

    # What was found short by it, where it was made just now.
    just_short: "Sequence[Shortage]" = ()

    class Meta:
        ordering = ["-occurred_at", "-id"]
        indexes = [
            models.Index(fields=["-occurred_at", "-id"], name="posting_newest_first"),
            # As lists show them: a correction above what it corrects.
            models.Index(
                F("occurred_at").desc(),
                Coalesce("corrects", "id").desc(),
                F("id").desc(),
                name="posting_as_listed",
            ),
            models.Index(fields=["kind", "-occurred_at", "-id"], name="posting_of_kind_newest"),
            # Few postings have these. The index of a foreign key counts the empty ones too, so that
            # SQLite believes it to find nearly all postings, and reads all of them instead.
            models.Index(
                fields=["reverses"],
                condition=Q(reverses__isnull=False),
                name="posting_reverses_one",
            ),
            models.Index(
                fields=["corrects"],
                condition=Q(corrects__isnull=False),
                name="posting_corrects_one",
            ),
            models.Index(
                fields=["caused_by"],
                condition=Q(caused_by__isnull=False),
                name="posting_caused_by_one",
            ),
            models.Index(
                fields=["counts_on"],
                condition=Q(counts_on__isnull=False),
                name="posting_counts_later",
            ),
        ]
        permissions = [
            ("move_honey", "Can receive, move, blend and dip honey"),
            ("write_off", "Can write off spoiled, used and given stock"),
            ("adjust_stock", "Can accept counts"),
            ("reverse_posting", "Can undo by a reversing posting"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="reversal", reverses__isnull=False)
                | (~Q(kind="reversal") & Q(reverses__isnull=True)),
                name="posting_reversal_names_its_posting",
            ),
            models.CheckConstraint(
                condition=Q(kind="correction", corrects__isnull=False)
                | (~Q(kind="correction") & Q(corrects__isnull=True)),
                name="posting_correction_names_its_posting",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.pk}"


# No item has a kept average.
NOTHING_CLOSED: Mapping[int, int] = MappingProxyType({})
ALL_LINES = Q()


# The entry that a line belongs to: its own, or the one that it corrects.
ENTRY = Coalesce("posting__corrects_id", "posting_id")


class PostingLineQuerySet(AppendOnlyQuerySet["PostingLine"]):
    def standing(self) -> "PostingLineQuerySet":
        """Leave out what was undone, with the corrections of it."""
        # By the kind of the posting: asked for those that reverse none, SQLite takes the index on
        # what they reverse for a short way, and reads all postings.
        return self.filter(
            ~Q(posting__kind=Posting.Kind.REVERSAL),
            posting__reversed_by__reverses=None,
            posting__corrects__reversed_by__reverses=None,
        )

    def of_entry(self, posting: "Posting") -> "PostingLineQuerySet":
        """Return the lines of a posting and of its corrections."""
        # Their postings are found first: asked in one, SQLite reads all lines.
        either = Posting.objects.filter(Q(pk=posting.pk) | Q(corrects=posting))
        return self.filter(posting__in=either.order_by().values("pk"))

    def of_item_since(
        self, item: Item, moment: datetime, *, after: int | None = None
    ) -> "PostingLineQuerySet":
        """Return what counts of an item by entries of later than a moment.

        With `after`, also by those of that very moment which were entered after that posting, a
        correction with what it corrects.
        """
        is_later = Q(posting__occurred_at__gt=moment)
        if after is not None:
            is_later |= Q(entry__gt=after)
        # Where only the moments are compared, SQLite reads all lines of the item.
        since = Posting.objects.filter(occurred_at__gte=moment).order_by().values("pk")
        of_item = self.standing().filter(item=item).alias(entry=ENTRY)
        return of_item.filter(is_later, posting__in=since)

    def counting_by(self, day: date) -> "PostingLineQuerySet":
        """Return what counts by the end of a day: late entries of closed days count later."""
        return self.filter(
            Q(posting__counts_on__lte=day)
            | Q(posting__counts_on=None, **days.lookups("posting__occurred_at", last=day))
        )

    def moment_of_draw(self, day: date | None, *places: Place) -> datetime | None:
        """Return when honey was drawn from vessels on an earlier day; None for today or no day.

        After the last honey that came into them that day: whether some of it was drawn is not
        known, and a recall must find it.
        """
        moment = days.past_moment(day)
        if moment is None:
            return None
        came = (
            self.standing()
            .filter(place__in=places, quantity__gt=0, posting__occurred_at__gt=moment)
            .filter(posting__occurred_at__lt=days.midnight_after(moment))
            .order_by("-posting__occurred_at")
            .values_list("posting__occurred_at", flat=True)
            .first()
        )
        return moment if came is None else came + days.JUST

    def in_vessel_at(self, place: Place, moment: datetime) -> "Balance | None":
        """Return what was in a vessel at a moment, as a balance that is not saved, or None."""
        found = (
            self.standing()
            # Of all lines of the vessel, unlike `Balance.objects.at`: an old dip is read as soon as
            # one of today. By the item, all honey that ever was would be gone through.
            .filter(place=place, posting__occurred_at__lte=moment)
            .order_by()
            .values_list("item", "lot")
            .annotate(total=Sum("quantity"))
            .filter(total__gt=0)
            .order_by("-total")
            .first()
        )
        if found is None:
            return None
        item, lot, total = found
        line = self.filter(lot=lot).select_related("lot__owner").first()
        return Balance(
            item=Item.objects.get(pk=item),
            place=place,
            lot=line.lot if line else None,
            quantity=total,
            is_physical=True,
            is_vessel=True,
        )

    def average_costs(
        self,
        items: Collection[int],
        *,
        before: Posting | None = None,
        known_at: datetime | None = None,
        known: Mapping[int, tuple[int | None, int]] | None = None,
    ) -> dict[int, costing.AverageCost]:
        """Return the moving average of each packed item, by key, in two queries.

        Postings count in the order they were recorded: that is how stock was there to be taken.
        What was posted and undone leaves no trace, nor do its corrections. A lot counts with its
        cost of today, whatever was known when it was filled. What came before the last closing is
        not read again.
        `before` leaves out a posting that is just being made; `known_at` what was not recorded yet
        at a moment, with the costs of lots `known` then, worked out from the whole history.
        """
        closings = {}
        if known_at is None:
            closings = AverageClosing.objects.last_of(items, before=before.pk if before else None)
        averages = _averages_from(items, closings)
        for item, _posting, change, cents in self.changes_at_cost(
            items, since=_postings_of(closings), before=before, known_at=known_at, known=known
        ):
            averages[item].change(change, cents)
        return averages

    def average_costs_before(
        self, items: Collection[int], postings: Collection[int]
    ) -> dict[tuple[int, int], costing.AverageCost]:
        """Return the moving average of items just before postings, by posting and item.

        A lot counts with its cost of today; in two queries.
        """
        wanted, found = set(postings), {}
        if not wanted:
            return {}
        closings = AverageClosing.objects.last_of(items, before=min(wanted))
        averages = _averages_from(items, closings)
        for item, posting, change, cents in self.changes_at_cost(
            items, since=_postings_of(closings), upto=max(wanted)
        ):
            if posting in wanted and (posting, item) not in found:
                found[posting, item] = averages[item].copy()
            averages[item].change(change, cents)
        return found

    def changes_at_cost(
        self,
        items: Collection[int],
        *,
        since: Mapping[int, int] = NOTHING_CLOSED,
        before: Posting | None = None,
        upto: int | None = None,
        known_at: datetime | None = None,
        known: Mapping[int, tuple[int | None, int]] | None = None,
    ) -> Iterator[tuple[int, int, int, int | None]]:
        """Yield item, posting, how many came (below zero: went), and the cents these cost.

        In the order of postings, a correction with what it corrects. `since` leaves out the
        postings of an item up to that one.
        """
        rows = (
            # What belongs to others costs the house no honey.
            changed_items(items, Q(lines__lot__owner=None), since=since, known_at=known_at)
            .values("pk", "counts_at", "lines__lot_id")
            .annotate(change=Sum("lines__quantity"))
            .exclude(change=0)
            .order_by("counts_at", "lines__lot_id")
            .values_list(
                "pk",
                "counts_at",
                "lines__lot",
                "lines__lot__cost_cents",
                "lines__lot__quantity_made",
                "change",
            )
        )
        if before is not None:
            rows = rows.filter(counts_at__lt=before.pk)
        if upto is not None:
            rows = rows.filter(counts_at__lte=upto)
        for item, posting, lot, cost_cents, made, change in rows if since else rows.iterator():
            if known is not None and lot in known:
                cost_cents, made = known[lot]
            cents = None
            if cost_cents is not None and made > 0:
                cents = share_cents(cost_cents, change, made)
            yield item, posting, change, cents


def changed_items(
    items: Collection[int],
    lines: Q = ALL_LINES,
    *,
    since: Mapping[int, int] = NOTHING_CLOSED,
    known_at: datetime | None = None,
) -> models.QuerySet[Any]:
    """Return items with those of their `lines` that are in the house and were not undone.

    `counts_at` is the posting with which a line counts: a correction counts with what it corrects.
    `since` leaves out what counts up to a posting of an item. What was undone is left out with its
    corrections, as it is known now or was at a moment.
    """
    # From the item, so that the index on item and posting begins where it is closed.
    closed = [When(pk=item, then=Value(posting)) for item, posting in since.items()]
    found = Item.objects.filter(pk__in=items)
    lines &= Q(lines__place__kind__in=Place.IN_HOUSE, lines__posting__kind__in=Posting.NOT_UNDOING)
    for undoing in ("lines__posting__reversed_by", "lines__posting__corrects__reversed_by"):
        is_standing = Q(**{f"{undoing}__reverses": None})
        if known_at is not None:
            is_standing |= Q(**{f"{undoing}__recorded_at__gt": known_at})
        lines &= is_standing
    if known_at is not None:
        lines &= Q(lines__posting__recorded_at__lte=known_at)
    if closed:
        found = found.alias(
            closed=Case(*closed, default=Value(0), output_field=models.BigIntegerField())
        )
        lines &= Q(lines__posting__gt=F("closed"))
        # How few lines that leaves PostgreSQL can only tell by a figure.
        unclosed = set(items).difference(since)
        lines &= Q(lines__posting__gt=min(since.values())) | Q(lines__item__in=unclosed)
    found = found.filter(lines).annotate(
        counts_at=Coalesce("lines__posting__corrects", "lines__posting")
    )
    # What corrects a posting up to the last closing is in that already.
    return found.filter(counts_at__gt=F("closed")) if closed else found


def _averages_from(
    items: Iterable[int], closings: Mapping[int, "AverageClosing"]
) -> dict[int, costing.AverageCost]:
    return {
        item: closings[item].average if item in closings else costing.AverageCost()
        for item in items
    }


def _postings_of(closings: Mapping[int, "AverageClosing"]) -> dict[int, int]:
    return {item: closing.posting_id for item, closing in closings.items()}


class PostingLine(AppendOnlyModel):
    """A signed quantity of one item and lot at one place: grams of honey, or pieces."""

    posting = models.ForeignKey(Posting, on_delete=models.PROTECT, related_name="lines")
    # Found by the index on item and posting.
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lines", db_index=False)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="lines")
    lot = models.ForeignKey(
        "inventory.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="lines"
    )
    quantity = models.BigIntegerField(_("quantity"))

    objects: ClassVar[models.Manager["PostingLine"]] = PostingLineQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["item", "posting"], name="posting_line_of_item")]
        constraints = [
            models.CheckConstraint(condition=~Q(quantity=0), name="posting_line_quantity_not_0"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity:+d} {self.item} {self.place}"


AnyState = TypeVar("AnyState", bound=costing.AverageState)


class AverageClosingQuerySet(models.QuerySet["AverageClosing"]):
    def last_of(
        self, items: Iterable[int], *, before: int | None = None
    ) -> dict[int, "AverageClosing"]:
        """Return the last closing of each item, or the last before a posting, by item."""
        closings = self.filter(item=OuterRef("pk"))
        if before is not None:
            closings = closings.filter(posting__lt=before)
        last = Item.objects.filter(pk__in=items).values_list(
            Subquery(closings.order_by("-posting_id").values("pk")[:1])
        )
        return {closing.item_id: closing for closing in self.filter(pk__in=last)}


class AverageClosing(models.Model):
    """The moving average of a packed item or a part when a posting was made, with all before it.

    Kept every so many postings, so that nobody reads all of a long history. The figures are those
    of `costing.AverageState`; of parts, with the last five, those of `costing.HeapState`. Only
    `inventory.stock.services.average_closings` writes here; `verify_ledger` proves it against the
    lines.
    """

    # It is not exported, and made anew from what is brought in.
    is_derived = True
    # Reading so many changes takes a millisecond or two.
    CHANGES_MAX = 200
    # Fewer, since what all parts cost is read together.
    PART_CHANGES_MAX = 50

    item = models.ForeignKey(
        Item, on_delete=models.PROTECT, related_name="average_closings", db_index=False
    )
    posting = models.ForeignKey(Posting, on_delete=models.PROTECT, related_name="+", db_index=False)
    quantity = models.BigIntegerField()
    cents = models.BigIntegerField()
    taken = models.BigIntegerField()
    is_known = models.BooleanField()
    unit_cents = models.BigIntegerField(default=0)
    unit_pieces = models.BigIntegerField(default=0)
    unpriced = models.BigIntegerField(default=0)
    short = models.BigIntegerField(default=0)
    short_cents = models.BigIntegerField(default=0)

    objects = AverageClosingQuerySet.as_manager()

    class Meta:
        ordering = ["item_id", "posting_id"]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "posting"], name="average_closing_item_posting_is_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item_id} at posting {self.posting_id}"

    @classmethod
    def of(cls, item: int, posting: int, state: costing.AverageState) -> "AverageClosing":
        return cls(item_id=item, posting_id=posting, **asdict(state))

    @property
    def average(self) -> costing.AverageCost:
        return costing.AverageCost.of(self._kept_as(costing.AverageState))

    @property
    def heap(self) -> costing.HeapAtAverage:
        return costing.HeapAtAverage.of(self._kept_as(costing.HeapState))

    def _kept_as(self, kind: type[AnyState]) -> AnyState:
        return kind(**{field.name: getattr(self, field.name) for field in fields(kind)})


def not_booked() -> dict[tuple[int, int, int], int]:
    """Return what the act under way has posted and not yet added to the balances.

    By item, place and lot (zero for none).
    """
    return acts.kept("posted, not in the balances", dict)


class BalanceQuerySet(models.QuerySet["Balance"]):
    def in_vessel(self, place: Place, at: datetime | None = None) -> "Balance | None":
        """Return the one balance of honey in a vessel, or None when it is empty.

        With `at`, return what was in it at that moment by the entries there are today, as a row
        that is not saved.
        """
        if at is not None:
            return PostingLine.objects.in_vessel_at(place, at)
        return (
            self.filter(place=place, is_vessel=True, quantity__gt=0)
            .select_related("lot__owner", "item", "place")
            # There is one at most, which the index of what is at a place finds.
            .order_by("place_id", "quantity")
            .first()
        )

    def at(
        self,
        item: Item,
        moment: datetime,
        *,
        upto: int | None = None,
        places: Iterable[int] | None = None,
    ) -> dict[tuple[int, int], int]:
        """Return how much of an item was where in the house at a moment, by place and lot.

        A lot of zero is none. By the entries there are today: what came later is taken off what is
        there now, so that a moment of late is soon read, however long the history. Of the entries
        of that very moment those up to `upto` count, or all.
        """
        places = None if places is None else set(places)
        now = self.filter(item=item, is_physical=True, quantity__gt=0)
        later = PostingLine.objects.of_item_since(item, moment, after=upto)
        later = later.filter(place__kind__in=Place.IN_HOUSE)
        if places is not None:
            now, later = now.filter(place__in=places), later.filter(place__in=places)
        there = {
            (place, lot or 0): quantity
            for place, lot, quantity in now.values_list("place", "lot", "quantity")
        }
        sums = later.order_by().values_list("place", "lot").annotate(total=Sum("quantity"))
        for place, lot, total in sums:
            there[place, lot or 0] = there.get((place, lot or 0), 0) - total
        written = {key: n for key, n in not_booked().items() if key[0] == item.pk}
        if written:
            in_house = Place.objects.filter(kind__in=Place.IN_HOUSE)
            inside = set(in_house.values_list("pk", flat=True))
            for (_item, place, lot), quantity in written.items():
                if place in inside and (places is None or place in places):
                    there[place, lot] = there.get((place, lot), 0) + quantity
        return {key: quantity for key, quantity in there.items() if quantity}

    def in_vessel_on(self, place: Place, day: date) -> "Balance | None":
        """Return what was in a vessel at the end of a day, or None when it was empty."""
        return self.in_vessel(place, None if day >= timezone.localdate() else days.end(day))

    def grams_on(self, place: Place, day: date) -> int:
        """Return the grams of honey in a vessel at the end of a day."""
        there = self.in_vessel_on(place, day)
        return there.quantity if there else 0

    def ours(self) -> "BalanceQuerySet":
        """Leave out what belongs to other beekeepers; parts are of no lot, and ours."""
        return self.filter(lot__owner=None)

    def of_lot_at(self, lot: "Lot", place: Place) -> "Balance | None":
        """Return the balance of a packed lot at a store, or None when none of it is there."""
        return (
            self.filter(lot=lot, place=place, quantity__gt=0)
            .select_related("item", "place", "lot__product__item", "lot__product__size")
            .first()
        )

    def in_stores(self) -> "BalanceQuerySet":
        """Return the balances of parts and packed goods on shelves, stand and van."""
        return self.filter(is_physical=True, place__kind__in=Place.STORES, quantity__gt=0)

    def here(self, lots: Iterable[int]) -> dict[int, int]:
        """Return how much of each lot is in the house by the books, by key."""
        inside = self.filter(lot__in=list(lots), is_physical=True)
        return dict(inside.values_list("lot").annotate(total=Sum("quantity")).order_by())

    def most_here(self, lots: Iterable[int]) -> dict[int, int]:
        """Return how much of each lot can be in the house: what was made less what left, by key.

        What counts missed may turn up again, and what was short was taken before it was found.
        """
        outside = self.filter(lot__in=list(lots), is_physical=False)
        return {
            lot: -total
            for lot, total in outside.exclude(place__kind__in=Place.UNEXPLAINED)
            .values_list("lot")
            .annotate(total=Sum("quantity"))
            .order_by()
        }

    def pieces_in_stores(self, items: Iterable[int]) -> dict[int, int]:
        """Return how many pieces of these items are in the stores, by item; what there is none
        of is left out."""
        wanted = set(items)
        totals: dict[int, int] = {}
        # All that is there: asked by the item, all that was ever sold of it would be gone through.
        for item, quantity in self.in_stores().order_by().values_list("item", "quantity"):
            if item in wanted:
                totals[item] = totals.get(item, 0) + quantity
        return totals


class Balance(models.Model):
    """How much of an item and lot is at a place now, and how much of that is promised.

    Only `inventory.stock.services.ledger` writes here; `verify_ledger` proves it against the lines.
    `is_physical` and `is_vessel` copy the place's kind, because a check constraint can only read
    its own row.
    """

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="balances")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="balances")
    lot = models.ForeignKey(
        "inventory.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="balances"
    )
    quantity = models.BigIntegerField(default=0)
    reserved = models.BigIntegerField(default=0)
    is_physical = models.BooleanField()
    is_vessel = models.BooleanField()

    objects = BalanceQuerySet.as_manager()

    class Meta:
        # Most balances are of what was there once: what is there is found without them.
        indexes = [
            models.Index(fields=["place", "quantity"], name="balance_at_place"),
            models.Index(fields=["item", "quantity"], name="balance_of_item"),
            models.Index(
                fields=["quantity"], condition=Q(is_physical=True), name="balance_in_house"
            ),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "place", "lot"],
                condition=Q(lot__isnull=False),
                name="balance_item_place_lot_is_one",
            ),
            models.UniqueConstraint(
                fields=["item", "place"],
                condition=Q(lot__isnull=True),
                name="balance_item_place_without_lot_is_one",
            ),
            models.CheckConstraint(
                condition=Q(is_physical=False) | Q(quantity__gte=0),
                name="balance_physical_quantity_gte_0",
                violation_error_message=_("The quantity in a place can't be below zero."),
            ),
            models.CheckConstraint(
                condition=Q(reserved__gte=0)
                & (Q(reserved=0) | Q(is_physical=True, reserved__lte=models.F("quantity"))),
                name="balance_reserved_between_0_and_quantity",
                violation_error_message=_("You can't reserve more than there is in stock."),
            ),
            models.UniqueConstraint(
                fields=["place"],
                condition=Q(is_vessel=True, quantity__gt=0),
                name="balance_vessel_holds_one_lot",
                violation_error_message=_("A vessel can have honey of only one lot at a time."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item} {self.place}: {self.quantity}"

    @property
    def free(self) -> int:
        return self.quantity - self.reserved

    @property
    def honey_lot(self) -> "Lot":
        """The lot of the honey, in bulk or in jars; raises `ValueError` for parts."""
        if self.lot is None:
            raise ValueError(f"{self} is of no lot.")
        return self.lot


class Counter(models.Model):
    """The last number given in a series; taken under lock, so that no number is missed."""

    series = models.CharField(max_length=40, primary_key=True)
    last = models.PositiveIntegerField(default=0)
    # Above 1 where the house went on from numbers that it gave before.
    first = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return f"{self.series} {self.last}"
