"""What the business refuses, and why, in words.

    HouseError                     the business said no, and nothing was changed
    ├── SeveralProblems            more than one thing is wrong; holds them all
    ├── BadValue                   a figure is missing, negative, absurd or does not fit
    ├── NotEnoughStock             less is there, or free, than was asked for
    │   ├── NotEnoughHoney
    │   └── NotEnoughParts
    ├── StockReserved              it is there, but promised to somebody
    ├── VesselTooSmall             it would run over
    ├── LotOnHold                  a failed check or a recall keeps the lot from sale
    ├── NotAllowedNow              the thing is in the wrong state for this act
    │   ├── CannotReverse
    │   ├── FiguresChanged     it would come to something else than was shown
    │   └── TooManyTries       a PIN was wrong too often; `wait_seconds` says for how long
    ├── TooBusy                    as many as can be served at once are served; try again
    └── AlreadyRecorded            the same form came twice; the first one counts

Each carries `parameter` (the argument of the service that is wrong, or None), `message` (a
sentence for people: what was asked, what is there, what to do next), `code` (stable, for programs)
and `figures` (the parts of the sentence). A form or the API says at which of its own fields a
parameter was typed.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any


class HouseError(Exception):
    """The business said no; the books are unchanged."""

    code = "refused"

    def __init__(self, message: str, *, parameter: str | None = None, **figures: Any) -> None:
        super().__init__(message)
        self.message = message
        self.parameter = parameter
        self.figures = figures

    @property
    def problems(self) -> list["HouseError"]:
        return [self]


class SeveralProblems(HouseError):
    """More than one thing is wrong; `problems` holds one error for each."""

    code = "several_problems"

    def __init__(self, problems: Iterable[HouseError]) -> None:
        self._problems = list(problems)
        super().__init__(" ".join(str(problem.message) for problem in self._problems))

    @property
    def problems(self) -> list[HouseError]:
        return self._problems


class BadValue(HouseError):
    """A figure is missing, negative, absurd or does not fit the others."""

    code = "bad_value"


class NotEnoughStock(HouseError):
    """Less is there, or free, than was asked for."""

    code = "not_enough_stock"


class NotEnoughHoney(NotEnoughStock):
    code = "not_enough_honey"


class NotEnoughParts(NotEnoughStock):
    code = "not_enough_parts"


class StockReserved(HouseError):
    """It is there, but promised to somebody."""

    code = "stock_reserved"


class VesselTooSmall(HouseError):
    """It would run over."""

    code = "vessel_too_small"


class LotOnHold(HouseError):
    """A failed check or a recall keeps the lot from sale, bottling and mixing."""

    code = "lot_on_hold"


class NotAllowedNow(HouseError):
    """The thing is in the wrong state for this act."""

    code = "not_allowed_now"


class CannotReverse(NotAllowedNow):
    code = "cannot_reverse"


class FiguresChanged(NotAllowedNow):
    """It would come to something else than the person was shown."""

    code = "figures_changed"


class TooManyTries(NotAllowedNow):
    """It was wrong too often; `wait_seconds` says when the next try is allowed."""

    code = "too_many_tries"

    def __init__(self, message: str, *, wait_seconds: int, parameter: str | None = None) -> None:
        super().__init__(message, parameter=parameter, wait_seconds=wait_seconds)
        self.wait_seconds = wait_seconds


class TooBusy(HouseError):
    """As many as can be served at once are served; `wait_seconds` says when to try again."""

    code = "too_busy"

    def __init__(self, message: str, *, wait_seconds: int) -> None:
        super().__init__(message, wait_seconds=wait_seconds)
        self.wait_seconds = wait_seconds


class AlreadyRecorded(HouseError):
    """The same form came twice; `made` is what the first one made, if need be looked up then."""

    code = "already_recorded"

    def __init__(
        self, message: str, *, made: Any = None, look_up: Callable[[], Any] | None = None
    ) -> None:
        super().__init__(message)
        self._made, self._look_up = made, look_up

    @property
    def made(self) -> Any:
        if self._made is None and self._look_up is not None:
            self._made = self._look_up()
        return self._made


class Problems:
    """Collect every problem of a form before answering.

    >>> problems = Problems()
    >>> problems.add("pieces", "Enter one piece or more.")
    >>> problems.raise_any()
    Traceback (most recent call last):
    inventory.shared.errors.BadValue: Enter one piece or more.
    """

    def __init__(self) -> None:
        self._found: list[HouseError] = []

    def add(self, parameter: str | None, message: str, **figures: Any) -> None:
        self._found.append(BadValue(message, parameter=parameter, **figures))

    def add_error(self, error: HouseError) -> None:
        self._found.append(error)

    def __contains__(self, parameter: str) -> bool:
        return any(
            problem.parameter == parameter for error in self._found for problem in error.problems
        )

    def __bool__(self) -> bool:
        return bool(self._found)

    def raise_any(self) -> None:
        """Raise the one problem found, or all together; return quietly when there is none."""
        if len(self._found) == 1:
            raise self._found[0]
        if self._found:
            raise SeveralProblems(self._found)


@contextmanager
def parameters_named(**names: str) -> Iterator[None]:
    """Give what an inner service refuses the parameters of the outer one that called it.

    >>> with parameters_named(grams="gross_grams"):
    ...     raise BadValue("Too much.", parameter="grams")
    Traceback (most recent call last):
    inventory.shared.errors.BadValue: Too much.
    """
    try:
        yield
    except HouseError as error:
        for problem in error.problems:
            problem.parameter = names.get(problem.parameter or "", problem.parameter)
        raise
