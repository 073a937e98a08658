"""Drums weighed as they leave: what the scale says is what is booked, handed over and billed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.orders.models import (
    Fulfilment,
    FulfilmentLine,
    Order,
    OrderLine,
    ShippedDrum,
    WeighOut,
)
from apiary_sales.orders.rules import loads
from apiary_sales.orders.rules.lines import is_whole_drum, vessel_of
from apiary_sales.orders.rules.weighing import Weighed
from apiary_sales.orders.services import lines as order_lines
from apiary_sales.orders.services import orders, reservations
from inventory.shared import checks, keys, words
from inventory.shared.errors import HouseError, Problems, parameters_named
from inventory.shared.models import House
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Posting
from inventory.stock.services import drums as scales
from inventory.stock.services import ledger


@dataclass(frozen=True)
class DrumOnScale:
    """What a scale said of one drum: gross, less the tare on record or the one given; or net.

    Without a weight the drum leaves at the weight of the books, or with its share of the load.
    """

    gross_grams: int | None = None
    tare_grams: int | None = None
    net_grams: int | None = None
    seal: str = ""

    @property
    def is_weighed(self) -> bool:
        return self.gross_grams is not None or self.net_grams is not None


@dataclass(frozen=True)
class ScaleUsed:
    """The scale, who read it, and the net weight of the whole load where it was weighed in one."""

    name: str = ""
    weighed_by: str = ""
    load_net_grams: int | None = None


@dataclass(frozen=True)
class _Loaded:
    """A drum that leaves: its line, what the books have in it, and what it weighs."""

    line: OrderLine
    book_grams: int
    net_grams: int
    on_scale: DrumOnScale

    @property
    def tare_grams(self) -> int | None:
        """The empty weight that goes with its gross weight: as weighed, or the one on record."""
        if self.on_scale.gross_grams is not None:
            return self.on_scale.gross_grams - self.net_grams
        return vessel_of(self.line).tare_grams


@transaction.atomic
def hand_over(
    *,
    order: Order,
    filled_by: Person,
    key: str,
    quantities: dict[int, int] | None = None,
    weighed: Mapping[int, Weighed] | None = None,
    drums: Mapping[int, DrumOnScale] | None = None,
    scale: ScaleUsed | None = None,
    filled_on: date | None = None,
    difference_is_right: bool = False,
) -> Fulfilment:
    """Hand over goods as `orders.fulfil`, and drums at the weight that a scale said.

    `drums` has what each drum weighed and its seal, by the key of its line; or `scale` has one net
    weight of the load, which all drums that leave share by their weights on the books. What differs
    from the books is posted as a scale difference before the sale, and the line is billed by what
    was weighed. `difference_is_right` confirms a difference beyond the house's own tolerance.
    Raises what `orders.fulfil` does, `BadValue` at `drums.<key>.<name>`, `load_net_grams` or
    `difference_is_right`, and `AlreadyRecorded`.
    """
    order = orders.lock(order)
    refuse_repeat(Fulfilment, key)
    drums, scale = drums or {}, scale or ScaleUsed()
    lines = orders.lines_of(order)
    leaving = _leaving(order, lines, quantities)
    _check(leaving, drums, scale, quantities or {})
    ledger.lock_items(order_lines.items_of(lines))
    loaded = _weights(leaving, drums, scale)
    if not difference_is_right:
        _ask_about(loaded, is_load=scale.load_net_grams is not None)
    postings = _book(loaded, scale, recorded_by=filled_by, key=key, filled_on=filled_on)
    if quantities is not None:
        quantities = quantities | {drum.line.pk: drum.net_grams for drum in loaded}
    fulfilment = orders.fulfil(
        order=order,
        filled_by=filled_by,
        key=key,
        quantities=quantities,
        filled_on=filled_on,
        weighed=weighed,
    )
    _write_down(fulfilment, loaded, scale, postings)
    return fulfilment


def _leaving(
    order: Order, lines: Sequence[OrderLine], quantities: dict[int, int] | None
) -> list[OrderLine]:
    """Return the lines of drums that leave now and are there to be weighed.

    What is not there, or not to be handed over, is refused by the sale itself.
    """
    if order.status not in Order.OPEN_STATUSES:
        return []
    wanted = [
        line
        for line in lines
        if is_whole_drum(line)
        and line.to_fill
        and (quantities is None or quantities.get(line.pk) == line.to_fill)
    ]
    reserved: dict[int, int] = {}
    for row in reservations.of(wanted):
        reserved[row.line_id] = reserved.get(row.line_id, 0) + row.quantity
    return [line for line in wanted if reserved.get(line.pk) == line.to_fill]


def _check(
    leaving: Sequence[OrderLine],
    drums: Mapping[int, DrumOnScale],
    scale: ScaleUsed,
    quantities: Mapping[int, int],
) -> None:
    problems = Problems()
    known = {line.pk for line in leaving}
    seals: dict[str, int] = {}
    for key, drum in drums.items():
        if key not in known and quantities.get(key, 1):
            problems.add(
                f"drums.{key}",
                _("That line is no drum that can be handed over now. Open the order again."),
            )
        if drum.gross_grams is not None and drum.net_grams is not None:
            problems.add(
                f"drums.{key}.net_grams",
                _("Enter the gross weight or the net weight of the drum, not both."),
            )
        if drum.tare_grams is not None and drum.gross_grams is None:
            problems.add(f"drums.{key}.gross_grams", _("Enter what the full container weighs."))
        seal = drum.seal.strip()
        if seal and seal in seals:
            problems.add(
                f"drums.{key}.seal",
                _("Seal %(seal)s is on two drums. Check the numbers.") % {"seal": seal},
            )
        seals[seal] = key
    if scale.load_net_grams is not None:
        if any(drum.is_weighed for drum in drums.values()):
            problems.add(
                "load_net_grams",
                _("Enter the weight of each drum or the weight of the whole load, not both."),
            )
        elif not leaving:
            problems.add("load_net_grams", _("No drum is handed over now, so there is no load."))
        else:
            checks.check_grams(problems, "load_net_grams", scale.load_net_grams)
    problems.raise_any()


def _weights(
    leaving: Sequence[OrderLine], drums: Mapping[int, DrumOnScale], scale: ScaleUsed
) -> list[_Loaded]:
    """Return what each drum weighs; raises `BadValue` for figures that are no drum's."""
    books = [line.to_fill for line in leaving]
    if scale.load_net_grams is not None:
        nets = loads.share_load(scale.load_net_grams, books)
    else:
        problems, nets = Problems(), []
        for line in leaving:
            try:
                nets.append(_net(line, drums.get(line.pk, DrumOnScale())))
            except HouseError as error:
                problems.add_error(error)
        problems.raise_any()
    return [
        _Loaded(line, book, net, drums.get(line.pk, DrumOnScale()))
        for line, book, net in zip(leaving, books, nets, strict=True)
    ]


def _net(line: OrderLine, drum: DrumOnScale) -> int:
    name = f"drums.{line.pk}"
    if drum.gross_grams is not None:
        with parameters_named(
            drum=name, gross_grams=f"{name}.gross_grams", tare_grams=f"{name}.tare_grams"
        ):
            return scales.contents_weighed(
                drum=vessel_of(line), gross_grams=drum.gross_grams, tare_grams=drum.tare_grams
            )
    if drum.net_grams is None:
        return line.to_fill
    problems = Problems()
    checks.check_grams(problems, f"drums.{line.pk}.net_grams", drum.net_grams)
    if drum.net_grams > scales.GROSS_GRAMS_MAX:
        problems.add(
            f"drums.{line.pk}.net_grams",
            _("%(gross)s is more than a drum of honey weighs. Check the figure and its unit.")
            % {"gross": words.weight(drum.net_grams)},
        )
    problems.raise_any()
    return drum.net_grams


def _ask_about(loaded: Sequence[_Loaded], *, is_load: bool) -> None:
    """Ask whether weights that differ from the books beyond the house's tolerance are right."""
    tolerance = House.current().drum_tolerance_percent
    if is_load:
        compared = [
            (
                _("The load"),
                sum(drum.net_grams for drum in loaded),
                sum(drum.book_grams for drum in loaded),
            )
        ]
    else:
        compared = [(vessel_of(drum.line).name, drum.net_grams, drum.book_grams) for drum in loaded]
    problems = Problems()
    asked = []
    for name, net, book in compared:
        if loads.differs_too_much(net, book, tolerance):
            scale_words, book_words = words.weights_apart(net, book)
            asked.append(
                _("%(drum)s: %(scale)s on the scale, %(books)s on the books.")
                % {"drum": name, "scale": scale_words, "books": book_words}
            )
    if asked:
        asked.append(
            _(
                "That is more than %(percent)s %% apart. Check the weight and the drum, then "
                "confirm."
            )
            % {"percent": words.number(tolerance.normalize())}
        )
        problems.add("difference_is_right", " ".join(asked))
    problems.raise_any()


def _book(
    loaded: Sequence[_Loaded],
    scale: ScaleUsed,
    *,
    recorded_by: Person,
    key: str,
    filled_on: date | None,
) -> dict[int, Posting | None]:
    """Bring the books of each drum to its weight; return the postings by the key of their line."""
    postings = {}
    for drum in loaded:
        name = f"drums.{drum.line.pk}"
        with parameters_named(
            weighed_on="filled_on", drum=name, net_grams=f"drums.{drum.line.pk}.net_grams"
        ):
            made = scales.book_weight(
                drum=vessel_of(drum.line),
                net_grams=drum.net_grams,
                recorded_by=recorded_by,
                key=keys.part(key, f"drum-{drum.line.pk}"),
                weighed_on=filled_on,
                note=scale.name.strip(),
            )
        postings[drum.line.pk] = made.posting
        if drum.on_scale.tare_grams is not None:
            scales.keep_tare(drum=vessel_of(drum.line), tare_grams=drum.on_scale.tare_grams)
    return postings


def _write_down(
    fulfilment: Fulfilment,
    loaded: Sequence[_Loaded],
    scale: ScaleUsed,
    postings: Mapping[int, Posting | None],
) -> None:
    if not loaded:
        return
    WeighOut.objects.create(
        fulfilment=fulfilment,
        scale=scale.name.strip(),
        weighed_by=scale.weighed_by.strip(),
        load_net_grams=scale.load_net_grams,
    )
    rows = {
        row.order_line_id: row
        for row in FulfilmentLine.objects.filter(
            fulfilment=fulfilment, order_line__in=[drum.line for drum in loaded]
        )
    }
    ShippedDrum.objects.bulk_create(
        ShippedDrum(
            fulfilment_line=rows[drum.line.pk],
            gross_grams=None if drum.tare_grams is None else drum.net_grams + drum.tare_grams,
            tare_grams=drum.tare_grams,
            net_grams=drum.net_grams,
            book_grams=drum.book_grams,
            seal=drum.on_scale.seal.strip(),
            posting=postings[drum.line.pk],
        )
        for drum in loaded
    )
