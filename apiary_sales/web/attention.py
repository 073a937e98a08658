"""What needs a person, on the first page: one line for each thing, the worst first.

To add a warning, write a partial template that shows one `notice` (or nothing, where there is
nothing to say), and name it in `PARTS` with what it takes. A part that is for some people only
answers None for the others. What a part asks the database and is of one value belongs into
`questions`, so that all of them are asked in one round trip.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists
from django.db.models.expressions import Combinable
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from apiary_sales.accounts import queries as people_queries
from apiary_sales.accounts.models import User
from apiary_sales.billing.queries.house_today import Today
from apiary_sales.keeping.queries import backup_state, nightly_state
from apiary_sales.orders.late_costs import that_may_be_known
from apiary_sales.webhooks import queries as webhooks
from inventory.shared.asked_together import how_many
from inventory.stock.queries import clock

# So many are shown at once; the others unfold.
SHOWN = 3
KEEP = "keeping.keep_house"
PEOPLE = "accounts.manage_people"
PRICES = "pricing.manage_prices"
WEBHOOKS = "webhooks.manage_webhooks"


@dataclass(frozen=True)
class AttentionPart:
    """A partial template, and what it takes of a person's day; None where it is not for them."""

    template: str
    takes: Callable[[HttpRequest, Today], Mapping[str, Any] | None]


def _where_there_is(
    name: str, read: Callable[[Today], Any]
) -> Callable[[HttpRequest, Today], Mapping[str, Any] | None]:
    """Return what gives a template something of the day under a name, where there is any."""

    def takes(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
        found = read(today)
        return {name: found} if found else None

    return takes


def _shortages(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    if not today.shortages:
        return None
    return {"shortages": today.shortages, "unknown": today.unknown_lots}


def _backups(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    if not request.user.has_perm(KEEP):
        return None
    return {"state": backup_state.of_house(begun_at=today.answers["begun_at"])}


def _programs_given_up(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"endpoints": webhooks.given_up()} if today.answers.get("has_given_up") else None


_nightly_failed = _where_there_is("failed_at", lambda today: today.answers.get("failed_at"))
_wrong_clock = _where_there_is(
    "recorded_at", lambda today: clock.ahead_of_now(today.answers.get("recorded_at"))
)
_late_costs = _where_there_is("count", lambda today: today.answers.get("late_costs"))
_wrong_tries = _where_there_is(
    "count", lambda today: people_queries.many(today.answers.get("wrong_tries"))
)
_held = _where_there_is("held_goods", lambda today: today.held_goods)
_missing = _where_there_is("rows", lambda today: today.missing)
_stand = _where_there_is("waiting", lambda today: today.stand_waiting)
_open_sheets = _where_there_is("open_sheets", lambda today: today.open_sheets)
_runs_to_settle = _where_there_is("to_settle", lambda today: today.to_settle)
_moisture = _where_there_is("warnings", lambda today: today.in_hand.moisture_warnings)
_to_renew = _where_there_is("to_renew", lambda today: today.to_renew)
_short = _where_there_is("sizes", lambda today: today.short_by_season)
_prices_to_come = _where_there_is("soon", lambda today: today.prices_to_come)
_cleaning = _where_there_is("cleaning", lambda today: today.cleaning)


# What must not be sold and what a customer waits for come first, what can wait comes last.
PARTS: tuple[AttentionPart, ...] = (
    AttentionPart("keeping/_warning.html", _backups),
    AttentionPart("keeping/_nightly_failed.html", _nightly_failed),
    AttentionPart("inventory/stock/_wrong_clock.html", _wrong_clock),
    AttentionPart("accounts/_wrong_tries.html", _wrong_tries),
    AttentionPart("inventory/_held_goods.html", _held),
    AttentionPart("orders/_missing.html", _missing),
    AttentionPart("billing/_stand_to_look_at.html", _stand),
    AttentionPart("inventory/bottling/_open_sheets.html", _open_sheets),
    AttentionPart("inventory/bottling/_to_settle_count.html", _runs_to_settle),
    AttentionPart("inventory/stock/_to_settle_count.html", _shortages),
    AttentionPart("inventory/honey/_moisture_warnings.html", _moisture),
    AttentionPart("orders/_short_by_season.html", _short),
    AttentionPart("inventory/care/_due.html", _cleaning),
    AttentionPart("customers/_to_renew.html", _to_renew),
    AttentionPart("webhooks/_given_up.html", _programs_given_up),
    AttentionPart("pricing/_soon.html", _prices_to_come),
    AttentionPart("inventory/care/_before_use.html", _cleaning),
    AttentionPart("orders/late_costs/_to_cost.html", _late_costs),
)


def questions(person: User) -> dict[str, Combinable]:
    """Return what is asked for a person together with the day: what has one value each."""
    asked: dict[str, Combinable] = {}
    if person.has_perm(KEEP):
        asked["begun_at"] = backup_state.begun_asked()
        asked["failed_at"] = nightly_state.failed_at_asked()
        asked["recorded_at"] = clock.recorded_at_asked()
    if person.has_perm(PEOPLE):
        asked["wrong_tries"] = people_queries.tries_asked()
    if person.has_perm(PRICES):
        asked["late_costs"] = how_many(that_may_be_known())
    if person.has_perm(WEBHOOKS):
        asked["has_given_up"] = Exists(webhooks.given_up())
    return asked


@dataclass(frozen=True)
class Attention:
    """The lines of the first page that need a person: those shown, and those that unfold."""

    first: list[SafeString]
    more: list[SafeString]


def of(request: HttpRequest, today: Today) -> Attention:
    """Return what needs the person who asks."""
    lines = [
        render_to_string(part.template, taken, request)
        for part in PARTS
        if (taken := part.takes(request, today)) is not None
    ]
    told = [line for line in lines if line.strip()]
    # To unfold a single line costs as much as to show it.
    shown = SHOWN if len(told) > SHOWN + 1 else len(told)
    return Attention(told[:shown], told[shown:])
