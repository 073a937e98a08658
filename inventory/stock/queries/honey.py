"""What the honey pages show: vessels and what is in them, lots, dips, postings and stock at places.

Every function asks the database a constant number of questions, however many rows there are.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cached_property

from django.db.models import (
    BooleanField,
    Case,
    Exists,
    ExpressionWrapper,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    When,
)
from django.db.models.functions import Coalesce
from django.utils import timezone

from inventory.shared import days
from inventory.shared.money import split_cents
from inventory.stock import density, rules, vessels
from inventory.stock.models import (
    Balance,
    DipReading,
    Item,
    Lot,
    LotParent,
    Place,
    Posting,
    PostingLine,
    ProductionSettings,
    Supplier,
)
from inventory.stock.models.lots import LotKeys, Origin
from inventory.stock.queries import corrections

# How many movements of one posting a list shows.
MOVEMENTS_TOLD = 3
# A place with so many lines of entries is a busy one.
BUSY_LINES = 2_000
# Between these honey goes that the house buys from a beekeeper who had it here.
OWNER_TO_HOUSE = (Place.Kind.OWNER, Place.Kind.SUPPLIER)
# What was in a store so lately may be in an entry that is made late.
LATELY = timedelta(days=92)
DRUM_STATES = ("full", "empty", "reserved", "others")


@dataclass(frozen=True)
class DipOutcome:
    """A dip reading beside what its vessel had in it at that moment by the books of today."""

    reading: DipReading

    @cached_property
    def state(self) -> str:
        """Return accepted, moved (the books of that moment were changed), agrees, close or apart.

        Close is less than stick and density tables can tell: the book may be as right as the dip.
        """
        if self.reading.accepted_id:
            return "accepted"
        then = Balance.objects.in_vessel(self.reading.place, self.reading.read_at)
        books = (then.lot, then.quantity) if then else (None, 0)
        if books != (self.reading.lot, self.reading.book_grams):
            return "moved"
        apart = abs(self.reading.difference_grams)
        if not apart:
            return "agrees"
        return "close" if apart <= self.reading.uncertainty_grams else "apart"

    @property
    def can_be_accepted(self) -> bool:
        return self.state in ("close", "apart")


@dataclass(frozen=True)
class VesselContents:
    """A tank, drum, pail or tote and the honey in it; `balance` is None while it is empty."""

    place: Place
    balance: Balance | None

    @property
    def lot(self) -> Lot | None:
        return self.balance.lot if self.balance else None

    @property
    def grams(self) -> int:
        return self.balance.quantity if self.balance else 0

    @property
    def owner(self) -> Supplier | None:
        """The beekeeper whose honey it is; None for our own and for an empty vessel."""
        return self.lot.owner if self.lot else None

    @property
    def next_act(self) -> str:
        """What is usually done with it next: fill, drain, receive, dip or transfer."""
        if self.place.kind == Place.Kind.DRUM:
            return "drain" if self.lot else "fill"
        if self.lot is None:
            return "receive"
        return "dip" if hasattr(self.place, "shape") else "transfer"

    @property
    def reserved_grams(self) -> int:
        return self.balance.reserved if self.balance else 0

    @cached_property
    def litres(self) -> Decimal:
        """Litres at 20 °C, the temperature at which gallons are traded."""
        if self.balance is None:
            return Decimal(0)
        return density.litres_of(self.grams, moisture_percent=self.balance.honey_lot.honey_moisture)

    @property
    def fraction(self) -> Decimal | None:
        """Share of the capacity that is filled, 0 to 1; None where the capacity is not known."""
        if not self.place.capacity_litres:
            return None
        return min(self.litres / self.place.capacity_litres, Decimal(1))

    @cached_property
    def level(self) -> Decimal | None:
        """Share of the height at which the honey stands, for the drawing."""
        return vessels.level(self.place, self.litres)

    @property
    def drawn_as(self) -> str:
        return self.place.shape.form if hasattr(self.place, "shape") else ""

    @property
    def state(self) -> str:
        """The word of a drum's state: "empty", "reserved", "others" (honey of another beekeeper)
        or "full" (has honey and is free).
        """
        if self.balance is None:
            return "empty"
        if self.owner:
            return "others"
        return "reserved" if self.balance.reserved else "full"


@dataclass(frozen=True)
class HoneyInHand:
    """All bulk honey, vessel by vessel; vessels out of use are left out.

    The totals are of the house's own honey; that of other beekeepers is in `others` alone.
    """

    vessels: list[VesselContents]
    # In percent; None where it was not read beside something else.
    moisture_limit: Decimal | None = None

    def _of(self, *kinds: str) -> list[VesselContents]:
        return [vessel for vessel in self.vessels if vessel.place.kind in kinds]

    @property
    def tanks(self) -> list[VesselContents]:
        return self._of(Place.Kind.TANK)

    @property
    def drums(self) -> list[VesselContents]:
        return self._of(Place.Kind.DRUM)

    @property
    def small_vessels(self) -> list[VesselContents]:
        """Pails and totes."""
        return self._of(Place.Kind.PAIL, Place.Kind.TOTE)

    @property
    def ours(self) -> list[VesselContents]:
        """All vessels without those that have honey of other beekeepers."""
        return [vessel for vessel in self.vessels if not vessel.owner]

    @property
    def our_tanks(self) -> list[VesselContents]:
        return [vessel for vessel in self.tanks if not vessel.owner]

    @property
    def our_drums(self) -> list[VesselContents]:
        return [vessel for vessel in self.drums if not vessel.owner]

    @property
    def our_small_vessels(self) -> list[VesselContents]:
        return [vessel for vessel in self.small_vessels if not vessel.owner]

    @property
    def others(self) -> list[VesselContents]:
        """The vessels that have honey of other beekeepers."""
        return [vessel for vessel in self.vessels if vessel.owner]

    @property
    def in_small_vessels(self) -> "Total":
        return Total.of(self.our_small_vessels)

    @property
    def total(self) -> "Total":
        return Total.of(self.ours)

    @property
    def in_tanks(self) -> "Total":
        return Total.of(self.our_tanks)

    @property
    def in_drums(self) -> "Total":
        return Total.of(self.our_drums)

    @cached_property
    def moisture_warnings(self) -> "list[MoistureWarning]":
        """What is to be said of the lots in hand that are above the house's limit, wettest first.

        Lots of which the same is to be said are one warning.
        """
        limit = self.moisture_limit or ProductionSettings.current().moisture_limit_percent
        lots = {vessel.lot for vessel in self.vessels if vessel.lot}
        above = [lot for lot in lots if rules.is_above_limit(lot, limit)]
        found: dict[str, list[Lot]] = {}
        for lot in sorted(above, key=lambda lot: (-lot.honey_moisture, lot.code)):
            found.setdefault(rules.moisture_warning(lot, limit), []).append(lot)
        return [MoistureWarning(sentence, lots) for sentence, lots in found.items()]


@dataclass(frozen=True)
class MoistureWarning:
    """A sentence of warning, and the lots that it is said of, the wettest first."""

    sentence: str
    lots: list[Lot]


@dataclass(frozen=True)
class Total:
    """Honey added up: grams, and litres at 20 °C of each vessel at its own moisture."""

    grams: int
    litres: Decimal
    count: int

    @classmethod
    def of(cls, vessels: Iterable[VesselContents]) -> "Total":
        filled = [vessel for vessel in vessels if vessel.balance]
        return cls(
            grams=sum(vessel.grams for vessel in filled),
            litres=sum((vessel.litres for vessel in filled), Decimal(0)),
            count=len(filled),
        )


def vessel_places() -> QuerySet[Place]:
    """Return the vessels in use, each with `contents`: its one balance of honey, or none."""
    return (
        Place.objects.filter(kind__in=Place.VESSELS, is_active=True)
        .select_related("shape")
        .prefetch_related(_contents())
        .order_by("kind", "code")
    )


def vessel(place: Place) -> VesselContents:
    """Return one vessel, in use or not, with what is in it."""
    balance = (
        Balance.objects.filter(place=place, is_vessel=True, quantity__gt=0)
        .select_related("lot__owner")
        .order_by()
        .first()
    )
    return VesselContents(place, balance)


def moisture_limit_asked() -> Subquery:
    """Ask for the house's limit of moisture, beside other questions; None while it is the usual."""
    return Subquery(ProductionSettings.objects.filter(pk=1).values("moisture_limit_percent")[:1])


def in_hand(*, moisture_limit: Decimal | None = None) -> HoneyInHand:
    """Return all bulk honey in hand; the house's limit of moisture is read later if left out."""
    return HoneyInHand([_vessel(place) for place in vessel_places()], moisture_limit)


def lots(*, season: int | None = None, words: str = "", in_hand_only: bool = False) -> QuerySet:
    """Return honey lots, not packed ones, each with `contents`: the balances that hold it now."""
    found = (
        with_whether_undone(Lot.objects.filter(product=None))
        .select_related("owner")
        .prefetch_related(
            Prefetch(
                "balances",
                Balance.objects.filter(is_physical=True, quantity__gt=0).select_related("place"),
                to_attr="contents",
            )
        )
    )
    if season:
        found = found.filter(season=season)
    if words:
        found = found.filter(
            Q(code__icontains=words)
            | Q(floral_source__icontains=words)
            | Q(yard__icontains=words)
            | Q(supplier__name__icontains=words)
            | Q(supplier_lot__icontains=words)
            | Q(owner__name__icontains=words)
        )
    if in_hand_only:
        found = found.filter(
            pk__in=Balance.objects.filter(is_physical=True, quantity__gt=0).values("lot")
        )
    return found.order_by("-made_on", "-id")


def seasons() -> list[int]:
    """Return the seasons there is honey of, newest first."""
    # The index has each season with each kind once in a while: no lot has to be read.
    of_kinds = Lot.objects.order_by("-season", "-kind").values_list("season", "kind").distinct()
    return list(dict.fromkeys(season for season, kind in of_kinds if kind != Lot.Kind.GOODS))


@dataclass(frozen=True)
class OriginShare:
    """An extraction in a lot: its exact share, and the whole grams that are."""

    lot: Lot
    share: Fraction
    grams: int

    @property
    def percent(self) -> Decimal:
        return Decimal(self.share.numerator) * 100 / self.share.denominator


@dataclass(frozen=True)
class Descendant:
    """A lot that this one went into; `grams` is what went in directly, None further on.

    Pieces, of goods that are counted so.
    """

    lot: Lot
    grams: int | None
    where: list[Balance] = field(default_factory=list)


@dataclass(frozen=True)
class LotStory:
    """A lot, where it is, where it came from, what it became, and what happened to it."""

    lot: Lot
    where: list[Balance]
    # What it is from, itself too where it came in so; `origins` are others, with their grams.
    made_from: list[Origin]
    origins: list[OriginShare]
    became: list[Descendant]
    postings: list["PostingRow"]
    # The keys of the lot and of all that went into it; None where that was not asked for.
    sources: LotKeys | None = None
    is_undone: bool = False

    @cached_property
    def honey_grams(self) -> int:
        return self.lot.honey_grams

    @property
    def quantity_there(self) -> int:
        return sum(balance.quantity for balance in self.where)


def places_of(lot: Lot, *, but: Place) -> list[Place]:
    """Return the other vessels that have honey of a lot."""
    balances = Balance.objects.filter(lot=lot, is_vessel=True, quantity__gt=0).exclude(place=but)
    return [balance.place for balance in balances.select_related("place").order_by("place__code")]


@dataclass(frozen=True)
class VesselWarmth:
    """How warm the honey in a vessel was when it was read last, by a thermometer or with a dip."""

    celsius: Decimal
    read_on: date
    is_dip: bool


def warmth(place: Place) -> VesselWarmth | None:
    """Return the newest temperature of what is in a vessel; None where none was read."""
    read = place.temperatures.first()
    dip = place.dip_readings.first()
    dip_day = timezone.localdate(dip.read_at) if dip else None
    if read and (dip_day is None or read.measured_on >= dip_day):
        return VesselWarmth(read.celsius, read.measured_on, is_dip=False)
    return VesselWarmth(dip.celsius, dip_day, is_dip=True) if dip and dip_day else None


def source_shares(lot: Lot) -> list[tuple[str, Decimal]]:
    """Return the floral sources in a blend with their share in percent, the largest first."""
    shares: dict[str, Fraction] = {}
    for each in lot.named_sources() if not lot.is_named else lot.origins():
        known = shares.get(each.lot.floral_source, Fraction(0))
        shares[each.lot.floral_source] = known + each.share
    ordered = sorted(shares.items(), key=lambda pair: -pair[1])
    return [(name, Decimal(share.numerator) * 100 / share.denominator) for name, share in ordered]


def lot_story(lot: Lot, *, posting_count: int = 50) -> LotStory:
    """Return all a lot's page shows, with its newest postings."""
    # Other goods have materials, no extractions.
    sources = None if lot.kind == Lot.Kind.GOODS else Lot.objects.source_keys([lot.pk])
    made_from = [] if sources is None else lot.origins(family=sources)
    descendants = lot.descendants()
    where = _where([lot.pk, *(each.pk for each in descendants)])
    return LotStory(
        lot=lot,
        where=where.get(lot.pk, []),
        made_from=made_from,
        origins=origin_shares(lot, made_from),
        became=_became(lot, descendants, where),
        postings=[PostingRow.of(posting, lot) for posting in postings(lot=lot)[:posting_count]],
        sources=sources,
        is_undone=lot.is_undone if hasattr(lot, "is_undone") else is_undone(lot),
    )


def with_whether_undone(found: QuerySet[Lot]) -> QuerySet[Lot]:
    """Say of each lot, as `is_undone`, whether it has entries and all of them were undone."""
    return found.annotate(is_undone=ExpressionWrapper(_is_undone(), BooleanField()))


def is_undone(lot: Lot) -> bool:
    """Tell whether a lot has entries and all of them were undone."""
    return Lot.objects.filter(_is_undone(), pk=lot.pk).exists()


def became(lot: Lot, descendants: Sequence[Lot]) -> list[Descendant]:
    """Return what went of a lot into these, and where they are; in two queries."""
    return _became(lot, descendants, _where([descendant.pk for descendant in descendants]))


def _became(
    lot: Lot, descendants: Sequence[Lot], where: Mapping[int | None, list[Balance]]
) -> list[Descendant]:
    links = dict(
        LotParent.objects.filter(parent=lot, lot__in=[each.pk for each in descendants])
        .order_by()
        .values_list("lot", "grams")
    )
    return [
        Descendant(descendant, links.get(descendant.pk), where.get(descendant.pk, []))
        for descendant in descendants
    ]


def stock_of(lot: Lot) -> list[Balance]:
    """Return where a lot is, and how much of it."""
    return _where([lot.pk]).get(lot.pk, [])


def _where(lots: Sequence[int]) -> dict[int | None, list[Balance]]:
    where: dict[int | None, list[Balance]] = {}
    for balance in (
        Balance.objects.filter(lot__in=lots, is_physical=True, quantity__gt=0)
        .select_related("place", "item", "lot__product")
        .order_by("place__kind", "place__code")
    ):
        where.setdefault(balance.lot_id, []).append(balance)
    return where


def made_of(lot: Lot) -> list[LotParent]:
    """Return the lots that went into other goods, with how much of each."""
    return list(
        LotParent.objects.filter(lot=lot).select_related("parent__product__item").order_by("id")
    )


def _is_undone() -> Q:
    """Tell whether a lot has entries and all of them were undone."""
    entries = PostingLine.objects.filter(lot=OuterRef("pk")).order_by()
    standing = entries.filter(
        ~Q(posting__kind=Posting.Kind.REVERSAL), posting__reversed_by__reverses=None
    )
    return Q(Exists(entries)) & ~Q(Exists(standing))


def origin_shares(lot: Lot, origins: list[Origin]) -> list[OriginShare]:
    """Give each origin its whole grams, so that they add up to the lot's.

    An empty list for a lot that came in itself.
    """
    if not origins or [origin.lot for origin in origins] == [lot]:
        return []
    common = math.lcm(*(origin.share.denominator for origin in origins))
    weights = [int(origin.share * common) for origin in origins]
    grams = split_cents(lot.honey_grams, weights)
    return [
        OriginShare(origin.lot, origin.share, part)
        for origin, part in zip(origins, grams, strict=True)
    ]


@dataclass(frozen=True)
class Movement:
    """What a posting moved of one item: how much, out of which places, into which."""

    item: Item
    quantity: int
    sources: list[Place]
    targets: list[Place]
    lots: list[Lot]

    @property
    def stays(self) -> bool:
        """Whether it changed hands where it is."""
        return self.sources == self.targets


@dataclass(frozen=True)
class PostingRow:
    """A posting in words: what moved from where to where."""

    posting: Posting
    movements: list[Movement]
    is_undone: bool
    # With its corrections, where it has any, both states are told: as it was, and as it is `now`.
    corrections: list[Posting] = field(default_factory=list)
    lines_now: list[PostingLine] = field(default_factory=list)
    now: list[Movement] = field(default_factory=list)

    @property
    def as_it_counts(self) -> list[Movement]:
        """What moved with all corrections."""
        return self.now if self.corrections else self.movements

    @property
    def main_movements(self) -> list[Movement]:
        """Honey and jars, and parts only where nothing else moved; no more than a list can show."""
        told = [movement for movement in self.movements if movement.item.kind != Item.Kind.PART]
        return (told or self.movements)[:MOVEMENTS_TOLD]

    @property
    def sources(self) -> list[Place]:
        """The places the main movements came from, each once."""
        return list(dict.fromkeys(place for row in self.main_movements for place in row.sources))

    @property
    def targets(self) -> list[Place]:
        """The places the main movements went to, each once."""
        return list(dict.fromkeys(place for row in self.main_movements for place in row.targets))

    @property
    def more_count(self) -> int:
        return len(self.movements) - len(self.main_movements)

    @classmethod
    def of(cls, posting: Posting, lot: Lot | None = None) -> "PostingRow":
        """Tell a posting whose lines, with item, place and lot, are fetched already.

        With a lot, only of what the posting did with this lot's item.
        """
        corrected = corrections.standing(posting)
        lines_now = corrections.lines_now(posting) if corrected else []
        return cls(
            posting=posting,
            movements=_movements(posting.lines.all(), lot),
            is_undone=hasattr(posting, "reversed_by"),
            corrections=corrected,
            lines_now=lines_now,
            now=_movements(lines_now, lot),
        )


def _movements(lines: Iterable[PostingLine], lot: Lot | None) -> list[Movement]:
    by_item: dict[Item, list[PostingLine]] = {}
    for line in lines:
        by_item.setdefault(line.item, []).append(line)
    return [
        movement
        for item in sorted(by_item, key=_honey_first)
        if lot in (None, *(movement := _movement(item, by_item[item])).lots)
    ]


def _honey_first(item: Item) -> tuple[int, str]:
    kinds: list[str] = [Item.Kind.HONEY, Item.Kind.PACKED, Item.Kind.GOODS, Item.Kind.PART]
    return (kinds.index(item.kind), item.name)


def _movement(item: Item, lines: list[PostingLine]) -> Movement:
    """Add up by place: honey that a blend renames where it stands has not moved.

    What is bought from its owner leaves and comes back in the books, and moved once: from vessel
    to vessel, or nowhere.
    """
    by_place: dict[Place, int] = {}
    for line in lines:
        by_place[line.place] = by_place.get(line.place, 0) + line.quantity
    lots = list(dict.fromkeys(line.lot for line in lines if line.lot))
    through = [place for place in by_place if place.kind in OWNER_TO_HOUSE]
    passed = [by_place[place] for place in through]
    if len(through) == len(OWNER_TO_HOUSE) and not sum(passed):
        for place in through:
            del by_place[place]
        if not any(by_place.values()):
            stays = list(by_place)
            return Movement(item, quantity=max(passed), sources=stays, targets=stays, lots=lots)
    return Movement(
        item=item,
        quantity=sum(quantity for quantity in by_place.values() if quantity > 0),
        sources=[place for place, quantity in by_place.items() if quantity < 0],
        targets=[place for place, quantity in by_place.items() if quantity > 0],
        lots=lots,
    )


def postings(
    *,
    kind: str = "",
    place: Place | None = None,
    lot: Lot | Sequence[Lot] | None = None,
    first: date | None = None,
    last: date | None = None,
) -> QuerySet[Posting]:
    """Return postings newest first, with their lines, who made them, and what undid or corrected
    them. A correction stands above what it corrects, both being of one moment.

    Several lots may bear the code that is looked for.
    """
    lines = Prefetch("lines", PostingLine.objects.select_related("item", "place", "lot"))
    corrected: QuerySet[Posting] = Posting.objects.select_related(
        "recorded_by", "reversed_by", "caused_by"
    ).prefetch_related(lines)
    # Who made them is looked up apart: few people made all of them, and SQLite would begin there.
    found = Posting.objects.select_related(
        "reversed_by", "reverses", "corrects", "caused_by__recorded_by"
    ).prefetch_related("recorded_by", lines, Prefetch("corrections", corrected))
    if kind:
        found = found.filter(kind=kind)
    if place:
        found = found.filter(pk__in=PostingLine.objects.filter(place=place).values("posting"))
    if lot:
        lots = [lot] if isinstance(lot, Lot) else lot
        found = found.filter(pk__in=PostingLine.objects.filter(lot__in=lots).values("posting"))
    found = found.filter(**days.lookups("occurred_at", first, last))
    return found.order_by("-occurred_at", Coalesce("corrects", "id").desc(), "-id")


def newest_at(place: Place) -> QuerySet[Posting]:
    """Return the postings that moved something at a place, to be cut after the first few.

    Where much was moved, those are soon found among the newest of all; elsewhere `postings` finds
    them by the place.
    """
    lines = PostingLine.objects.filter(place=place).order_by()
    if lines[:BUSY_LINES].count() < BUSY_LINES:
        return postings(place=place)
    return postings().filter(Exists(lines.filter(posting=OuterRef("pk"))))


def caused_by(posting: Posting) -> list[PostingRow]:
    """Return the entries that were corrected because of this one, by their corrections."""
    return [PostingRow.of(each) for each in postings().filter(caused_by=posting)]


def received_lot(posting: Posting) -> Lot | None:
    """Return the lot of honey that came in by a posting that was not undone, or None."""
    if hasattr(posting, "reversed_by"):
        return None
    for line in posting.lines.all():
        if line.item.kind == Item.Kind.HONEY and line.place.kind == rules.CAME_FROM.get(
            posting.kind
        ):
            return line.lot
    return None


def postings_by_key(keys: Iterable[int]) -> dict[int, PostingRow]:
    """Return the rows of some postings, by key."""
    found = postings().filter(pk__in=list(keys)).prefetch_related("corrections")
    return {each.pk: PostingRow.of(each) for each in found}


def posting(pk: int) -> Posting | None:
    """Return one posting as `postings` would, or None."""
    return postings().filter(pk=pk).first()


def dips(place: Place | None = None) -> QuerySet[DipReading]:
    """Return dip readings newest first, with their vessel, lot, reader, posting and run."""
    found = DipReading.objects.select_related("place", "lot", "read_by", "accepted", "run_dip__run")
    return found.filter(place=place) if place else found


def places(*, kind: str = "", state: str = "", words: str = "") -> QuerySet[Place]:
    """Return the places of the house, in use first and kind by kind, each with its `contents`.

    `state` is "filled", "empty" or "off" (out of use), `words` a part of a number or name.
    """
    house_kinds = (*Place.VESSELS, *Place.FOR_GOODS)
    order = [When(kind=each, then=rank) for rank, each in enumerate(house_kinds)]
    found = Place.objects.filter(kind__in=[kind] if kind in house_kinds else house_kinds)
    if words:
        found = found.filter(Q(code__icontains=words) | Q(name__icontains=words))
    if state == "off":
        found = found.filter(is_active=False)
    elif state:
        filled = Balance.objects.filter(place=OuterRef("pk"), quantity__gt=0)
        has_some = Exists(filled)
        found = found.filter(has_some if state == "filled" else ~has_some, is_active=True)
    return (
        found.select_related("shape")
        .prefetch_related(_stock())
        .order_by("-is_active", Case(*order), "code")
    )


def stores() -> QuerySet[Place]:
    """Return the shelves, stands and vans in use, those of shops last, each with its `contents`."""
    return (
        Place.objects.filter(kind__in=Place.FOR_GOODS, is_active=True)
        .prefetch_related(_stock())
        .order_by("kind", "code")
    )


def stock_at(place: Place | None = None) -> QuerySet[Balance]:
    """Return the packed goods and parts on shelves, stand and van, or at one of these."""
    found = (
        Balance.objects.filter(is_physical=True, quantity__gt=0)
        .exclude(item__kind=Item.Kind.HONEY)
        .select_related("item", "place", "lot__product", "lot__owner")
        .order_by("place__kind", "place__code", "item__kind", "item__name", "lot__best_by")
    )
    if place:
        return found.filter(place=place)
    return found.filter(place__kind__in=Place.FOR_GOODS)


def stock_lately(*, of_others: bool = False) -> QuerySet[Balance]:
    """Return what `stock_at` does, and then what is gone from these places by now.

    Of that, only what had an entry in the last `LATELY`: a late entry may be about it. With
    `of_others`, only what belongs to other beekeepers.
    """
    lately = PostingLine.objects.filter(posting__occurred_at__gte=timezone.now() - LATELY)
    there = stock_at()
    if of_others:
        lately = lately.filter(lot__owner__isnull=False)
        there = there.filter(lot__owner__isnull=False)
    # By their keys: in one question, these few would be looked for from all that is gone.
    keys = [*there.order_by().values_list("pk", flat=True), *_gone(lately)]
    return (
        Balance.objects.filter(pk__in=keys)
        .exclude(item__kind=Item.Kind.HONEY)
        .select_related("item", "place", "lot__product", "lot__owner")
        .alias(is_gone=ExpressionWrapper(Q(quantity=0), BooleanField()))
        .order_by(
            "is_gone", "place__kind", "place__code", "item__kind", "item__name", "lot__best_by"
        )
    )


def _gone(lately: QuerySet[PostingLine]) -> list[int]:
    """Return the keys of the balances in stores of which these lines are, and that are zero now."""
    moved = set(lately.order_by().values_list("item", "place", "lot").distinct())
    lots = {lot for _item, _place, lot in moved if lot}
    stores = list(Place.objects.filter(kind__in=Place.FOR_GOODS).values_list("pk", flat=True))
    found = Balance.objects.filter(
        Q(lot__in=lots) | Q(lot=None, item__in={item for item, _place, lot in moved if not lot}),
        place__in=stores,
    )
    keys = found.order_by().values_list("pk", "quantity", "item", "place", "lot")
    return [key for key, quantity, *of in keys if not quantity and tuple(of) in moved]


def _contents() -> Prefetch:
    return Prefetch(
        "balances",
        Balance.objects.filter(is_vessel=True, quantity__gt=0).select_related("lot__owner"),
        to_attr="contents",
    )


def _stock() -> Prefetch:
    return Prefetch(
        "balances",
        Balance.objects.filter(is_physical=True, quantity__gt=0)
        .select_related("item", "lot__product", "lot__owner")
        .order_by("item__kind", "item__name", "lot__best_by"),
        to_attr="contents",
    )


def _vessel(place: Place) -> VesselContents:
    return VesselContents(place, place.contents[0] if place.contents else None)
