"""Codes of packed lots: the house's own pattern, and what may be stamped on a jar.

A pattern has words in braces for the day and the number of the run. The usual one, L, the year,
the day of the year and the number of the run on that day, is common practice on packing lines.
"""

import re
from datetime import date

from django.utils.translation import gettext as _

from inventory.shared.errors import Problems

USUAL_PATTERN = "L{yy}{ddd}-{n}"
# What fits a batch number in a GS1 bar code, application identifier 10 (from memory).
CODE_LENGTH_MAX = 20

_NUMBER = "{n}"
_WORDS = {"{yyyy}": "%Y", "{yy}": "%y", "{ddd}": "%j", "{mm}": "%m", "{dd}": "%d"}
_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9.-]*")


def of_day(pattern: str, day: date) -> str:
    """Return the pattern with the day put in; the number, where it has one, is still missing.

    >>> of_day("L{yy}{ddd}-{n}", date(2026, 11, 26))
    'L26330-{n}'
    """
    for word, directive in _WORDS.items():
        pattern = pattern.replace(word, day.strftime(directive))
    return pattern


def has_number(pattern: str) -> bool:
    """Tell whether each run of a day gets a code of its own."""
    return _NUMBER in pattern


def numbered(code: str, number: int | str) -> str:
    """Return a code of `of_day` with the number of the run put in, or a mark in its place."""
    return code.replace(_NUMBER, str(number))


def series(code: str) -> str:
    """Return the name of the series that a code of `of_day` takes its numbers from."""
    return f"packed-{code.replace(_NUMBER, '').rstrip('-.')}"


def check_pattern(problems: Problems, parameter: str, pattern: str) -> None:
    """Name what is wrong with a pattern: unknown words, no day, or a code that can't be stamped."""
    unknown = [word for word in re.findall(r"{[^{}]*}", pattern) if word not in {*_WORDS, _NUMBER}]
    example = numbered(of_day(pattern, date(2026, 12, 31)), 100)
    if unknown:
        problems.add(
            parameter,
            _("%(word)s is not known. Use {yyyy}, {yy}, {ddd}, {mm}, {dd} and {n}.")
            % {"word": unknown[0]},
        )
    elif pattern == of_day(pattern, date(2026, 12, 31)):
        problems.add(
            parameter,
            _("Put the day into the pattern, for example {yy}{ddd} for the year and its day."),
        )
    else:
        check_code(problems, parameter, example)


def check_code(problems: Problems, parameter: str, code: str) -> None:
    """Name what is wrong with a code that is to be stamped on jars."""
    if len(code) > CODE_LENGTH_MAX:
        problems.add(
            parameter,
            _("A lot code can have at most %(most)s characters. This one has %(count)s.")
            % {"most": CODE_LENGTH_MAX, "count": len(code)},
        )
    elif not _CODE.fullmatch(code):
        problems.add(
            parameter,
            _("Use only letters, digits, dots and hyphens in a lot code, and no spaces."),
        )
