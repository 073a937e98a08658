"""What the page of a plan says in sentences: what is in the way, what is not known, and why."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.planning import books_sentences
from apiary_sales.planning.programme import HOUR_MINUTES, Figure, Limit
from apiary_sales.planning.rules.books import Offer, VesselState
from apiary_sales.planning.rules.figures import WhichHoney
from apiary_sales.planning.rules.question import Question
from apiary_sales.planning.rules.statement import number
from inventory.shared import words
from inventory.shared.weights import by_unit, in_words

# So many vessels of a pool are named; of the others it is said how many they are.
VESSELS_NAMED = 2


@dataclass(frozen=True)
class Reason:
    """What one limit means for the plan, in words."""

    label: str
    there: str
    used: str
    sentence: str
    binds: bool
    # Buyers for whom enough jars are ready, or whose demand is 0.
    is_served: bool = False


@dataclass(frozen=True)
class LimitWords:
    """The name of a limit, how its amounts are written, and the words for one more of it."""

    label: str
    write: Callable[[Figure], str]
    step: str


def obstacle(question: Question) -> str:
    """Say in words why there is nothing to plan; empty when there is."""
    books, programme = question.books, question.programme
    if not books.vessels:
        return _(
            "There is no free honey. Every vessel is empty, or its honey is reserved, on "
            "hold or planned for a run. Receive honey, or undo a planned run."
        )
    if not programme.honeys:
        return _("The plan has no honey to use. Enter how much honey it may take from a vessel.")
    bids = any(honey.bulk_grams for honey in programme.honeys)
    wanted = any(buyer.pieces_max for buyer in programme.buyers)
    if not bids and not books.products:
        return _("There are no sizes to fill and no drum prices. Add a size or a drum price.")
    if not bids and not wanted:
        return in_words(
            _(
                "The plan has no buyers: no pieces can be sold and no drum price fits the "
                "honey. Enter how many pieces you could sell, or a bid per {unit}."
            )
        )
    return ""


def notices(question: Question) -> list[str]:
    """Name what is not known and was therefore left out."""
    books, figures = question.books, question.figures
    told = [*_honey_not_used(question), *_small_runs(question)]
    untimed = [
        row.product.name for row in books.products if not figures.minutes_each[row.product.pk]
    ]
    if untimed:
        told.append(
            _("Minutes of work are not entered, so they count as 0: %(products)s.")
            % {"products": "; ".join(untimed)}
        )
    costless = [row.part.name for row in books.parts if not figures.part_costs[row.part.pk]]
    if costless:
        told.append(
            _("The cost is not entered, so it counts as 0: %(parts)s.")
            % {"parts": ", ".join(costless)}
        )
    if books.left_out:
        told.append(
            _(
                "Comb and chunk honey is not in the plan, because it is not only honey from a "
                "tank: %(products)s."
            )
            % {"products": "; ".join(product.name for product in books.left_out)}
        )
    partless = [row.product.name for row in books.products if not row.uses]
    if partless:
        told.append(
            _(
                "No parts are listed for these products, so the plan leaves their parts out: "
                "%(products)s."
            )
            % {"products": "; ".join(partless)}
        )
    unpriced = [
        _("%(product)s, %(channel)s")
        % {"product": offer.product.name, "channel": offer.channel_label}
        for offer in books.offers
        if offer.key not in question.jars
    ]
    if unpriced:
        told.append(
            _("Left out of the plan because there is no price: %(offers)s.")
            % {"offers": "; ".join(unpriced)}
        )
    bidless = [
        vessel.place.name
        for vessel in books.vessels
        if figures.grams[vessel.place.pk] and vessel.key not in question.drums
    ]
    if bidless:
        told.append(
            _("No drum price fits this honey, so the plan sells no drums of it: %(vessels)s.")
            % {"vessels": ", ".join(bidless)}
        )
    told += books_sentences.planned_runs(books)
    return told


def _honey_not_used(question: Question) -> Iterator[str]:
    """Name every vessel whose honey the plan does not use, with why."""
    books, figures = question.books, question.figures
    idle = [vessel for vessel in books.vessels if not figures.grams[vessel.place.pk]]
    wet = [vessel for vessel in idle if vessel.moisture_question]
    if wet:
        yield _("Not used, because it is above your limit of moisture: %(vessels)s.") % {
            "vessels": "; ".join(
                _("%(place)s, %(moisture)s %%")
                % {
                    "place": vessel.place.name,
                    "moisture": words.number(vessel.lot.honey_moisture.normalize()),
                }
                for vessel in wet
            )
        }
    yield from books_sentences.never_used(books)
    chosen = [vessel for vessel in idle if not vessel.moisture_question]
    stay = [
        vessel for vessel in chosen if vessel.is_drum and figures.which_honey == WhichHoney.TANKS
    ]
    if stay:
        yield _("Not used, because you left the drums as they are: %(vessels)s.") % {
            "vessels": "; ".join(vessel.place.name for vessel in stay)
        }
    typed = [vessel.place.name for vessel in chosen if vessel not in stay]
    if typed:
        yield _("Not used, because of what you entered: %(vessels)s.") % {
            "vessels": "; ".join(typed)
        }


def _small_runs(question: Question) -> Iterator[str]:
    least = question.figures.least_pieces
    if least > 1 and least == question.books.smallest_run:
        yield _(
            "The plan makes no run of fewer than %(pieces)s, which is your smallest run of the "
            "last year."
        ) % {"pieces": words.pieces(least)}


def reasons(question: Question, limits: list[Limit]) -> list[Reason]:
    """Say of every limit whether it binds and what more of it is worth."""
    return [_reason(question, limit) for limit in limits]


def _reason(question: Question, limit: Limit) -> Reason:
    named = _named(question, limit)
    return Reason(
        label=named.label,
        there=named.write(limit.there),
        used=named.write(limit.used),
        sentence=_spare(question, limit) or _worth(limit, named.step),
        binds=limit.binds,
        is_served=limit.kind == "buyer" and not limit.there,
    )


def _spare(question: Question, limit: Limit) -> str:
    """Say what one more piece wanted brings while jars are ready for it; empty without."""
    if limit.kind != "buyer":
        return ""
    offer = question.offer_of[limit.key]
    spare = question.remainder.spare.get(str(offer.product.pk), 0)
    if not spare:
        return ""
    ready = ngettext(
        "%(count)s piece is ready or planned but has no buyer yet. If one more piece is "
        "ordered, it brings %(worth)s after the cost of selling.",
        "%(count)s pieces are ready or planned but have no buyer yet. If one more piece is "
        "ordered, it brings %(worth)s after the cost of selling.",
        spare,
    ) % {
        "count": number_format(spare, 0, force_grouping=True),
        "worth": words.money(round(question.jars[offer.key].net_cents)),
    }
    step = _("Once they are sold, one more piece ordered")
    return f"{ready} {_worth(limit, step)}"


def _named(question: Question, limit: Limit) -> LimitWords:
    match limit.kind:
        case "minutes":
            return LimitWords(_("Hours of work"), _hours, _("One more hour"))
        case "honey":
            return LimitWords(
                _("Honey in %(vessel)s") % {"vessel": _vessels(question.pool_of[limit.key])},
                lambda grams: words.weight(round(grams)),
                by_unit(_("One more {unit}")),
            )
        case "part":
            part = question.part_of[limit.key].part
            return LimitWords(part.name, _pieces, _("One more in stock"))
        case "buyer":
            return _buyer(question.offer_of[limit.key])


def _vessels(vessels: list[VesselState]) -> str:
    """Name vessels, of many only the first two."""
    names = [vessel.place.name for vessel in vessels]
    if len(names) <= VESSELS_NAMED + 1:
        return ", ".join(names)
    return _("%(vessels)s and %(more)s more like them") % {
        "vessels": ", ".join(names[:VESSELS_NAMED]),
        "more": len(names) - VESSELS_NAMED,
    }


def _buyer(offer: Offer) -> LimitWords:
    return LimitWords(
        _("Buyers of %(product)s, %(channel)s")
        % {"product": offer.product.name, "channel": offer.channel_label},
        _pieces,
        _("One more piece ordered"),
    )


def _hours(minutes: Figure) -> str:
    return _("%(hours)s h") % {"hours": number(Fraction(minutes) / HOUR_MINUTES, 1)}


def _pieces(count: Figure) -> str:
    return words.pieces(int(count))


def _worth(limit: Limit, step: str) -> str:
    rate = words.money(round(limit.rate_cents))
    if limit.step_cents is None:
        if limit.rate_cents > 0:
            return _("%(step)s earns roughly %(rate)s more.") % {"step": step, "rate": rate}
        return _("%(step)s earns roughly nothing more.") % {"step": step}
    if limit.step_cents > 0:
        worth = words.money(round(limit.step_cents))
        if round(limit.step_cents) == 0:
            worth = _("less than a cent")
        return _("%(step)s earns %(worth)s more.") % {"step": step, "worth": worth}
    if limit.rate_cents > 0:
        return _(
            "%(step)s earns no more on its own, because only whole pieces are filled and "
            "sold. With many more, each earns about %(rate)s."
        ) % {"step": step, "rate": rate}
    if limit.kind == "buyer" and not limit.left:
        return _(
            "%(step)s earns no more: it can't be filled, or its honey earns as much another way."
        ) % {"step": step}
    return _("%(step)s earns no more: there is already enough.") % {"step": step}
