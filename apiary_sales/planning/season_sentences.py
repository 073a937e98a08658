"""What the page of the season plan says in sentences: the answers first, then what they rest on."""

from collections import defaultdict
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.planning.rules.season import MONTHS_KNOWN_MIN, SeasonQuestion
from apiary_sales.planning.season import expect
from apiary_sales.planning.season_answer import (
    SAFE,
    FillAdvice,
    PartAdvice,
    SeasonAnswer,
    SeasonMonth,
    StockOut,
)
from inventory.shared import words
from inventory.shared.weights import unit_grams, unit_name

# Below this a scarce thing is not worth a word.
CENTS_SAID = 10
# The next orders; later ones are in a table.
ORDERS_SAID, PARTS_SAID = 3, 5
VESSELS_SAID = 8


def month_name(month: date) -> str:
    return date_format(month, "YEAR_MONTH_FORMAT")


def drums(answer: SeasonAnswer) -> list[str]:
    """Say how many drums to sell now, and at no less than what."""
    advice = answer.drums
    if advice is None:
        return [
            _(
                "Drums: no honey that may be used has a price in drums. Enter drum prices to see "
                "what to sell."
            )
        ]
    month = month_name(answer.months[0])
    if not advice.drums:
        kind = advice.kinds[0]
        figures = {
            "month": month,
            "least": words.price_by_weight(kind.least_price),
            "list": words.price_by_weight(kind.price),
        }
        takes = advice.takes_grams
        if takes is not None and takes < advice.drum_grams:
            return [
                _(
                    "Sell no full drum in %(month)s: by the limit below, drum buyers take less "
                    "than a drum of %(drum)s."
                )
                % {"month": month, "drum": words.weight(advice.drum_grams, 0)}
            ]
        if kind.least_price > kind.price:
            return [
                _(
                    "Sell no drums in %(month)s: the honey brings more if you keep it than the "
                    "list price of %(list)s. Sell a drum only at %(least)s or more."
                )
                % figures
            ]
        return [
            _(
                "Sell no full drum in %(month)s. A drum that is kept brings about %(least)s; the "
                "list price is %(list)s."
            )
            % figures
        ]
    told = [
        ngettext(
            "Sell %(drums)s drum in %(month)s at no less than %(least)s (list price: %(list)s).",
            "Sell %(drums)s drums in %(month)s at no less than %(least)s (list price: %(list)s).",
            kind.drums,
        )
        % {
            "drums": kind.drums,
            "month": month,
            "least": words.price_by_weight(kind.least_price),
            "list": words.price_by_weight(kind.price),
        }
        + " "
        + _("Such honey is in %(vessels)s.") % {"vessels": _some(kind.vessels, VESSELS_SAID)}
        for kind in advice.kinds
    ]
    told.append(
        _("That is %(weight)s, counted in drums of %(drum)s.")
        % {
            "weight": words.weight(advice.grams, 0),
            "drum": words.weight(advice.drum_grams, 0),
        }
    )
    if not answer.question.problem.storage_cents and not answer.question.problem.growth:
        told.append(
            _(
                "No cost of storage and no interest is typed, so honey that no jar needs could as "
                "well be sold later at the same price."
            )
        )
    if advice.is_limited:
        told.append(_("Drum buyers take no more by the limit below; with more buyers, sell more."))
    return told


def fills(answer: SeasonAnswer) -> list[str]:
    """Say what to bottle this month."""
    month = month_name(answer.months[0])
    if not answer.question.problem.outlets:
        return [_("No product has prices and known sales, so nothing is planned to be filled.")]
    if not answer.fills:
        return [
            _("Bottle nothing in %(month)s: by these figures no more jars pay this month.")
            % {"month": month}
        ]
    whole = [each for each in answer.fills if each.cases]
    less = [each for each in answer.fills if not each.cases and not each.is_wanted_now]
    soon = [each for each in answer.fills if not each.cases and each.is_wanted_now]
    told = []
    if whole:
        told.append(
            _("Bottle in %(month)s: %(pieces)s.")
            % {"month": month, "pieces": _listed([_filled(each) for each in whole])}
        )
    else:
        told.append(_("Bottle no full case in %(month)s.") % {"month": month})
    if soon:
        told.append(
            _("Less than a case, but the jars on hand will not do for this month: %(pieces)s.")
            % {"pieces": _listed([_filled(each) for each in soon])}
        )
    if less:
        told.append(
            _("Less than a case, so it can wait for a larger run: %(pieces)s.")
            % {"pieces": _listed([_filled(each) for each in less])}
        )
    return told


def _filled(each: FillAdvice) -> str:
    return _("%(pieces)s of %(product)s") % {
        "pieces": words.pieces(each.pieces),
        "product": each.product.name,
    }


def orders(answer: SeasonAnswer) -> list[str]:
    """Say which parts to order, by which day."""
    if not answer.orders:
        if answer.question.parts_unlisted and not answer.question.books.parts:
            return [_("Parts: no product has its parts listed, so nobody knows what to order.")]
        return [_("Parts: those in stock are enough for this plan.")]
    # Where no day is known, the month in which the parts are needed stands in for it.
    by_day: dict[tuple[date | None, str], list[PartAdvice]] = defaultdict(list)
    for each in answer.orders:
        by_day[each.by, "" if each.by else month_name(each.needed)].append(each)
    told = []
    for (by, month), rows in list(by_day.items())[:ORDERS_SAID]:
        parts = _some(
            tuple(
                _("%(pieces)s of %(part)s")
                % {"pieces": words.pieces(row.pieces), "part": row.part.name}
                for row in sorted(rows, key=lambda row: -row.pieces)
            ),
            PARTS_SAID,
        )
        if by is None:
            told.append(
                _("Order in time for %(month)s: %(parts)s.") % {"month": month, "parts": parts}
            )
        elif by <= answer.question.books.on:
            told.append(_("Order today: %(parts)s.") % {"parts": parts})
        else:
            told.append(
                _("Order by %(day)s: %(parts)s.")
                % {"day": date_format(by, "DATE_FORMAT"), "parts": parts}
            )
    if len(by_day) > ORDERS_SAID:
        told.append(_("What is to be ordered later is in the table of parts."))
    if any(each.by is None for each in answer.orders):
        told.append(
            _("How long parts take to arrive is not known for all; enter it with each part.")
        )
    return told


def stock_outs(answer: SeasonAnswer) -> list[str]:
    """Say which jars run out when, and how likely that is, by the jars on hand and by the plan."""
    rows = [row for row in answer.stock_outs if row.likely_by is not None]
    if not answer.stock_outs:
        return [_("No product has sales by the month from which its demand could be told.")]
    if not rows:
        return [_("The jars on hand are likely to last until the next harvest.")]
    told = [_stock_out(row) for row in rows[:3]]
    if len(rows) > 3:
        told.append(
            ngettext(
                "%(count)s more product is likely to run out; see the table.",
                "%(count)s more products are likely to run out; see the table.",
                len(rows) - 3,
            )
            % {"count": len(rows) - 3}
        )
    risky = [
        row
        for row in answer.stock_outs
        if row.most_with_plan is not None and row.most_with_plan.with_plan > SAFE
    ]
    if not risky:
        told.append(_("With this plan no product has a chance above 10 % to be sold out."))
    return told


def _stock_out(row: StockOut) -> str:
    most, likely = row.most_with_plan, row.likely_by
    day = row.likely_on
    if most is None or likely is None or day is None:
        return ""
    if not row.ready:
        return _(
            "%(product)s: none on hand. With this plan, the chance to be sold out is at most "
            "%(planned)s %% (at the end of %(worst)s)."
        ) % {
            "product": row.product.name,
            "planned": most.with_plan_percent,
            "worst": month_name(most.month),
        }
    return _(
        "%(product)s: %(ready)s on hand last until about %(day)s. The chance that they are gone by "
        "the end of %(month)s is %(chance)s %%. With this plan, the chance to be sold out is at "
        "most %(planned)s %% (at the end of %(worst)s)."
    ) % {
        "product": row.product.name,
        "ready": words.pieces(row.ready),
        "day": date_format(day, "DATE_FORMAT"),
        "chance": likely.on_hand_percent,
        "month": month_name(likely.month),
        "planned": most.with_plan_percent,
        "worst": month_name(most.month),
    }


def room(answer: SeasonAnswer) -> list[str]:
    """Say whether the next harvest finds room."""
    tightest = answer.tightest_room
    if tightest is None:
        if answer.question.harvest.seasons == 0 and not answer.question.harvest.total:
            return [_("Room at harvest: by what you typed, there is no harvest.")]
        if answer.question.harvest.first is None:
            return [_("Room at harvest: no harvest is known or typed, so it is not worked out.")]
        return [_("Room at harvest: the capacity of the vessels is not known. Type it below.")]
    figures = {
        "month": month_name(tightest.month),
        "grams": words.weight(tightest.grams, 0),
        "room": words.weight(tightest.room_grams, 0),
        "over": words.weight(tightest.over_grams, 0),
        "chance": tightest.percent,
    }
    if tightest.over_grams:
        told = _(
            "Room is short at harvest: at the end of %(month)s about %(over)s have no vessel. Sell "
            "more before, or get drums."
        )
    else:
        told = _(
            "At the end of %(month)s, after the harvest, about %(grams)s are in vessels that hold "
            "%(room)s."
        )
    if tightest.chance is not None:
        told += " " + _("The chance that all of it fits is %(chance)s %%.")
    else:
        told += " " + _("How much harvests differ is not known, so there is no chance to tell.")
    return [told % figures]


def scarce(answer: SeasonAnswer) -> list[str]:
    """Say what is scarce, and what one more of it would earn."""
    told = []
    work = _dearest(answer, "hour_cents")
    if work is not None:
        told.append(
            _("Work is scarce in %(month)s: one more hour would earn %(cents)s.")
            % {"month": month_name(work.month), "cents": words.money(work.hour_cents)}
        )
    buyers = _dearest(answer, "pound_cents")
    if buyers is not None:
        told.append(
            _("Drum buyers are scarce in %(month)s: one more %(unit)s sold would earn %(cents)s.")
            % {
                "month": month_name(buyers.month),
                "unit": unit_name(),
                "cents": words.money(buyers.pound_cents),
            }
        )
    rooms = _dearest(answer, "room_cents")
    if rooms is not None:
        told.append(
            _("Room is scarce in %(month)s: room for one %(unit)s more would earn %(cents)s.")
            % {
                "month": month_name(rooms.month),
                "unit": unit_name(),
                "cents": words.money(rooms.room_cents),
            }
        )
    advice = answer.drums
    if advice is not None and advice.drums and buyers is not None:
        told.append(
            _("Honey is not scarce: drum buyers do not take all that the jars do not need.")
        )
    elif advice is not None and advice.drums:
        told.append(_("Honey is not scarce: what the jars do not need is sold in drums."))
    elif advice is not None:
        kind = advice.kinds[0]
        if kind.least_price > kind.price:
            told.append(
                _(
                    "Honey is scarce: kept for jars or for later, it brings more than the drum "
                    "price of %(price)s."
                )
                % {"price": words.price_by_weight(kind.price)}
            )
    for row in answer.question.books.parts:
        cents = answer.plan.part_cents.get(row.key, 0.0)
        over = cents - (row.cents or 0.0)
        if over >= CENTS_SAID:
            told.append(
                _(
                    "%(part)s: more would be of use before ordered ones arrive. One more now would "
                    "earn %(cents)s."
                )
                % {"part": row.part.name, "cents": words.money(round(cents))}
            )
    return told or [_("Nothing is scarce in this plan.")]


def _dearest(answer: SeasonAnswer, name: str) -> SeasonMonth | None:
    rows = [row for row in answer.month_rows if getattr(row, name) >= CENTS_SAID]
    return max(rows, key=lambda row: getattr(row, name), default=None)


def left_out(question: SeasonQuestion) -> list[str]:
    """Say what the plan leaves out or counts as zero, and why."""
    books = question.books
    told = []
    by_reason: dict[str, list[str]] = defaultdict(list)
    for honey in books.left_honey:
        by_reason[honey.because].append(f"{honey.name} ({words.weight(honey.grams, 0)})")
    for because, names in by_reason.items():
        told.append(
            _("Honey left out, %(because)s: %(names)s.")
            % {"because": because, "names": ", ".join(names)}
        )
    priceless = sorted({honey.name for honey in books.honeys if honey.price is None})
    if priceless:
        told.append(
            _("No drum price fits the honey in %(names)s, so it is only bottled.")
            % {"names": ", ".join(priceless)}
        )
    named = [
        (_("Not planned, because there is no price: %(names)s."), books.priceless),
        (
            _(
                "Not planned, because fewer than %(least)s whole months of sales are known: "
                "%(names)s."
            ),
            books.too_new,
        ),
        (_("Not planned, because comb is needed too: %(names)s."), books.other_forms),
        (
            _("Some months have no earlier year; the average of all months stands in: %(names)s."),
            question.guessed,
        ),
        (
            _("Minutes of work are not known and count as zero: %(names)s."),
            question.minutes_unknown,
        ),
        (
            _("No parts are listed for these products, so their parts are left out: %(names)s."),
            question.parts_unlisted,
        ),
        (
            _("The cost of parts is not known and counts as zero: %(names)s."),
            tuple(part.name for part in question.parts_unknown),
        ),
        (
            _(
                "How long they take to arrive is not known, so they count as there at once: "
                "%(names)s."
            ),
            tuple(row.part.name for row in books.parts if row.part.lead_time_days is None),
        ),
        (
            _("Their capacity is not known, so their room is not counted: %(names)s."),
            books.rooms_unknown if books.outlook.room_grams is None else (),
        ),
    ]
    for sentence, each in named:
        if each:
            told.append(sentence % {"names": _some(each), "least": MONTHS_KNOWN_MIN})
    told += _of_demand(question)
    told += _of_money(question)
    told.append(
        _(
            "Orders that are taken but not reserved, parts on order, honey of others, gift boxes "
            "and other goods are not in this plan. Prices are taken as they are today."
        )
    )
    return told


def _of_demand(question: SeasonQuestion) -> list[str]:
    told = []
    if question.variation is None:
        told.append(
            _(
                "Fewer than two whole years of sales are known, so nobody knows by how much years "
                "differ. The plan guesses %(percent)s %%; its chances are as good as that guess."
            )
            % {"percent": round(expect.GUESSED_OF_SALES * 100)}
        )
    else:
        told.append(
            _("Demand is from %(years)s whole years; the next may differ by about %(percent)s %%.")
            % {"years": question.years, "percent": round(question.variation * 100)}
        )
    harvest = question.harvest
    if harvest.seasons is None:
        told.append(
            _("No whole harvest is on record and none is typed: the plan goes on for a year.")
        )
    elif harvest.seasons == 0:
        told.append(
            _("The harvest is as you typed it: %(grams)s.")
            % {"grams": words.weight(round(harvest.total), 0)}
        )
    else:
        told.append(
            ngettext(
                "The next harvest counts as the only one on record: %(grams)s.",
                "The next harvest counts as the average of %(seasons)s: %(grams)s.",
                harvest.seasons,
            )
            % {"seasons": harvest.seasons, "grams": words.weight(round(harvest.total), 0)}
        )
    if round(harvest.late / float(unit_grams())):
        told.append(
            _(
                "Of a harvest, %(grams)s are likely to come in the rest of %(month)s; they count "
                "from %(next)s on."
            )
            % {
                "grams": words.weight(round(harvest.late), 0),
                "month": month_name(question.books.month(0)),
                "next": month_name(question.books.month(1)),
            }
        )
    if harvest.seasons is not None and harvest.total:
        told.append(
            _(
                "New honey counts as fit for every product that is of no variety, at the average "
                "drum price of the honey there is."
            )
        )
    if harvest.seasons is not None and harvest.total and harvest.spread is None:
        told.append(
            _("By how much harvests differ is not known; the plan guesses %(percent)s %%.")
            % {"percent": round(expect.GUESSED_OF_HARVEST * 100)}
        )
    return told


def _of_money(question: SeasonQuestion) -> list[str]:
    books, outlook = question.books, question.books.outlook
    told = []
    if outlook.kept_per_pound is None:
        told.append(_("Honey that is left at the end counts at today's drum price."))
    unknown = []
    if outlook.storage_per_pound is None:
        unknown.append(_("the cost of storage"))
    if outlook.interest_percent is None:
        unknown.append(_("interest"))
    if not books.labour_cents_per_hour:
        unknown.append(_("the cost of an hour of work"))
    if unknown:
        told.append(_("Not known, and counted as zero: %(names)s.") % {"names": _listed(unknown)})
    if not question.problem.minutes:
        told.append(_("Hours of work are not typed, so they do not limit the plan."))
    if question.is_drum_limit_typed:
        return told
    if question.drum_year_grams is None:
        told.append(
            _(
                "No month with honey sold in drums is over yet and no limit is typed, so drum "
                "buyers take all."
            )
        )
    else:
        told.append(
            _(
                "Drum buyers take at most %(grams)s in the next twelve months, the most that was "
                "sold in any twelve before. They may take more: type what you know."
            )
            % {"grams": words.weight(question.drum_year_grams, 0)}
        )
    return told


def obstacle(question: SeasonQuestion) -> str:
    """Say why no plan can be worked out; empty when one can."""
    if not question.problem.pools:
        return _("There is no honey that may be used, and no harvest is in sight.")
    if not question.problem.outlets and all(
        pool.drum_cents is None for pool in question.problem.pools
    ):
        return _("Neither jars nor drums have prices and sales that a plan could go by.")
    return ""


def _listed(names: list[str]) -> str:
    """Join names with commas, the last with “and”."""
    if len(names) < 2:
        return "".join(names)
    return _("%(first)s and %(last)s") % {"first": ", ".join(names[:-1]), "last": names[-1]}


def _some(names: tuple[str, ...], most: int = 8) -> str:
    """Join names, the first of many."""
    shown = ", ".join(names[:most])
    if len(names) <= most:
        return shown
    return _("%(names)s and %(count)s more") % {"names": shown, "count": len(names) - most}
