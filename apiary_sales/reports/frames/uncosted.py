"""How much of what was sold has no cost yet, which every margin has to say of itself."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from apiary_sales.reports.frames.make import total
from inventory.shared import words

if TYPE_CHECKING:
    import pandas as pd

_ATTRIBUTE = "uncosted"


def keep(frame: pd.DataFrame, sold: pd.DataFrame) -> pd.DataFrame:
    """Let a frame without these columns say how much of the sales it was made of has no cost."""
    frame.attrs[_ATTRIBUTE] = _figures(sold)
    return frame


def uncosted_sentence(frame: pd.DataFrame) -> str:
    """Say how much of the sales in a frame has no cost and so is in no margin; empty when none.

    What has none yet is told from what never gets one, which nobody can enter. The frame has the
    columns `no_cost_cents`, `never_cost_cents` and `amount_cents`, or was given them by `keep`.
    """
    without, never, sold = frame.attrs.get(_ATTRIBUTE) or _figures(frame)
    told = []
    if without - never:
        told.append(
            _(
                "%(without)s of %(sold)s sold (%(percent)s %%) has no cost yet and is not in this "
                "margin."
            )
            % _said(without - never, sold)
        )
    if never:
        told.append(
            _(
                "%(without)s of %(sold)s sold (%(percent)s %%) never gets a cost here and is not "
                "in this margin: drums, deposits and freight, and past sales that were brought in."
            )
            % _said(never, sold)
        )
    return " ".join(told)


def _said(without: int, sold: int) -> dict[str, str]:
    share = Decimal(100 * without) / sold if sold else Decimal(100)
    return {
        "without": words.money(without),
        "sold": words.money(sold),
        "percent": number_format(round(share, 1), 1),
    }


def _figures(frame: pd.DataFrame) -> tuple[int, int, int]:
    without, never, sold = (
        total(frame, name) or 0 for name in ("no_cost_cents", "never_cost_cents", "amount_cents")
    )
    return without, never, sold
