"""Colours that can be read.

Formula and limits: Web Content Accessibility Guidelines 2.2 (W3C), "relative luminance" and
"contrast ratio"; success criteria 1.4.3 (text, at least 4.5 : 1) and 1.4.11 (controls and
drawings, at least 3 : 1). From memory; the two known ratios below check the arithmetic.
"""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

TEXT = 4.5
CONTROL = 3.0


def _properties(css: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z0-9-]+):\s*(#[0-9a-f]{6})", css))


def _themes() -> dict[str, dict[str, str]]:
    css = Path(finders.find("web/app.css")).read_text(encoding="utf-8")
    light = _properties(re.search(r":root \{(.*?)\n\}", css, re.DOTALL).group(1))
    dark_block = r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\n  \}"
    dark = _properties(re.search(dark_block, css, re.DOTALL).group(1))
    return {"light": light, "dark": light | dark}


THEMES = _themes()


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted([luminance(one), luminance(other)], reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


GROUNDS = ["paper", "card", "band"]
TINTS = ["act-paper", "good-paper", "warn-paper", "bad-paper", "info-paper"]
PALE_HONEY = ["water-white", "extra-white", "white", "extra-light-amber", "light-amber"]
DEEP_HONEY = ["amber", "dark-amber"]

TEXT_PAIRS = [
    *[("ink", ground) for ground in GROUNDS + TINTS],
    *[("quiet", ground) for ground in [*GROUNDS, "good-paper", "warn-paper", "bad-paper"]],
    *[("act", ground) for ground in GROUNDS + TINTS],
    *[("act-strong", ground) for ground in GROUNDS + TINTS],
    ("act-ink", "act"),
    ("act-ink", "act-strong"),
    ("bad-ink", "bad"),
    *[
        (state, ground)
        for state in ("good", "warn", "bad", "info")
        for ground in ("paper", "card", f"{state}-paper")
    ],
    *[("honey-ink-on-light", f"honey-{name}") for name in PALE_HONEY],
    *[("honey-ink-on-dark", f"honey-{name}") for name in DEEP_HONEY],
]
CONTROL_PAIRS = [
    (mark, ground)
    for mark in ("edge", "act", "focus", "honey-rim", "good", "warn", "bad", "info")
    for ground in GROUNDS
]


def test_the_formula_gives_the_known_ratios():
    # Black on white is 21 : 1, and #767676 is the lightest grey that passes on white (4.54).
    assert round(contrast("#000000", "#ffffff"), 2) == 21
    assert round(contrast("#767676", "#ffffff"), 2) == 4.54


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT_PAIRS)
def test_text_stands_out_from_its_ground(theme, ink, ground):
    colours = THEMES[theme]

    assert contrast(colours[ink], colours[ground]) >= TEXT


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("mark", "ground"), CONTROL_PAIRS)
def test_controls_and_drawings_stand_out_from_their_ground(theme, mark, ground):
    colours = THEMES[theme]

    assert contrast(colours[mark], colours[ground]) >= CONTROL


def test_the_dark_theme_is_another_theme():
    assert THEMES["dark"]["paper"] != THEMES["light"]["paper"]
    assert luminance(THEMES["dark"]["paper"]) < luminance(THEMES["dark"]["ink"])
