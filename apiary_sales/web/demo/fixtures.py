"""Read `fixtures_demo/`, and say what is done while it is done."""

import tomllib
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.conf import settings

from inventory.physics import units
from inventory.shared.errors import AlreadyRecorded

FOLDER = settings.BASE_DIR / "fixtures_demo"

Say = Callable[[str], None]

# So long ago the story of `story.toml` begins.
STORY_DAYS = 125


def read(name: str) -> dict[str, Any]:
    """Return one file of the demo as plain dictionaries."""
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def key(act: str) -> str:
    """Return the idempotency key of one act of the demo."""
    return f"demo:{act}"


def once(say: Say, words: str, act: Callable[..., Any], /, *values: Any, **named: Any) -> None:
    """Do an act of the demo with these arguments and say so, or say that it was done before."""
    try:
        act(*values, **named)
    except AlreadyRecorded:
        say(f"  was there: {words}")
    else:
        say(f"  {words}")


def grams(pounds: str) -> int:
    return units.round_grams(units.grams_from(Decimal(pounds), "lb"))


def cents(dollars: str) -> int:
    return int(Decimal(dollars) * 100)


def celsius(fahrenheit: str) -> Decimal:
    return units.celsius(Decimal(fahrenheit)).quantize(Decimal("0.1"))
