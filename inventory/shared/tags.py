"""A state as a word with a mark, as `_tag.html` shows it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Tag:
    """A state in a word or two; `kind` is good, warn, bad, info or, without a mark, empty."""

    text: str
    kind: str = ""
