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
# Sales without a cost, those of them that never get one, and all that was sold.
FIGURES = ("no_cost_cents", "never_cost_cents", "amount_cents")


def keep(frame: pd.DataFrame, sold: pd.DataFrame) -> pd.DataFrame:
    """Let a frame without these columns say how much of the sales it was made of has no cost."""
    frame.attrs[_ATTRIBUTE] = figures_of(sold)
    return frame


def figures_of(frame: pd.DataFrame) -> tuple[int, ...]:
    """Return the sums of `FIGURES` in a frame that has them, or was given them by `keep`."""
    kept: tuple[int, ...] | None = frame.attrs.get(_ATTRIBUTE)
    return kept or tuple(total(frame, name) or 0 for name in FIGURES)


def uncosted_sentence(without: int, never: int, sold: int) -> str:
    """Say how much of the sales in a report has no cost and so is in no margin; empty when none.

    What has none yet is told from what never gets one, which nobody can enter.
    """
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
