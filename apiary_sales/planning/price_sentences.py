"""The answer to a tried price in words, the point first."""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.planning.price_answer import PriceAnswer
from apiary_sales.planning.rules import price_try
from apiary_sales.planning.rules.price_try import BreakEven, PriceOutcome, PriceTrial
from apiary_sales.pricing.rules import price_changes
from inventory.shared import words
from inventory.shared.templatetags.quantities import signed

# An elasticity holds for small changes (common practice, from memory); beyond this it is a guess.
FAR_PERCENT = 30


@dataclass(frozen=True)
class PriceCase:
    """One row of the table: what happens, what its elasticity means, and how much more it earns."""

    outcome: PriceOutcome
    name: str
    said: str
    more_cents: int | None


def verdict(answer: PriceAnswer) -> str:
    """Say in one sentence what the tried price most likely earns, and between what and what."""
    trial = answer.trial
    if not trial.is_changed:
        return _("With this rounding no price changes.")
    if not any(line.is_known for line in answer.lines):
        return _(
            "Nothing of this has all its costs entered, so what it earns is not known. Only pieces "
            "and takings are shown."
        )
    more = [trial.more_cents(each) for each in trial.tried]
    likely = _than(trial.more_cents(trial.likely))
    if min(more) == max(more):
        return _("You would earn %(likely)s at today's prices.") % {"likely": likely}
    return _(
        "Most likely you would earn %(likely)s at today's prices; between %(lowest)s and "
        "%(highest)s, depending on how much buyers react."
    ) % {
        "likely": likely,
        "lowest": _than(min(more), short=True),
        "highest": _than(max(more), short=True),
    }


def sentences(answer: PriceAnswer) -> list[str]:
    """Say the rest: pieces, the break-even, the honey, and what is not in it."""
    trial = answer.trial
    if not trial.is_changed:
        return []
    told = [
        *_real_change(trial),
        _(
            "You would sell %(likely)s instead of %(now)s: %(least)s if buyers react least, "
            "%(most)s if they react most."
        )
        % {
            "now": words.number(trial.now.pieces),
            "likely": words.pieces(trial.likely.pieces),
            "least": words.number(trial.least.pieces),
            "most": words.number(trial.most.pieces),
        },
        *_break_even(answer, trial.break_even),
        *_drums(answer),
        *_supply(answer),
        *_coming(answer),
    ]
    return told


def left_out(answer: PriceAnswer) -> list[str]:
    """Say what is not in the figures, and how much it is."""
    told = []
    now = answer.trial.now
    if now.unknown_pieces:
        told.append(
            _(
                "The margin leaves out %(pieces)s with %(cents)s of today's takings (%(percent)s %%"
                "), because a cost is not entered: %(what)s."
            )
            % {
                "pieces": words.pieces(now.unknown_pieces),
                "cents": words.money(now.unknown_cents),
                "percent": words.number(round(Decimal(now.unknown_cents) * 100 / _all(now))),
                "what": "; ".join(
                    f"{line.product.name}, {line.channel_label}: {', '.join(line.missing)}"
                    for line in answer.unknown_lines
                ),
            }
        )
    if not answer.books.book.labour_cents_per_hour:
        told.append(
            _("Not known, and counted as zero: %(names)s.")
            % {"names": _("the cost of an hour of work")}
        )
    if later := answer.days_of_later_prices:
        told.append(
            ngettext(
                "%(count)s of these prices is set for later already, on %(day)s. It is not in the "
                "figures.",
                "%(count)s of these prices are set for later already, from %(day)s on. They are "
                "not in the figures.",
                len(later),
            )
            % {"count": len(later), "day": date_format(later[0])}
        )
    first, period = answer.books.first_sale, answer.books.period
    if first and first > period.first:
        told.append(
            _("Sales are known from %(first)s on, so the time before it is not in the pieces.")
            % {"first": date_format(first)}
        )
    if answer.unpriced_pieces:
        told.append(
            _("Without a price in today's lists, and left out: %(pieces)s.")
            % {"pieces": words.pieces(answer.unpriced_pieces)}
        )
    if answer.books.other_pieces and not answer.wish.products:
        told.append(
            _("Other goods and gift boxes have no costs of filling and are left out: %(pieces)s.")
            % {"pieces": words.pieces(answer.books.other_pieces)}
        )
    honey = answer.books.honey
    if honey.on_hold:
        told.append(
            _("Honey on hold is not counted on: %(much)s.") % {"much": words.weight(honey.on_hold)}
        )
    if honey.too_moist:
        told.append(
            _("Honey above your limit of moisture, or not measured, is not counted on: %(much)s.")
            % {"much": words.weight(honey.too_moist)}
        )
    return told


def cases(answer: PriceAnswer) -> list[PriceCase]:
    """Return today's prices and the three cases, each with what its elasticity means."""
    trial = answer.trial
    names = {
        "now": _("Today's prices"),
        "least": _("Buyers react least"),
        "likely": _("Most likely"),
        "most": _("Buyers react most"),
    }
    found = []
    for outcome in trial.all:
        said, more = "", None
        if outcome.elasticity is not None:
            said = _("%(elasticity)s: %(fewer)s") % {
                "elasticity": words.number(outcome.elasticity).replace("-", "−"),
                "fewer": _fewer(price_try.fewer_percent(trial.price_ratio, outcome.elasticity)),
            }
            more = trial.more_cents(outcome) if outcome.known_cents else None
        found.append(PriceCase(outcome, names[outcome.name], said, more))
    return found


def _real_change(trial: PriceTrial) -> list[str]:
    percent = price_changes.real_percent(Decimal(1), trial.price_ratio) or Decimal(0)
    told = [
        _("With the rounding prices really change by %(percent)s %%, weighted by these sales.")
        % {"percent": signed(percent, 2)}
    ]
    if abs(percent) > FAR_PERCENT:
        told.append(
            _(
                "That is far from the prices you have sold at, so what buyers would do is a guess. "
                "Try a smaller change first."
            )
        )
    return told


def _break_even(answer: PriceAnswer, found: BreakEven) -> list[str]:
    if not any(line.is_known for line in answer.lines):
        return []
    told = []
    if found.percent is None:
        told.append(
            _("However many more are sold, you earn less than at today's prices.")
            if found.is_hopeless
            else _("However many fewer are sold, you earn no less than at today's prices.")
        )
    else:
        wanted = sum(line.pieces for line in answer.lines)
        if not answer.trial.now.short_pieces:
            said = (
                _(
                    "If more than %(percent)s %% fewer are sold, you earn less than at today's "
                    "prices."
                )
                if found.percent >= 0
                else _("Unless at least %(percent)s %% more are sold, you earn less than now.")
            )
        else:
            said = (
                _(
                    "If buyers take more than %(percent)s %% fewer than the %(wanted)s of that "
                    "time, you earn less than at today's prices."
                )
                if found.percent >= 0
                else _(
                    "Unless buyers take at least %(percent)s %% more than the %(wanted)s of that "
                    "time, you earn less than now."
                )
            )
        told.append(
            said % {"percent": words.number(abs(found.percent)), "wanted": words.number(wanted)}
        )
        if found.is_beyond_honey:
            told.append(_("The honey there is for these products is not enough for so many."))
        if found.elasticity is not None:
            told.append(
                _("That is an elasticity of %(elasticity)s.")
                % {"elasticity": signed(found.elasticity, 2)}
            )
    if answer.drum_net is None:
        told.append(_("This counts the honey that is not sold in jars with nothing."))
    return [" ".join(told)]


def _drums(answer: PriceAnswer) -> list[str]:
    likely = answer.trial.likely
    much = words.weight(abs(round(likely.drum_grams)))
    if not round(likely.drum_grams):
        return []
    if answer.drum_price is None or likely.drum_cents is None:
        return [
            _(
                "There is no drum price, so it is not known what the %(much)s bring that go into "
                "drums instead of jars; they are in no sum here. Enter a drum price below."
            )
            % {"much": much}
            if likely.drum_grams > 0
            else _(
                "There is no drum price, so it is not known what the %(much)s would have brought "
                "that go into jars instead of drums. Enter a drum price below."
            )
            % {"much": much}
        ]
    figures = {
        "much": much,
        "price": words.price_by_weight(answer.drum_price),
        "cents": words.money(abs(likely.drum_cents)),
    }
    if likely.drum_grams > 0:
        return [
            _(
                "Honey that is not sold in jars goes into drums at %(price)s, less the cost of "
                "selling: most likely %(much)s, which bring %(cents)s."
            )
            % figures
        ]
    return [
        _(
            "The jars take honey that would go into drums at %(price)s, less the cost of selling: "
            "most likely %(much)s, which would bring %(cents)s."
        )
        % figures
    ]


def _supply(answer: PriceAnswer) -> list[str]:
    trial = answer.trial
    figures = {"much": words.weight(answer.supply_grams)}
    if trial.now.short_pieces:
        return [
            ngettext(
                "The honey there is for these products (%(much)s, after what others take) is not "
                "enough even for what was sold: %(count)s piece is short at today's prices. No "
                "more is counted than can be filled.",
                "The honey there is for these products (%(much)s, after what others take) is not "
                "enough even for what was sold: %(count)s pieces are short at today's prices. No "
                "more is counted than can be filled.",
                trial.now.short_pieces,
            )
            % {**figures, "count": words.number(trial.now.short_pieces)}
        ]
    short = max(outcome.short_pieces for outcome in trial.tried)
    if short:
        return [
            ngettext(
                "The honey there is for these products (%(much)s) is not enough for all that "
                "buyers would take: up to %(count)s piece is short, and is not counted.",
                "The honey there is for these products (%(much)s) is not enough for all that "
                "buyers would take: up to %(count)s pieces are short, and are not counted.",
                short,
            )
            % {**figures, "count": words.number(short)}
        ]
    return [
        _("The honey there is for these products, %(much)s and the jars ready, is enough.")
        % figures
    ]


def _coming(answer: PriceAnswer) -> list[str]:
    """Say what is counted of the honey that still comes in, where nobody typed it."""
    if answer.wish.coming_grams is not None:
        return []
    if answer.coming_grams is None:
        return [
            _(
                "No new honey is counted: there is no full year of harvests on record. Type below "
                "what still comes in."
            )
        ]
    return [
        _(
            "That counts %(much)s that are likely to come in until %(day)s, the average of "
            "earlier years."
        )
        % {
            "much": words.weight(answer.coming_grams),
            "day": date_format(answer.books.coming.last),
        }
    ]


def _than(cents: int, *, short: bool = False) -> str:
    if not cents:
        return _("as much") if short else _("as much as")
    figures = {"cents": words.money(abs(cents))}
    if short:
        return (_("%(cents)s more") if cents > 0 else _("%(cents)s less")) % figures
    return (_("%(cents)s more than") if cents > 0 else _("%(cents)s less than")) % figures


def _fewer(percent: Decimal) -> str:
    if not percent:
        return _("as many")
    said = _("%(percent)s %% fewer") if percent > 0 else _("%(percent)s %% more")
    return said % {"percent": words.number(abs(percent))}


def _all(outcome: PriceOutcome) -> int:
    return outcome.takings_cents or 1
