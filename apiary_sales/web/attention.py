"""What needs a person, on the first page: one line for each thing, the worst first.

To add a warning, write a partial template that shows one `notice` (or nothing, where there is
nothing to say), and name it in `PARTS` with what it takes. A part that is for some people only
answers None for the others.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from apiary_sales.keeping.queries import backup_state
from apiary_sales.web.queries import Today

# So many are shown at once; the others unfold.
SHOWN = 3
KEEP = "keeping.keep_house"


@dataclass(frozen=True)
class AttentionPart:
    """A partial template, and what it takes of a person's day; None where it is not for them."""

    template: str
    takes: Callable[[HttpRequest, Today], Mapping[str, Any] | None]


def _held(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"held_goods": today.held_goods} if today.held_goods else None


def _missing(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"rows": today.missing} if today.missing else None


def _stand(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"waiting": today.stand_waiting} if today.stand_waiting else None


def _open_sheets(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"open_sheets": today.open_sheets} if today.open_sheets else None


def _runs_to_settle(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"to_settle": today.to_settle} if today.to_settle else None


def _shortages(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    if not today.shortages:
        return None
    return {"shortages": today.shortages, "unknown": today.unknown_lots}


def _to_renew(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"to_renew": today.to_renew} if today.to_renew else None


def _moisture(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    warnings = today.in_hand.moisture_warnings
    return {"warnings": warnings} if warnings else None


def _backups(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"state": backup_state.of_house()} if request.user.has_perm(KEEP) else None


def _cleaning(request: HttpRequest, today: Today) -> Mapping[str, Any] | None:
    return {"cleaning": today.cleaning} if today.cleaning else None


# What must not be sold and what a customer waits for come first, what can wait comes last.
PARTS: tuple[AttentionPart, ...] = (
    AttentionPart("keeping/_warning.html", _backups),
    AttentionPart("inventory/_held_goods.html", _held),
    AttentionPart("orders/_missing.html", _missing),
    AttentionPart("billing/_stand_to_look_at.html", _stand),
    AttentionPart("inventory/bottling/_open_sheets.html", _open_sheets),
    AttentionPart("inventory/bottling/_to_settle_count.html", _runs_to_settle),
    AttentionPart("inventory/stock/_to_settle_count.html", _shortages),
    AttentionPart("inventory/honey/_moisture_warnings.html", _moisture),
    AttentionPart("inventory/care/_due.html", _cleaning),
    AttentionPart("customers/_to_renew.html", _to_renew),
    AttentionPart("inventory/care/_before_use.html", _cleaning),
)


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
