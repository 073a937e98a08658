"""Net contents on a label, and how large it must be printed.

Sources: 21 CFR 101.7 (formerly 101.105), declaration of net quantity (type heights and the ounce
and pound wording from memory; FDA Food Labeling Guide read in part); 21 CFR 101.1, principal
display panel (read); Public Law 102-329 of 1992, both inch-pound and metric (read); Directive
76/211/EEC, annex I 3.1, height of figures (from memory).

This helps to set up a label; it is no legal advice. State and country rules come on top.
"""

from __future__ import annotations

from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from functools import partial
from typing import Any

from .lazy import np
from .ranges import Range, alike, each, same_shape
from .units import OUNCE_GRAMS

LABELLED_G = Range("labelled weight", "g", 1, 1_000_000)
PANEL_IN2 = Range("area of the principal display panel", "square inches", 0, low_included=False)
EUROPEAN_LABELLED_G = Range("labelled weight", "g", 5, 10_000)
SIDE_IN = Range("side of the panel", "in", 0, low_included=False)

HALF_OUNCE = Decimal("0.5")
OUNCES_PER_POUND = 16
POUNDS_ALONE_FROM_OUNCES = 4 * OUNCES_PER_POUND

PANEL_UP_TO_IN2 = (5, 25, 100, 400)
TYPE_HEIGHT_IN = (1 / 16, 1 / 8, 3 / 16, 1 / 4, 1 / 2)
MOULDED_EXTRA_IN = 1 / 16

EUROPEAN_FIGURES_UP_TO_G = (50, 200, 1000)
EUROPEAN_FIGURE_HEIGHT_MM = (2, 3, 4, 6)


def net_contents_statement(
    grams: Any, *, metric_only: bool = False, never_overstate: bool = False
) -> Any:
    """Return the net contents as the American label says it, or the metric figure alone.

    Under 1 lb: ounces and grams. From 1 lb to under 4 lb: ounces, then pounds and ounces in
    brackets, and grams. From 4 lb: pounds with the ounces over. Grams under 1 kg, else kilograms
    to three digits.

    The metric figure is rounded to the nearest, as labels commonly are: 1 lb is 453.59237 g and
    reads "454 g". Where both figures are given an inspector holds the packer to the larger, so
    fill to it, or ask for `never_overstate`, which cuts digits ("453 g"): NIST Handbook 130 says
    that a rounded figure shall not overstate (from memory). Since a label weight is often kept in
    whole grams, whole and half ounces are known again from their grams (340 g is 12 oz, though
    12 oz are 340.19 g). Other weights show ounces cut to a tenth, under one ounce to a hundredth.
    Raises ValueError outside 1 g to 1,000 kg.

    >>> net_contents_statement(340)
    'NET WT 12 OZ (340 g)'
    >>> net_contents_statement(680)
    'NET WT 24 OZ (1 LB 8 OZ) 680 g'
    >>> net_contents_statement(5443)
    'NET WT 12 LB (5.44 kg)'
    """
    rounding = ROUND_FLOOR if never_overstate else ROUND_HALF_UP
    return each(partial(_statement, metric_only=metric_only, rounding=rounding), grams)


def minimum_type_height(panel_area_in2: Any, *, moulded: bool = False) -> Any:
    """Return the least height of the net contents in inches, for a panel in square inches.

    1/16 up to 5, 1/8 up to 25, 3/16 up to 100, 1/4 up to 400, 1/2 above (21 CFR 101.7(i)); 1/16
    more where it is blown, embossed or moulded in the glass. Measured on the upper-case letter, or
    on the lower-case "o" where both cases are used. Raises ValueError unless the area is over 0.

    >>> minimum_type_height(25)
    0.125
    """
    area = np.round(PANEL_IN2.floats(panel_area_in2), 9)
    height = np.array(TYPE_HEIGHT_IN)[np.searchsorted(PANEL_UP_TO_IN2, area, side="left")]
    return alike(height + (MOULDED_EXTRA_IN if moulded else 0))


def rectangular_panel_in2(height_in: Any, width_in: Any) -> Any:
    """Return the area of a rectangular principal display panel: height × width (21 CFR 101.1)."""
    height, width = same_shape(SIDE_IN.floats(height_in), SIDE_IN.floats(width_in))
    return alike(height * width)


def cylindrical_panel_in2(height_in: Any, circumference_in: Any) -> Any:
    """Return the area of the principal display panel of a jar: 40 % of height × circumference."""
    height, round_in = same_shape(SIDE_IN.floats(height_in), SIDE_IN.floats(circumference_in))
    return alike(height * round_in * 0.4)


def minimum_figure_height_mm(labelled_g: Any) -> Any:
    """Return the least height, in mm, of the figures of a European label of 5 g to 10 kg.

    2 mm up to 50 g, 3 up to 200, 4 up to 1,000, 6 above (Directive 76/211/EEC, annex I 3.1).
    Raises ValueError outside 5 g to 10 kg.
    """
    labelled = EUROPEAN_LABELLED_G.floats(labelled_g)
    row = np.searchsorted(EUROPEAN_FIGURES_UP_TO_G, labelled, side="left")
    return alike(np.array(EUROPEAN_FIGURE_HEIGHT_MM)[row])


def _statement(grams: Any, metric_only: bool, rounding: str) -> str:
    checked = LABELLED_G.one(grams)
    exact = grams if isinstance(grams, Decimal) else Decimal(str(checked))
    metric = _metric(exact, rounding)
    if metric_only:
        return metric
    ounces = _ounces(exact)
    if ounces < OUNCES_PER_POUND:
        return f"NET WT {_plain(ounces)} OZ ({metric})"
    pounds, over = divmod(ounces, OUNCES_PER_POUND)
    words = f"{_plain(pounds)} LB" + (f" {_plain(over)} OZ" if over else "")
    if ounces < POUNDS_ALONE_FROM_OUNCES:
        return f"NET WT {_plain(ounces)} OZ ({words}) {metric}"
    return f"NET WT {words} ({metric})"


def _ounces(grams: Decimal) -> Decimal:
    """Ounces, cut, but whole and half ounces known again from their cut grams."""
    exact = grams / OUNCE_GRAMS
    next_half = _cut(exact, HALF_OUNCE) + HALF_OUNCE
    if grams >= _cut(next_half * OUNCE_GRAMS, Decimal(1)):
        return next_half
    return _cut(exact, Decimal("0.1") if exact >= 1 else Decimal("0.01"))


def _metric(grams: Decimal, rounding: str) -> str:
    if grams < 1000:
        whole = _in_steps(grams, Decimal(1), rounding)
        return f"{_plain(whole)} g" if whole < 1000 else "1 kg"
    kilograms = grams / 1000
    step = Decimal(1).scaleb(kilograms.adjusted() - 2)
    return f"{_plain(_in_steps(kilograms, step, rounding))} kg"


def _cut(number: Decimal, step: Decimal) -> Decimal:
    return _in_steps(number, step, ROUND_FLOOR)


def _in_steps(number: Decimal, step: Decimal, rounding: str) -> Decimal:
    # Nine decimals first, so that a float of exactly 24 oz is not cut to 23.9.
    return round(number / step, 9).quantize(Decimal(1), rounding=rounding) * step


def _plain(number: Decimal) -> str:
    return f"{number.normalize():f}"
