"""What the page "When to stop bottling" says in sentences."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.planning import books_sentences
from apiary_sales.planning.programme import HOUR_MINUTES
from apiary_sales.planning.queries.earnings import EarningsBooks
from apiary_sales.planning.rules.books import PartState
from apiary_sales.planning.rules.coming_demand import ComingDemand
from apiary_sales.planning.rules.earnings import Measure
from apiary_sales.planning.rules.scarce import Scarce, Scarcity
from apiary_sales.planning.rules.stopping import Stopping, StoppingRow, TankState, Verdict
from inventory.shared import words
from inventory.shared.money import cents_half_up
from inventory.shared.weights import in_words

# As many parts are named in one sentence.
NAMED_PARTS = 3

# How each answer is marked, in the order in which they are shown.
KINDS = {
    Verdict.FILL: "good",
    Verdict.FILL_SOME: "good",
    Verdict.NOT_NOW: "warn",
    Verdict.ENOUGH_READY: "info",
    Verdict.DRUM_PAYS: "info",
    Verdict.NO_DEMAND_KNOWN: "warn",
    Verdict.NO_DRUM_PRICE: "warn",
    Verdict.NOT_COSTED: "warn",
}


TO_FILL = (Verdict.FILL, Verdict.FILL_SOME, Verdict.NOT_NOW)
UNKNOWN = (Verdict.NO_DEMAND_KNOWN, Verdict.NO_DRUM_PRICE, Verdict.NOT_COSTED)


@dataclass(frozen=True)
class FigureSaid:
    """What a row earns by one measure, with its rank, or why that is not known."""

    measure: Measure
    short: str
    rank: int | None
    cents: int | None
    why: str


@dataclass(frozen=True)
class Said:
    """The answer to one row: a word, how it is marked, and a sentence."""

    row: StoppingRow
    name: str
    word: str
    kind: str
    sentence: str
    demand: str
    level: str
    figures: tuple[FigureSaid, ...]


@dataclass(frozen=True)
class LimitSaid:
    """What is needed of one thing, what there is of it, and what more would earn."""

    kind: Scarce
    label: str
    needed: str
    there: str
    tenth_cents: int | None
    sentence: str
    is_scarcest: bool


def said(stopping: Stopping, row: StoppingRow) -> Said:
    """Say when to stop filling one product for one channel."""
    return Said(
        row=row,
        name=_("%(product)s, %(channel)s")
        % {
            "product": row.earning.offer.product.name,
            "channel": row.earning.offer.channel_label,
        },
        word=_word(row.verdict),
        kind=KINDS[row.verdict],
        sentence=_when_to_stop(row, stopping.period.last),
        demand=_demand(row.demand),
        level=_level(row.demand),
        figures=tuple(_figure(row, measure) for measure in Measure),
    )


def scarce_now(stopping: Stopping) -> str:
    """Say what is scarce now, and how that is known."""
    return " ".join(filter(None, _scarce_now(stopping, _day(stopping.period.last))))


def left_out(stopping: Stopping) -> str:
    """Say of how many rows it is not known what they add to what is scarce; empty without any."""
    unknown = [row for row in stopping.rows if row.verdict in UNKNOWN]
    if not unknown:
        return ""
    return ngettext(
        "%(count)s of %(all)s products and channels is not counted in this, because something "
        "about it is not known",
        "%(count)s of %(all)s products and channels are not counted in this, because something "
        "about them is not known",
        len(unknown),
    ) % {"count": len(unknown), "all": len(stopping.rows)}


def levels(stopping: Stopping) -> str:
    """Name the products that sell much more or less this year; empty without any.

    Their rows may be folded away, because what is ready would be enough if it sold as before.
    """
    changed = {
        row.earning.offer.product: percent
        for row in stopping.rows
        if (percent := row.demand.level_left_out_percent) is not None
    }
    if not changed:
        return ""
    return _("Not reckoned is that this year sells more or less than a year ago: %(products)s.") % {
        "products": "; ".join(
            (
                _("%(product)s %(percent)s %% less")
                if percent < 0
                else _("%(product)s %(percent)s %% more")
            )
            % {"product": product.name, "percent": words.number(abs(percent))}
            for product, percent in changed.items()
        )
    }


def to_fill(rows: Sequence[Said]) -> list[Said]:
    """Return the rows of which more could be sold: first what to fill, then what can't be now."""
    order = list(KINDS)
    more = [said for said in rows if said.row.verdict in TO_FILL]
    return sorted(more, key=lambda said: order.index(said.row.verdict))


def stops(rows: Sequence[Said]) -> list[tuple[str, list[Said]]]:
    """Return the rows of which none is to be filled, by why, with that in words."""
    enough = [said for said in rows if said.row.verdict == Verdict.ENOUGH_READY]
    drum = [said for said in rows if said.row.verdict == Verdict.DRUM_PAYS]
    told = [
        (
            ngettext(
                "Stop: of %(count)s product and channel what is ready is likely to be enough",
                "Stop: of %(count)s products and channels what is ready is likely to be enough",
                len(enough),
            ),
            enough,
        ),
        (
            ngettext(
                "Stop: of %(count)s product and channel the drum brings as much or more",
                "Stop: of %(count)s products and channels the drum brings as much or more",
                len(drum),
            ),
            drum,
        ),
    ]
    return [(sentence % {"count": len(found)}, found) for sentence, found in told if found]


def unknown(rows: Sequence[Said]) -> list[tuple[str, list[str]]]:
    """Return why no answer is known, each with the rows of which that is so."""
    found: dict[str, list[str]] = {}
    for said in rows:
        if said.row.verdict in UNKNOWN:
            found.setdefault(said.sentence, []).append(said.name)
    return list(found.items())


def limits(stopping: Stopping) -> list[LimitSaid]:
    """Say of everything that can be scarce what is needed of it and what there is."""
    return list(_limits(stopping))


def notices(found: EarningsBooks) -> list[str]:
    """Name what the answer leaves out, with the reason."""
    books = found.books
    told = []
    if not books.costs.labour_cents_per_hour:
        told.append(
            _("Not known, and counted as zero: %(names)s.")
            % {"names": _("the cost of an hour of work")}
        )
    wet = [vessel.place.name for vessel in books.vessels if vessel.moisture_question]
    if wet:
        told.append(
            _("Not used, because it is above your limit of moisture: %(vessels)s.")
            % {"vessels": ", ".join(wet)}
        )
    told += books_sentences.never_used(books)
    unpriced = [
        _("%(product)s, %(channel)s")
        % {"product": offer.product.name, "channel": offer.channel_label}
        for offer in books.offers
        if offer.price_cents is None
    ]
    if unpriced:
        told.append(
            _("Left out because there is no price: %(offers)s.") % {"offers": "; ".join(unpriced)}
        )
    if books.left_out:
        told.append(
            _("Left out because it is not filled from a tank alone: %(products)s.")
            % {"products": "; ".join(product.name for product in books.left_out)}
        )
    told += books_sentences.planned_runs(books)
    if found.room.unmeasured:
        told.append(
            _("Their room is not counted, because their capacity is not entered: %(vessels)s.")
            % {"vessels": ", ".join(place.name for place in found.room.unmeasured)}
        )
    return told


def _short(measure: Measure) -> str:
    match measure:
        case Measure.POUND:
            return in_words(_("a {unit}"))
        case Measure.HOUR:
            return _("an hour")
        case Measure.TANK_WEEK:
            return _("a tank-week")
    return _("a piece")


def _figure(row: StoppingRow, measure: Measure) -> FigureSaid:
    earned = row.earning.by(measure)
    why = ""
    if earned is None:
        why = _("not known")
        if row.earning.by(Measure.PIECE) is not None:
            why = (
                _("no minutes of work are entered")
                if measure == Measure.HOUR
                else _("not from a tank")
            )
    return FigureSaid(
        measure=measure,
        short=_short(measure),
        rank=row.ranked.ranks[measure],
        cents=None if earned is None else cents_half_up(earned),
        why=why,
    )


def _word(verdict: Verdict) -> str:
    match verdict:
        case Verdict.FILL | Verdict.FILL_SOME:
            return _("fill")
        case Verdict.ENOUGH_READY | Verdict.DRUM_PAYS:
            return _("stop")
        case Verdict.NOT_NOW:
            return _("not now")
    return _("not known")


def _when_to_stop(row: StoppingRow, last: date) -> str:
    earning, until = row.earning, _day(last)
    match row.verdict:
        case Verdict.NOT_COSTED:
            return _("Not entered: %(what)s.") % {"what": ", ".join(earning.missing)}
        case Verdict.NO_DRUM_PRICE:
            return _("There is no drum price for free honey that may be filled as this.")
        case Verdict.DRUM_PAYS:
            return _("The drum brings as much or more. Fill none for this channel.")
        case Verdict.NO_DEMAND_KNOWN:
            return _(
                "It earns more than the drum, but there is no full month of sales from which to "
                "tell how many will sell."
            )
        case Verdict.ENOUGH_READY:
            if not row.demand.pieces:
                return _("None is likely to sell before %(day)s.") % {"day": until}
            return _("What is ready is likely to be enough until %(day)s.") % {"day": until}
        case Verdict.FILL:
            return _(
                "Fill up to %(count)s more until %(day)s, then stop: more is not likely to sell "
                "before then."
            ) % {"count": words.number(row.fills), "day": until}
        case Verdict.FILL_SOME:
            return _(
                "Fill %(count)s of the %(still)s more that could be sold until %(day)s, then "
                "stop: there is not enough for more of it (%(what)s)."
            ) % {
                "count": words.number(row.fills),
                "still": words.number(row.still or 0),
                "day": until,
                "what": _lacking(row),
            }
    return _(
        "%(still)s more could be sold until %(day)s, but there is not enough for it (%(what)s)."
    ) % {"still": words.number(row.still or 0), "day": until, "what": _lacking(row)}


def _lacking(row: StoppingRow) -> str:
    found = [
        lack.part.name if isinstance(lack, PartState) else str(lack.label).lower()
        for lack in row.held_back_by
    ]
    return ", ".join(found) or _("the other honey brings more in drums")


def _demand(demand: ComingDemand) -> str:
    """Say what a figure of demand is from."""
    if demand.pieces is None:
        return _("not known")
    if demand.recent_months:
        return ngettext(
            "from the last month alone",
            "from the last %(months)s months",
            demand.recent_months,
        ) % {"months": demand.recent_months}
    return ngettext(
        "from %(years)s earlier year",
        "from %(years)s earlier years",
        demand.years,
    ) % {"years": demand.years}


def _level(demand: ComingDemand) -> str:
    """Say by how much this year differs from a year ago where a figure leaves that out."""
    percent = demand.level_left_out_percent
    if percent is None:
        return ""
    if percent < 0:
        sentence = _(
            "In all channels it sells %(percent)s %% less this year than a year ago; that is not "
            "reckoned."
        )
    else:
        sentence = _(
            "In all channels it sells %(percent)s %% more this year than a year ago; that is not "
            "reckoned."
        )
    return sentence % {"percent": words.number(abs(percent))}


def _scarce_now(stopping: Stopping, until: str) -> list[str]:
    scarcity = stopping.scarcity
    match stopping.scarcest:
        case Scarce.TANKS:
            return _tanks_scarce(stopping.tanks, until)
        case Scarce.HOURS:
            return [
                _(
                    "Hours of work are scarce now: filling all that is likely to sell until "
                    "%(day)s takes %(needed)s, and %(there)s are entered below."
                )
                % {
                    "day": until,
                    "needed": _hours(scarcity.needs.minutes),
                    "there": _hours(scarcity.minutes),
                },
                _one_more_hour(scarcity),
            ]
        case Scarce.HONEY:
            return [
                _honey_scarce(scarcity, until),
                _one_more_unit(scarcity),
                _not_there_yet(stopping.tanks),
            ]
        case Scarce.PARTS:
            return [*_parts_scarce(scarcity, until), _next(stopping.next_scarce)]
        case Scarce.BUYERS:
            return [_buyers_scarce(stopping, until), _best_buyer(stopping)]
    return [_nothing_scarce(stopping, until)]


def _tanks_scarce(tanks: TankState, until: str) -> list[str]:
    return [
        _(
            "Room in tanks is scarce now: %(expected)s is expected until %(day)s, and the tanks "
            "and empty drums have room for %(room)s."
        )
        % {
            "expected": words.weight(tanks.expected_grams or 0),
            "day": until,
            "room": words.weight((tanks.room_grams or 0) + tanks.other_room_grams),
        },
        _(
            "What has no room can't be taken in, so empty the tanks by what earns most in a "
            "tank-week."
        ),
    ]


def _honey_scarce(scarcity: Scarcity, until: str) -> str:
    if scarcity.needs.grams > scarcity.grams:
        sentence = _(
            "Honey is scarce now: all that is likely to sell until %(day)s takes %(needed)s, and "
            "%(there)s is free."
        )
    else:
        sentence = _(
            "Honey for some products is scarce now: all that is likely to sell until %(day)s "
            "takes %(needed)s, and of the %(there)s free not all may be filled as them."
        )
    return sentence % {
        "day": until,
        "needed": words.weight(round(scarcity.needs.grams)),
        "there": words.weight(scarcity.grams),
    }


def _parts_scarce(scarcity: Scarcity, until: str) -> list[str]:
    short = sorted(scarcity.parts_short, key=lambda pair: -scarcity.part.get(pair[0].part.pk, 0))
    named = "; ".join(_too_few(row, needed) for row, needed in short[:NAMED_PARTS])
    return [
        _("Parts are scarce now for what is likely to sell until %(day)s.") % {"day": until},
        f"{named}.",
    ]


def _too_few(row: PartState, needed: int) -> str:
    return _("%(part)s: %(needed)s needed, %(there)s in stock") % {
        "part": row.part.name,
        "needed": words.number(needed),
        "there": words.number(row.stock),
    }


def _next(scarce: Scarce | None) -> str:
    match scarce:
        case Scarce.HOURS:
            return _("Once the missing parts are bought, hours of work are scarce.")
        case Scarce.HONEY:
            return _("Once the missing parts are bought, honey is scarce.")
        case Scarce.BUYERS:
            return _("Once the missing parts are bought, buyers are scarce.")
    return ""


def _buyers_scarce(stopping: Stopping, until: str) -> str:
    if any(row.fills < (row.still or 0) for row in stopping.rows if row.held_back_by):
        sentence = _(
            "Buyers are scarcest now: a tenth more of what is likely to sell until %(day)s would "
            "earn more than a tenth more of hours, honey or parts."
        )
    else:
        sentence = _(
            "Buyers are scarce now: honey, hours and parts are enough for all that is likely to "
            "sell until %(day)s."
        )
    return sentence % {"day": until}


def _best_buyer(stopping: Stopping) -> str:
    """Say where one more piece sold earns most over the drum, as the table has it."""
    wanted = [row for row in stopping.rows if stopping.scarcity.buyer.get(row.earning.key)]
    best = max(wanted, key=_each, default=None)
    if best is None or _each(best) <= 0:
        return ""
    return _(
        "Of what is still to be filled, one more piece sold earns most as %(product)s, "
        "%(channel)s: about %(money)s."
    ) % {
        "product": best.earning.offer.product.name,
        "channel": best.earning.offer.channel_label,
        "money": words.money(cents_half_up(_each(best))),
    }


def _each(row: StoppingRow) -> Decimal:
    return row.earning.by(Measure.PIECE) or Decimal(0)


def _nothing_scarce(stopping: Stopping, until: str) -> str:
    verdicts = {row.verdict for row in stopping.rows}
    if Verdict.FILL in verdicts:
        return _("Nothing is scarce now: more of any one thing would hardly earn more.")
    if {Verdict.ENOUGH_READY, Verdict.DRUM_PAYS} <= verdicts:
        return _(
            "Nothing is scarce now: the drum brings as much or more, or what is ready is enough "
            "until %(day)s."
        ) % {"day": until}
    if Verdict.ENOUGH_READY in verdicts:
        return _("Nothing is scarce now: what is ready is enough until %(day)s.") % {"day": until}
    if Verdict.DRUM_PAYS in verdicts:
        return _("Nothing is scarce now: nothing that is costed earns more than the drum.")
    return _("What is scarce now is not known yet: of no product it is known how many will sell.")


def _limits(stopping: Stopping) -> Iterator[LimitSaid]:
    scarcity = stopping.scarcity
    needs = scarcity.needs

    def line(kind: Scarce, needed: str, there: str, sentence: str) -> LimitSaid:
        return LimitSaid(
            kind=kind,
            label=str(kind.label),
            needed=needed,
            there=there,
            tenth_cents=scarcity.tenth.get(kind),
            sentence=sentence,
            is_scarcest=stopping.scarcest == kind,
        )

    yield line(
        Scarce.HOURS,
        _hours(needs.minutes),
        _hours(scarcity.minutes),
        _one_more_hour(scarcity),
    )
    yield line(
        Scarce.HONEY,
        words.weight(round(needs.grams)),
        words.weight(scarcity.grams),
        " ".join(filter(None, (_one_more_unit(scarcity), _not_there_yet(stopping.tanks)))),
    )
    short = scarcity.parts_short
    yield line(
        Scarce.PARTS,
        ngettext("%(count)s kind", "%(count)s kinds", len(needs.parts))
        % {"count": len(needs.parts)},
        ngettext("too few of %(count)s kind", "too few of %(count)s kinds", len(short))
        % {"count": len(short)}
        if short
        else _("enough of each"),
        "; ".join(_too_few(row, needed) for row, needed in short),
    )
    yield line(
        Scarce.BUYERS,
        words.pieces(needs.pieces),
        _("the books can't tell"),
        _("All that is likely to sell and is not ready yet, where it earns more than the drum."),
    )
    tanks = stopping.tanks
    yield LimitSaid(
        kind=Scarce.TANKS,
        label=str(Scarce.TANKS.label),
        needed=_weight_or_unknown(tanks.expected_grams),
        there=_weight_or_unknown(tanks.room_grams),
        tenth_cents=None,
        sentence=_tanks(tanks),
        is_scarcest=stopping.scarcest == Scarce.TANKS,
    )


def _tanks(tanks: TankState) -> str:
    if tanks.expected_grams is None:
        return _(
            "There is no full year of harvests on record to tell what is expected. Type it below."
        )
    if tanks.short_grams is None:
        return _("The capacity of no tank is entered, so it is not known whether there is room.")
    return _("Empty drums and pails have room for %(room)s more.") % {
        "room": words.weight(tanks.other_room_grams)
    }


def _one_more_hour(scarcity: Scarcity) -> str:
    return _one_more(_("One more hour earns about %(money)s after its wage."), scarcity.hour)


def _one_more_unit(scarcity: Scarcity) -> str:
    return _one_more(
        in_words(_("One more {unit} earns about %(money)s more than in the drum.")), scarcity.pound
    )


def _not_there_yet(tanks: TankState) -> str:
    if not tanks.expected_grams:
        return ""
    return _("The %(much)s expected to come in meanwhile are not counted.") % {
        "much": words.weight(tanks.expected_grams)
    }


def _one_more(sentence: str, cents: int) -> str:
    return sentence % {"money": words.money(cents)} if cents else ""


def _weight_or_unknown(grams: int | None) -> str:
    return _("not known") if grams is None else words.weight(grams)


def _hours(minutes: Decimal) -> str:
    return _("%(hours)s h") % {"hours": words.number(round(minutes / HOUR_MINUTES, 1))}


def _day(day: date) -> str:
    return date_format(day, "DATE_FORMAT")
