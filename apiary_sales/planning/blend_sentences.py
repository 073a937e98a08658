"""What the page of the blend planner says in sentences: what is in the way, what is left out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.planning.blending import LimitName, Reach, WayOut
from apiary_sales.planning.rules.blend import (
    COLOUR_PER_MM,
    MOISTURE_PER_PERCENT,
    BlendQuestion,
    LeftOutBecause,
    ValueFrom,
)
from inventory.shared import words


@dataclass(frozen=True)
class SaidWayOut:
    """A limit that stands in the way, in words, with the figure that could be asked instead."""

    limit: LimitName
    sentence: str
    # In the unit of the form: grams, mm Pfund, percent, vessels.
    nearest: Decimal
    # Whether another figure is a way out; room needs another vessel.
    is_figure: bool = True


def obstacle(question: BlendQuestion) -> str:
    """Say in words why nothing can be worked out; empty when it can."""
    target, there = question.wish.target, question.in_target
    if target is not None and any(each.place == target for each in question.books.never):
        return _(
            "%(place)s has honey that can't be mixed with other honey: it is on hold, its lot is "
            "not known, or it belongs to another beekeeper. Choose another vessel."
        ) % {"place": target.name}
    if there is not None and there.reserved_grams:
        return _(
            "%(place)s is reserved for an order, so you can't add honey to it. Choose "
            "another vessel."
        ) % {"place": there.place.name}
    if there is not None and question.wish.limits.has_colour and there.lot.colour_mm is None:
        return _(
            "The colour of the honey in %(place)s is not known. Measure it first, or choose "
            "another vessel."
        ) % {"place": there.place.name}
    if not question.chosen and question.in_target is None:
        return _("No honey is left that could be blended. Why is said below.")
    return ""


def ways(found: Iterable[WayOut], question: BlendQuestion) -> list[SaidWayOut]:
    """Say of each limit what could be reached with all others as they are."""
    return [_way(way, question) for way in found]


def unfinished() -> str:
    """Say that a search ended without an answer."""
    return _(
        "No blend in whole grams was found in the time allowed. Widen a limit a little, or keep "
        "some vessels out."
    )


def together(colour: Reach | None, moisture: Reach | None) -> str:
    """Say what the weight alone would allow, where several limits stand in the way together."""
    told = [_("No single limit is the reason: several stand in the way together.")]
    if colour:
        told.append(
            _("With the weight alone, the colour can be from %(low)s to %(high)s mm.")
            % {
                "low": words.number(Decimal(colour.low) / COLOUR_PER_MM),
                "high": words.number(Decimal(colour.high) / COLOUR_PER_MM),
            }
        )
    if moisture:
        told.append(
            _("With the weight alone, the moisture can be from %(low)s to %(high)s %%.")
            % {
                "low": words.number(Decimal(moisture.low) / MOISTURE_PER_PERCENT),
                "high": words.number(Decimal(moisture.high) / MOISTURE_PER_PERCENT),
            }
        )
    return " ".join(told)


def even_without_quality(found: Sequence[SaidWayOut]) -> str:
    """Say what stands in the way even where colour and moisture do not matter."""
    if not found:
        return _(
            "Several limits stand in the way together, even if colour and moisture do not matter. "
            "Ask for less, allow more vessels, or choose a larger vessel to blend into."
        )
    return _("Even if colour and moisture do not matter: %(ways)s") % {
        "ways": " ".join(way.sentence for way in found)
    }


def left_out(question: BlendQuestion) -> list[str]:
    """Name the honey that is not used, a sentence for each reason."""
    by_reason: dict[LeftOutBecause, list[str]] = {}
    for each in question.left_out:
        named = _("%(place)s (lot %(lot)s)") % {"place": each.place.name, "lot": each.lot.code}
        by_reason.setdefault(each.because, []).append(named)
    return [_left_out(because, ", ".join(named)) for because, named in by_reason.items()]


def set_aside(question: BlendQuestion) -> list[str]:
    """Say what else wants honey, so that it is not counted as free."""
    told = []
    if runs := question.books.planned_runs:
        told.append(
            ngettext(
                "%(count)s bottling run is planned. Its honey is set aside.",
                "%(count)s bottling runs are planned. Their honey is set aside.",
                runs,
            )
            % {"count": runs}
        )
    if drafts := question.books.drafts:
        told.append(
            ngettext(
                "%(count)s blend plan is a draft. Its honey is set aside.",
                "%(count)s blend plans are drafts. Their honey is set aside.",
                drafts,
            )
            % {"count": drafts}
        )
    return told


def _way(way: WayOut, question: BlendQuestion) -> SaidWayOut:
    limits = question.wish.limits
    mm = Decimal(way.nearest) / COLOUR_PER_MM
    percent = Decimal(way.nearest) / MOISTURE_PER_PERCENT
    nearest = Decimal(way.nearest)
    match way.limit:
        case "colour_max":
            sentence = _(
                "Colour: you asked for at most %(asked)s mm. With everything else as it is, "
                "%(figure)s mm can be reached."
            ) % {"asked": _figure(limits.colour_mm_max), "figure": _figure(mm)}
            nearest = mm
        case "colour_min":
            sentence = _(
                "Colour: you asked for at least %(asked)s mm. With everything else as it is, "
                "%(figure)s mm can be reached."
            ) % {"asked": _figure(limits.colour_mm_min), "figure": _figure(mm)}
            nearest = mm
        case "moisture_max":
            sentence = _(
                "Moisture: you asked for at most %(asked)s %%. With everything else as it is, "
                "%(figure)s %% can be reached."
            ) % {"asked": _figure(limits.moisture_percent_max), "figure": _figure(percent)}
            nearest = percent
        case "moisture_min":
            sentence = _(
                "Moisture: you asked for at least %(asked)s %%. With everything else as it is, "
                "%(figure)s %% can be reached."
            ) % {"asked": _figure(limits.moisture_percent_min), "figure": _figure(percent)}
            nearest = percent
        case "vessels_max":
            sentence = _(
                "Vessels: you asked for at most %(asked)s. With everything else as it is, "
                "%(figure)s are needed."
            ) % {"asked": question.wish.vessels_max, "figure": way.nearest}
        case "grams_min":
            asked, figure = words.weights_apart(limits.grams_min, way.nearest)
            sentence = _(
                "Weight: you asked for at least %(asked)s. With everything else as it is, "
                "%(figure)s can be reached."
            ) % {"asked": asked, "figure": figure}
        case _:
            return _weight_at_most(question, way)
    return SaidWayOut(way.limit, sentence, nearest)


def _weight_at_most(question: BlendQuestion, way: WayOut) -> SaidWayOut:
    most, target = question.grams_max or 0, question.wish.target
    asked, figure = words.weights_apart(most, way.nearest)
    if target is not None and most == question.room_grams:
        room = _(
            "Room: %(place)s has room for %(asked)s. With everything else as it is, the blend "
            "would be %(figure)s. Choose a larger vessel."
        ) % {"place": target.name, "asked": asked, "figure": figure}
        return SaidWayOut(way.limit, room, Decimal(way.nearest), is_figure=False)
    sentence = _(
        "Weight: you asked for at most %(asked)s. With everything else as it is, it would be "
        "%(figure)s."
    ) % {"asked": asked, "figure": figure}
    return SaidWayOut(way.limit, sentence, Decimal(way.nearest))


def two_measures(question: BlendQuestion) -> str:
    """Say that some honey is valued at its cost and some at a price, which are not the same."""
    known = {question.value_of(vessel)[1] for vessel in question.chosen}
    if {ValueFrom.COST, ValueFrom.DRUM_PRICE} <= known:
        return _(
            "Some honey is valued at its cost and some at the drum price, which is usually higher. "
            "Where that is not fair, enter another value for the vessel below."
        )
    return ""


def _left_out(because: LeftOutBecause, vessels: str) -> str:
    said = {
        LeftOutBecause.ON_HOLD: _("On hold: %(vessels)s."),
        LeftOutBecause.OF_ANOTHER: _("Honey of another beekeeper: %(vessels)s."),
        LeftOutBecause.PROMISED: _(
            "Reserved for orders, or set aside for planned runs and blends: %(vessels)s."
        ),
        LeftOutBecause.NO_COLOUR: _("The colour is not known. Measure it first: %(vessels)s."),
        LeftOutBecause.NO_VALUE: _(
            "Neither its cost nor a drum price is known. Enter a value per pound below: "
            "%(vessels)s."
        ),
        LeftOutBecause.NOT_WHOLE: _(
            "Not whole any more, because some of it is reserved or set aside: %(vessels)s."
        ),
        LeftOutBecause.LOT_UNKNOWN: _("The lot is not known: %(vessels)s."),
    }
    return said[because] % {"vessels": vessels}


def _figure(figure: Decimal | None) -> str:
    return "" if figure is None else words.number(figure)
