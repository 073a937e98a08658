"""The answer to a bottling plan, as lines of money and sentences that a page can show.

Every line of money is rounded to the cent by itself, half a cent to the even one, and the total is
the sum of the lines: what is shown adds up. The search compares exact fractions, so a total may
differ from the exact value by less than a cent a line.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.planning import inputs, programme
from apiary_sales.planning.inputs import Books, Figures, Offer, PartNow, SizeNow, Vessel
from apiary_sales.planning.programme import Answer, Buyer, Limit, Plan, Programme, Rest
from apiary_sales.pricing.models import ChannelCost
from inventory.bottling.models import ContainerSize
from inventory.shared import words

# Nobody waits longer for one search than this.
SECONDS = 4.0


@dataclass(frozen=True)
class RunWanted:
    """One run of the plan: so many pieces of a size from a vessel."""

    vessel: Vessel
    container: ContainerSize
    pieces: int
    grams: int


@dataclass(frozen=True)
class BulkWanted:
    """Honey of one vessel to sell in drums, to the gram."""

    vessel: Vessel
    grams: int
    drums: int
    is_last_part_full: bool


@dataclass(frozen=True)
class PartWanted:
    """One part of the plan: what it uses, and what of it must be bought."""

    row: PartNow
    used: int
    bought: int


@dataclass(frozen=True)
class MoneyLine:
    """One line of what the plan earns; costs are negative."""

    kind: str
    label: str
    how: str
    cents: int


@dataclass(frozen=True)
class Statement:
    """What a plan earns, line by line."""

    lines: tuple[MoneyLine, ...]

    @property
    def total_cents(self) -> int:
        return sum(line.cents for line in self.lines)


@dataclass(frozen=True)
class Reason:
    """What one limit means for the plan, in words."""

    label: str
    there: str
    used: str
    sentence: str
    binds: bool
    # Buyers whom the jars that are ready serve already, or who want none.
    is_served: bool = False


@dataclass(frozen=True)
class Shown:
    """One plan with everything a page shows of it."""

    answer: Answer
    runs: tuple[RunWanted, ...]
    bulk: tuple[BulkWanted, ...]
    parts: tuple[PartWanted, ...]
    statement: Statement
    left_grams: int

    @property
    def pieces(self) -> int:
        return sum(run.pieces for run in self.runs)

    @property
    def bulk_grams(self) -> int:
        return sum(bulk.grams for bulk in self.bulk)

    @property
    def to_buy(self) -> list[PartWanted]:
        return [part for part in self.parts if part.bought]


@dataclass(frozen=True)
class Question:
    """The books, the figures a person left and what can be sold, made into one programme."""

    books: Books
    figures: Figures
    offers: tuple[Offer, ...]
    # All that each buyer takes, and what is left of it once the jars that are ready are sold.
    buyers: tuple[Buyer, ...]
    rest: Rest
    programme: Programme

    @classmethod
    def of(cls, books: Books, figures: Figures, offers: tuple[Offer, ...]) -> "Question":
        buyers = inputs.buyers_of(books, figures, offers)
        rest = programme.less_on_hand(buyers, books.ready)
        planned_for = inputs.programme_of(books, figures, rest.buyers)
        return cls(books, figures, offers, buyers, rest, planned_for)

    @property
    def vessel_of(self) -> dict[str, Vessel]:
        return {str(vessel.place.pk): vessel for vessel in self.books.vessels}

    @property
    def size_of(self) -> dict[str, SizeNow]:
        return {str(size.container.pk): size for size in self.books.sizes}

    @property
    def part_of(self) -> dict[str, PartNow]:
        return {str(row.part.pk): row for row in self.books.parts}

    @property
    def offer_of(self) -> dict[str, Offer]:
        return {offer.key: offer for offer in self.offers}

    def best(self, seconds: float = SECONDS) -> Answer:
        """Return the plan that earns most."""
        return programme.solve(self.programme, seconds=seconds)

    def all_drums(self) -> Shown:
        """Return the plan that bottles nothing."""
        plan = programme.all_in_drums(self.programme)
        return self.shown(Answer(plan, True, plan.cents))

    def as_before(self, pieces: Mapping[str, int], seconds: float = SECONDS) -> Shown | None:
        """Return the best plan that sells these pieces of each offer, as far as they are wanted.

        The jars that are ready are sold among them, and not filled again. None when honey, parts
        or hours do not allow it.
        """
        buyers = tuple(
            replace(buyer, pieces_max=min(pieces.get(buyer.key, 0), buyer.pieces_max))
            for buyer in self.buyers
        )
        rest = programme.less_on_hand(buyers, self.books.ready)
        sales = {buyer.key: buyer.pieces_max for buyer in rest.buyers}
        answer = programme.solve(self.programme, seconds=seconds, sales=sales)
        return None if answer is None else self.shown(answer)

    def obstacle(self) -> str:
        """Say in words why there is nothing to plan; empty when there is."""
        if not self.books.vessels:
            return _(
                "There is no free honey: every vessel is empty, promised, on hold or planned. "
                "Receive honey, or undo a planned run."
            )
        if not self.programme.honeys:
            return _("No honey was given to the plan. Enter how much of a vessel it may use.")
        bids = any(honey.bulk_grams for honey in self.programme.honeys)
        wanted = any(buyer.pieces_max for buyer in self.programme.buyers)
        if not bids and not self.books.sizes:
            return _("There are no sizes to fill and no drum prices. Set up one of the two.")
        if not bids and not wanted:
            return _(
                "Nobody buys: no pieces can be sold and no drum price fits the honey. "
                "Enter what you could sell, or a bid a pound."
            )
        return ""

    def notices(self) -> list[str]:
        """Name what is not known and was therefore counted as nothing."""
        told = []
        untimed = [
            size.container.name
            for size in self.books.sizes
            if not self.figures.minutes_each[size.container.pk]
        ]
        if untimed:
            told.append(
                _("Minutes of work are not known, and count as none: %(sizes)s.")
                % {"sizes": ", ".join(untimed)}
            )
        costless = [
            row.part.name for row in self.books.parts if not self.figures.part_costs[row.part.pk]
        ]
        if costless:
            told.append(
                _("Cost not entered, and counted as nothing: %(parts)s.")
                % {"parts": ", ".join(costless)}
            )
        partless = [size.container.name for size in self.books.sizes if not size.uses]
        if partless:
            told.append(
                _("No parts are listed, so none are counted: %(sizes)s.")
                % {"sizes": ", ".join(partless)}
            )
        unpriced = [
            _("%(size)s, %(channel)s")
            % {"size": offer.container.name, "channel": offer.channel_label}
            for offer in self.offers
            if self.figures.price_cents[offer.key] is None
        ]
        if unpriced:
            told.append(
                _("No price, so not planned for: %(offers)s.") % {"offers": "; ".join(unpriced)}
            )
        bidless = [
            vessel.place.name
            for vessel in self.books.vessels
            if self.figures.grams[vessel.place.pk] and self.figures.bids[vessel.place.pk] is None
        ]
        if bidless:
            told.append(
                _("No drum price fits, so none of it is sold in drums: %(vessels)s.")
                % {"vessels": ", ".join(bidless)}
            )
        if self.books.planned_runs:
            told.append(
                ngettext(
                    "%(count)s run is planned already. Its honey, parts and jars are set aside.",
                    "%(count)s runs are planned already. "
                    "Their honey, parts and jars are set aside.",
                    self.books.planned_runs,
                )
                % {"count": self.books.planned_runs}
            )
        return told

    def shown(self, answer: Answer) -> Shown:
        """Return a plan with its runs, drums, parts and lines of money."""
        plan = answer.plan
        used, bought = plan.parts_used, plan.parts_bought
        given = sum(honey.grams for honey in self.programme.honeys)
        return Shown(
            answer=answer,
            runs=tuple(
                RunWanted(
                    vessel=vessel,
                    container=size.container,
                    pieces=plan.pieces[key, size_key],
                    grams=plan.pieces[key, size_key] * self.figures.grams_each[size.container.pk],
                )
                for key, vessel in self.vessel_of.items()
                for size_key, size in self.size_of.items()
                if (key, size_key) in plan.pieces
            ),
            bulk=tuple(
                self._bulk(vessel, plan.drums[key])
                for key, vessel in self.vessel_of.items()
                if key in plan.drums
            ),
            parts=tuple(
                PartWanted(row, used[key], bought[key]) for key, row in self.part_of.items()
            ),
            statement=self.statement(plan),
            left_grams=floor(given - sum(plan.grams_used.values())),
        )

    def statement(self, plan: Plan) -> Statement:
        """Return the lines of money of a plan."""
        figures = self.figures
        lines, selling_cents = [], defaultdict(Fraction)
        for key, offer in self.offer_of.items():
            if count := plan.sold.get(key, 0):
                selling = inputs.jar_selling(self.books, figures, offer)
                selling_cents[offer.channel] += count * Fraction(selling.cost) * 100
                lines.append(
                    MoneyLine(
                        "jars",
                        _("%(size)s, %(channel)s")
                        % {"size": offer.container.name, "channel": offer.channel_label},
                        _count(count, words.money(figures.price_cents[key])),
                        count * figures.price_cents[key],
                    )
                )
        for key, vessel in self.vessel_of.items():
            if count := plan.drums.get(key, 0):
                selling = inputs.drum_selling(self.books, figures, vessel)
                pounds = count * inputs.bulk_grams(figures, vessel) / programme.POUND_GRAMS
                selling_cents[ChannelCost.Channel.BULK] += pounds * Fraction(selling.cost) * 100
                lines.append(
                    MoneyLine(
                        "drums",
                        _("Drums from %(vessel)s") % {"vessel": vessel.place.name},
                        _("%(pounds)s lb at %(price)s a pound")
                        % {
                            "pounds": _number(pounds, 0 if pounds.denominator == 1 else 1),
                            "price": words.unit_price(selling.price),
                        },
                        round(pounds * Fraction(selling.price) * 100),
                    )
                )
        for channel, cents in selling_cents.items():
            if cents:
                label = ChannelCost.Channel(channel).label
                lines.append(
                    MoneyLine(
                        "selling",
                        _("Cost of selling, %(channel)s") % {"channel": label},
                        _("discount, card fee, delivery"),
                        -round(cents),
                    )
                )
        return Statement((*lines, *self._part_lines(plan), *self._labour_lines(plan)))

    def reasons(self, limits: list[Limit]) -> list[Reason]:
        """Say of every limit whether it binds and what more of it is worth."""
        return [self._reason(limit) for limit in limits]

    def _bulk(self, vessel: Vessel, count: int) -> BulkWanted:
        if vessel.is_drum:
            return BulkWanted(vessel, self.figures.grams[vessel.place.pk], 1, False)
        grams = count * inputs.bulk_grams(self.figures, vessel)
        drums = -(-grams // self.figures.drum_grams)
        is_last_part_full = grams % self.figures.drum_grams != 0
        return BulkWanted(vessel, round(grams), drums, is_last_part_full)

    def _part_lines(self, plan: Plan) -> list[MoneyLine]:
        lines = []
        used, bought = plan.parts_used, plan.parts_bought
        for part in self.programme.parts:
            row = self.part_of[part.key]
            cost = words.unit_price(self.figures.part_costs[row.part.pk])
            to_buy = bought[part.key]
            from_stock = used[part.key] - to_buy
            if from_stock:
                each = _("nothing: paid already") if self.figures.is_stock_free else cost
                label = _("%(part)s, from stock") % {"part": row.part.name}
                cents = from_stock * part.stock_cents
                lines.append(MoneyLine("stock", label, _count(from_stock, each), -round(cents)))
            if to_buy:
                label = _("%(part)s, to buy") % {"part": row.part.name}
                cents = to_buy * part.order_cents
                lines.append(MoneyLine("buy", label, _count(to_buy, cost), -round(cents)))
        return lines

    def _labour_lines(self, plan: Plan) -> list[MoneyLine]:
        if not plan.labour_cents:
            return []
        how = _("%(hours)s hours at %(rate)s") % {
            "hours": _number(Fraction(plan.minutes_used) / programme.HOUR_MINUTES, 2),
            "rate": words.money(self.figures.labour_cents_per_hour),
        }
        return [MoneyLine("labour", _("Labour"), how, -round(plan.labour_cents))]

    def _reason(self, limit: Limit) -> Reason:
        label, amount, step = self._named(limit)
        return Reason(
            label=label,
            there=amount(limit.there),
            used=amount(limit.used),
            sentence=self._spare(limit) or _worth(limit, step),
            binds=limit.binds,
            is_served=limit.kind == "buyer" and not limit.there,
        )

    def _spare(self, limit: Limit) -> str:
        """Say what one more piece wanted brings while jars are ready for it; empty without."""
        if limit.kind != "buyer":
            return ""
        offer = self.offer_of[limit.key]
        spare = self.rest.spare.get(str(offer.container.pk), 0)
        if not spare:
            return ""
        selling = inputs.jar_selling(self.books, self.figures, offer)
        ready = ngettext(
            "%(count)s is ready or planned that nobody wants yet: one more piece wanted sells it, "
            "for %(worth)s after the cost of selling.",
            "%(count)s are ready or planned that nobody wants yet: one more piece wanted sells one "
            "of them, for %(worth)s after the cost of selling.",
            spare,
        ) % {
            "count": number_format(spare, 0, force_grouping=True),
            "worth": words.money(round(selling.net_cents)),
        }
        return f"{ready} {_worth(limit, _('Once they are sold, one more piece wanted'))}"

    def _named(self, limit: Limit):
        """Return the name of a limit, how its amounts are written, and the words for one more."""
        match limit.kind:
            case "minutes":
                return (
                    _("Hours of work"),
                    lambda minutes: (
                        _("%(hours)s h")
                        % {"hours": _number(Fraction(minutes) / programme.HOUR_MINUTES, 1)}
                    ),
                    _("One more hour"),
                )
            case "honey":
                vessel = self.vessel_of[limit.key]
                return (
                    _("Honey in %(vessel)s") % {"vessel": vessel.place.name},
                    lambda grams: words.pounds(round(grams)),
                    _("One more pound"),
                )
            case "part":
                part = self.part_of[limit.key].part
                return (part.name, words.pieces, _("One more in stock"))
        offer = self.offer_of[limit.key]
        return (
            _("Buyers of %(size)s, %(channel)s")
            % {"size": offer.container.name, "channel": offer.channel_label},
            words.pieces,
            _("One more piece wanted"),
        )


def _count(pieces: int, price: str) -> str:
    return _("%(pieces)s at %(price)s") % {"pieces": words.pieces(pieces), "price": price}


def _worth(limit: Limit, step: str) -> str:
    rate = words.money(round(limit.rate_cents))
    if limit.step_cents is None:
        if limit.rate_cents > 0:
            return _(
                "There was no time to work out what one more is worth; about %(rate)s each, "
                "if pieces could be parted."
            ) % {"rate": rate}
        return _("There was no time to work out what one more is worth.")
    if limit.step_cents > 0:
        worth = words.money(round(limit.step_cents))
        if round(limit.step_cents) == 0:
            worth = _("less than a cent")
        return _("%(step)s earns %(worth)s more.") % {"step": step, "worth": worth}
    if limit.rate_cents > 0:
        return _(
            "%(step)s alone earns nothing, since only whole pieces are filled and sold; "
            "of many more, each earns about %(rate)s."
        ) % {"step": step, "rate": rate}
    if limit.kind == "buyer" and not limit.left:
        return _(
            "%(step)s earns nothing: it can't be filled, or brings no more than its honey does "
            "otherwise."
        ) % {"step": step}
    return _("%(step)s earns nothing: there is enough.") % {"step": step}


def _number(number: Fraction, decimals: int) -> str:
    exact = round(number, decimals)
    return number_format(float(exact), decimals, force_grouping=True)
