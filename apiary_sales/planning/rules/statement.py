"""What a plan does and earns, line by line.

Every line of money is rounded to the cent by itself, half a cent to the even one, and the total is
the sum of the lines: what is shown adds up. The search compares exact fractions, so a total may
differ from the exact value by less than a cent a line.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.planning.programme import HOUR_MINUTES, Answer, Plan
from apiary_sales.planning.rules.books import PartState, VesselState
from apiary_sales.planning.rules.figures import Bulk, bulk_grams
from apiary_sales.planning.rules.question import Question
from apiary_sales.pricing.models import ChannelCost
from inventory.bottling.models import Product
from inventory.shared import words
from inventory.shared.weights import unit_grams, unit_name, unit_word


@dataclass(frozen=True)
class RunWanted:
    """One run of the plan: so many pieces of a product from a vessel."""

    vessel: VesselState
    product: Product
    pieces: int
    grams: int


@dataclass(frozen=True)
class BulkWanted:
    """Honey to sell in drums, to the gram: from one vessel, or of drums that are sold unopened."""

    vessels: tuple[VesselState, ...]
    grams: int
    drums: int
    is_last_part_full: bool

    @property
    def named(self) -> str:
        """The vessels with their lots."""
        return "; ".join(
            _("%(vessel)s, lot %(lot)s") % {"vessel": vessel.place.name, "lot": vessel.lot.code}
            for vessel in self.vessels
        )


@dataclass(frozen=True)
class PartWanted:
    """One part of the plan: what it uses, and what of it must be bought."""

    row: PartState
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
class PlanStatement:
    """What a plan earns, line by line."""

    lines: tuple[MoneyLine, ...]

    @property
    def total_cents(self) -> int:
        return sum(line.cents for line in self.lines)


@dataclass(frozen=True)
class PlanOutcome:
    """One plan with everything a page shows of it."""

    answer: Answer
    runs: tuple[RunWanted, ...]
    bulk: tuple[BulkWanted, ...]
    parts: tuple[PartWanted, ...]
    statement: PlanStatement
    left_grams: int

    @property
    def pieces(self) -> int:
        return sum(run.pieces for run in self.runs)

    @property
    def bulk_grams(self) -> int:
        return sum(bulk.grams for bulk in self.bulk)

    @property
    def fills_any_honey(self) -> bool:
        """Whether it fills products that say nothing of the variety of their honey."""
        return any(run.product.variety_id is None for run in self.runs)

    @property
    def to_buy(self) -> list[PartWanted]:
        return [part for part in self.parts if part.bought]


def outcome(question: Question, answer: Answer) -> PlanOutcome:
    """Return a plan with its runs, drums, parts and lines of money."""
    plan = answer.plan
    used, bought = plan.parts_used, plan.parts_bought
    given = sum(honey.grams for honey in question.programme.honeys)
    return PlanOutcome(
        answer=answer,
        runs=tuple(
            RunWanted(
                vessel=vessel,
                product=each.product,
                pieces=plan.pieces[vessel.key, each.key],
                grams=plan.pieces[vessel.key, each.key]
                * question.figures.grams_each[each.product.pk],
            )
            for vessel in question.books.vessels
            for each in question.books.products
            if (vessel.key, each.key) in plan.pieces
        ),
        bulk=tuple(_bulk(question, plan)),
        parts=tuple(
            PartWanted(row, used[row.key], bought[row.key]) for row in question.books.parts
        ),
        statement=statement(question, plan),
        left_grams=floor(given - sum(plan.grams_used.values())),
    )


def statement(question: Question, plan: Plan) -> PlanStatement:
    """Return the lines of money of a plan."""
    return PlanStatement(
        (
            *_jar_lines(question, plan),
            *_drum_lines(question, plan),
            *_selling_lines(question, plan),
            *_part_lines(question, plan),
            *_labour_lines(question, plan),
        )
    )


def number(figure: Fraction, decimals: int) -> str:
    exact = round(figure, decimals)
    return number_format(float(exact), decimals, force_grouping=True)


def _bulk(question: Question, plan: Plan) -> Iterator[BulkWanted]:
    for vessels in _standing(question, plan):
        grams = sum(question.figures.grams[vessel.place.pk] for vessel in vessels)
        yield BulkWanted(vessels, grams, len(vessels), False)
    full = question.figures.drum_grams
    for vessel, drawn in _drawn_in_bulk(question, plan):
        yield BulkWanted((vessel,), round(drawn), ceil(drawn / full), drawn % full != 0)


def _standing(question: Question, plan: Plan) -> list[tuple[VesselState, ...]]:
    """Return the drums that are sold unopened, those of one price together."""
    found: dict[Decimal, list[VesselState]] = defaultdict(list)
    for vessel in question.books.vessels:
        is_one_unit = vessel.is_drum and question.figures.bulk == Bulk.DRUMS
        if vessel.key in plan.whole or (is_one_unit and vessel.key in plan.drums):
            found[question.drums[vessel.key].price].append(vessel)
    return [tuple(vessels) for vessels in found.values()]


def _drawn_in_bulk(question: Question, plan: Plan) -> Iterator[tuple[VesselState, Fraction]]:
    """Yield what is drawn from vessels to be sold in bulk, in grams."""
    standing = {vessel.key for vessels in _standing(question, plan) for vessel in vessels}
    for vessel in question.books.vessels:
        if (count := plan.drums.get(vessel.key, 0)) and vessel.key not in standing:
            yield vessel, count * Fraction(bulk_grams(question.figures, vessel))


def _jar_lines(question: Question, plan: Plan) -> Iterator[MoneyLine]:
    for offer in question.books.offers:
        if count := plan.sold.get(offer.key, 0):
            label = _("%(product)s, %(channel)s") % {
                "product": offer.product.name,
                "channel": offer.channel_label,
            }
            cents_each = question.jars[offer.key].price_cents
            how = _count(count, words.money(cents_each))
            yield MoneyLine("jars", label, how, count * cents_each)


def _drum_lines(question: Question, plan: Plan) -> Iterator[MoneyLine]:
    for vessels in _standing(question, plan):
        grams = sum(question.figures.grams[vessel.place.pk] for vessel in vessels)
        if len(vessels) == 1:
            label = _("Drum as it is: %(vessel)s") % {"vessel": vessels[0].place.name}
        else:
            label = ngettext(
                "%(count)s drum as it is", "%(count)s drums as they are", len(vessels)
            ) % {"count": len(vessels)}
        yield _drum_line(question, vessels[0], label, Fraction(grams))
    for vessel, drawn in _drawn_in_bulk(question, plan):
        label = _("Drums from %(vessel)s") % {"vessel": vessel.place.name}
        yield _drum_line(question, vessel, label, drawn)


def _drum_line(question: Question, vessel: VesselState, label: str, grams: Fraction) -> MoneyLine:
    price, pounds = question.drums[vessel.key].price, grams / Fraction(unit_grams())
    how = _("%(weight)s %(lb)s at %(price)s a %(unit)s") % {
        "weight": number(pounds, 0 if pounds.denominator == 1 else 1),
        "lb": unit_word(),
        "price": words.unit_price(price),
        "unit": unit_name(),
    }
    return MoneyLine("drums", label, how, round(pounds * Fraction(price) * 100))


def _selling_lines(question: Question, plan: Plan) -> Iterator[MoneyLine]:
    """Yield what selling takes, channel by channel."""
    cents_of: dict[str, Fraction] = defaultdict(Fraction)
    for offer in question.books.offers:
        if count := plan.sold.get(offer.key, 0):
            cents_of[offer.channel] += count * Fraction(question.jars[offer.key].cost) * 100
    in_bulk = [
        *_drawn_in_bulk(question, plan),
        *(
            (vessel, Fraction(question.figures.grams[vessel.place.pk]))
            for vessels in _standing(question, plan)
            for vessel in vessels
        ),
    ]
    for vessel, sold in in_bulk:
        cost = Fraction(question.drums[vessel.key].cost)
        cents_of[ChannelCost.Channel.BULK] += sold / Fraction(unit_grams()) * cost * 100
    for channel, cents in cents_of.items():
        if cents:
            label = _("Cost of selling, %(channel)s") % {
                "channel": ChannelCost.Channel(channel).label
            }
            yield MoneyLine("selling", label, _how_selling_costs(question), -round(cents))


def _how_selling_costs(question: Question) -> str:
    book = question.books.costs
    if book.bulk_tax_percent or any(book.tax_percents.values()):
        return _("tax in the price, discount, card fee, delivery")
    return _("discount, card fee, delivery")


def _part_lines(question: Question, plan: Plan) -> Iterator[MoneyLine]:
    figures, part_of = question.figures, question.part_of
    used, bought = plan.parts_used, plan.parts_bought
    for part in question.programme.parts:
        row = part_of[part.key]
        cost = words.unit_price(figures.part_costs[row.part.pk])
        to_buy = bought[part.key]
        from_stock = used[part.key] - to_buy
        if from_stock:
            each = _("no cost, already paid") if figures.is_stock_free else cost
            label = _("%(part)s, from stock") % {"part": row.part.name}
            cents = from_stock * part.stock_cents
            yield MoneyLine("stock", label, _count(from_stock, each), -round(cents))
        if to_buy:
            label = _("%(part)s, to buy") % {"part": row.part.name}
            cents = to_buy * part.order_cents
            yield MoneyLine("buy", label, _count(to_buy, cost), -round(cents))


def _labour_lines(question: Question, plan: Plan) -> Iterator[MoneyLine]:
    if plan.labour_cents:
        how = _("%(hours)s hours at %(rate)s") % {
            "hours": number(Fraction(plan.minutes_used) / HOUR_MINUTES, 2),
            "rate": words.money(question.figures.labour_cents_per_hour),
        }
        yield MoneyLine("labour", _("Labour"), how, -round(plan.labour_cents))
    if plan.set_up_cents:
        each = words.money(question.figures.cents_per_run)
        how = ngettext("%(count)s run at %(cost)s", "%(count)s runs at %(cost)s", len(plan.pieces))
        how = how % {"count": len(plan.pieces), "cost": each}
        yield MoneyLine("set_up", _("Setting up runs"), how, -round(plan.set_up_cents))


def _count(pieces: int, price: str) -> str:
    return _("%(pieces)s at %(price)s") % {"pieces": words.pieces(pieces), "price": price}
