"""What a state of the stand is, and how a page is driven into one, in any language.

`STATES` is filled by the modules that describe them: `till_states.py` and `page_states.py`.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from playwright.sync_api import Page


@dataclass(frozen=True)
class State:
    """One thing that a person can come to see."""

    group: str
    caption: str
    drive: Callable[[Page], None]
    role: str = "stand"
    # A page is photographed as long as it is; the till is what is on the glass.
    is_whole: bool = False
    # What is scrolled to, where it may be outside of the window.
    look_at: str = ""

    @property
    def name(self) -> str:
        return self.drive.__name__


@dataclass
class Table:
    """States in the order in which they are described."""

    states: list[State] = field(default_factory=list)

    def group(self, group: str, *, is_whole: bool = False) -> Callable:
        """Return a decorator maker: `@state(caption)` on the function that drives there."""

        def state(caption: str, *, role: str = "stand", look_at: str = "") -> Callable:
            def note(drive: Callable[[Page], None]) -> Callable[[Page], None]:
                self.states.append(State(group, caption, drive, role, is_whole, look_at))
                return drive

            return note

        return state


STATES = Table()
